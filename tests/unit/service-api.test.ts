import { describe, expect, it } from 'vitest'
import * as z from 'zod'
import { acts, eventShapes, may, paths, roles, type RouteShape, routes } from '../../src/service/api/index.js'

const all: readonly (readonly [string, RouteShape])[] = Object.entries(routes)

describe('the contract of the service', () => {
  it('has one shape for each way in and no two with one method and address', () => {
    expect(Object.keys(routes)).toEqual(Object.keys(paths))
    const ways = Object.values(paths).map(([method, url]) => `${method} ${url}`)
    expect(new Set(ways).size).toBe(ways.length)
  })

  it('takes parameters where its address has them', () => {
    for (const [name, { params }] of all) {
      const [, url] = paths[name as keyof typeof paths]
      expect(params !== undefined, name).toBe(url.includes(':'))
    }
  })

  it('can be told to other languages whole', () => {
    for (const [name, { params, query, body, reply }] of all) {
      for (const shape of [params, query, body])
        if (shape !== undefined) expect(() => z.toJSONSchema(shape, { io: 'input' }), name).not.toThrow()
      expect(() => z.toJSONSchema(reply), name).not.toThrow()
    }
    for (const shape of Object.values(eventShapes)) expect(() => z.toJSONSchema(shape)).not.toThrow()
  })

  it('lets everybody who sees stop, and nobody but the bench start, answer at large or write', () => {
    for (const role of roles) expect(may[role].includes('stop'), role).toBe(may[role].includes('see'))
    const others = roles.filter((role) => role !== 'bench')
    for (const act of ['start', 'answer', 'write', 'ask supplies'] as const)
      for (const role of others) expect(may[role], `${role}: ${act}`).not.toContain(act)
    expect(may.bench).toEqual(acts)
    expect(may.none).toEqual(['introduce'])
  })

  it('goes to no file outside and to no run by a path', () => {
    const wrong = ['../x.yaml\0', 'a\\b.yaml', 'x.txt', '']
    for (const path of wrong) expect(routes.readFile.query.safeParse({ path }).success, path).toBe(false)
    for (const run of ['../x', 'a/b', '..', '.hidden', ''])
      expect(routes.run.params.safeParse({ run }).success, run).toBe(false)
  })
})
