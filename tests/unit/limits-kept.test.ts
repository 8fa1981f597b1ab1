import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'

/*
 * What was planned once is planned again: every limit with its reason, every figure, rating and problem of the sets that are here, a
 * line each, to nine digits. Where the program is to plan otherwise, SLOWGLOW_KEEP_PLANS=1 writes them down anew, and what then differs is
 * read before it is committed.
 */
const folder = 'tests/plans'
const profiles = [
  'profiles/small-receiver/receive.yaml',
  'profiles/small-receiver/receive-charts.yaml',
  'tests/sets/converter/receive.yaml',
  'tests/sets/hailer/receive.yaml',
  'profiles/small-receiver/receive-network.yaml',
  'profiles/tern-rock/reform-in-place.yaml',
  'profiles/tern-rock/reform.yaml',
  'profiles/tern-rock/receive.yaml',
  'profiles/tern-rock/modulated.yaml',
  'profiles/tern-rock/transmit.yaml',
  'profiles/tern-rock/own-mains.yaml',
]

/** Every figure and every word with its place. */
function linesOf(value: unknown, place = ''): string[] {
  if (typeof value === 'number') return [`${place} ${Number(value.toPrecision(9))}`]
  if (typeof value !== 'object' || value === null)
    return [`${place} ${String(value).replaceAll('\n', ' | ')}`]
  const parts = Object.entries(value)
  return parts.length === 0
    ? [`${place} nothing`]
    : parts.flatMap(([name, part]) => linesOf(part, place === '' ? name : `${place}/${name}`))
}

describe('what was planned once is planned again', () => {
  it.each(profiles)('%s', (path) => {
    const files = loadAll(path)
    if (files.value === null) throw new Error(path)
    const { equipment, bench, profile } = files.value
    const now = linesOf(makePlan(profile, equipment, bench))
    const file = `${folder}/${path.split('/').slice(1).join('-').replace('.yaml', '.txt')}`
    if (process.env['SLOWGLOW_KEEP_PLANS'] === '1') writeFileSync(file, `${now.join('\n')}\n`)
    const kept = existsSync(file) ? readFileSync(file, 'utf8').split('\n').slice(0, -1) : []
    const differs = now.findIndex((line, i) => line !== kept[i])
    if (differs >= 0) expect(now.slice(differs, differs + 5)).toEqual(kept.slice(differs, differs + 5))
    expect(now.length).toBe(kept.length)
  })
})
