import { mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { request } from 'node:http'
import { type AddressInfo, connect } from 'node:net'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'
import type { FastifyInstance } from 'fastify'
import { pino } from 'pino'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { makeApp } from '../../src/service/app.js'
import {
  checkShape,
  eventShapes,
  everywhere,
  filesShape,
  may,
  newSetShape,
  paths,
  plannedShape,
  type Role,
  type RouteName,
  routes,
  type RouteShape,
  textShape,
} from '../../src/service/api/index.js'
import { Desk } from '../../src/service/desk.js'
import { Live } from '../../src/service/live.js'
import { Pairing } from '../../src/service/pairing.js'
import { Streams } from '../../src/service/streams.js'

const scratch = mkdtempSync(join(tmpdir(), 'slowglow-service-'))
const folder = join(scratch, 'sets')
const outside = join(scratch, 'outside.yaml')
const host = '127.0.0.1:28100'
const lan = 'bench:28100'
const faults: string[] = []
const devices: string[] = []
const hosts = new Set([host, lan])
const page = join(scratch, 'page')
let app: FastifyInstance
let desk: Desk
let streams: Streams
let token = ''

beforeAll(async () => {
  mkdirSync(folder)
  mkdirSync(page)
  writeFileSync(join(page, 'index.html'), '<title>the page</title>')
  writeFileSync(join(page, 'mark.svg'), '<svg/>')
  for (const name of ['equipment', 'bench', 'receive'])
    writeFileSync(join(folder, `${name}.yaml`), readFileSync(`profiles/small-receiver/${name}.yaml`))
  writeFileSync(outside, 'slowglow: equipment 1\nname: a secret\n')
  symlinkSync(outside, join(folder, 'link.yaml'))
  desk = new Desk(pathToFileURL(resolve('dist/cli/desk/desk.process.js')), {
    folder,
    runs: join(scratch, 'runs'),
    elsewhere: [],
  })
  const live = new Live({
    desk,
    epoch: 'test',
    now_ms: () => 0,
    env: process.env,
    unwatched_s: 120,
    log: pino({ level: 'silent' }),
    say: () => undefined,
    ring: () => undefined,
  })
  streams = new Streams(() => ({ now_ms: 0, phase: 'none', viewers: 0 }))
  live.streams = streams
  const pairing = new Pairing(Buffer.alloc(32, 1), (code) => {
    shown = code
  })
  app = await makeApp({
    ...{ desk, live, streams, pairing, epoch: 'test', version: '0', page, hosts },
    up_s: () => 1,
    unwatched_s: 120,
    paired: ({ name }) => devices.push(name),
    // Looked at often, so that nobody has to wait for it here.
    patience: { headersTimeout: 300, requestTimeout: 300, connectionsCheckingInterval: 50 },
    fault: (text) => faults.push(text),
  })
  token = pairing.pair(shown, 'tablet')?.token ?? ''
  await app.listen({ host: '127.0.0.1', port: 0 })
})
let shown = ''
const listening = (): number => (app.server.address() as AddressInfo).port
afterAll(async () => {
  streams.end('over')
  desk.end()
  await app.close()
  rmSync(scratch, { recursive: true, force: true })
})

interface From {
  readonly remoteAddress: string
  readonly headers: Readonly<Record<string, string>>
  readonly cookies?: Readonly<Record<string, string>>
}
const from: Readonly<Record<Role, From>> = {
  bench: { remoteAddress: '127.0.0.1', headers: { host, origin: `http://${host}` } },
  paired: { remoteAddress: '192.0.2.9', headers: { host: lan, origin: `http://${lan}` } },
  none: { remoteAddress: '192.0.2.9', headers: { host: lan, origin: `http://${lan}` } },
}
async function ask(
  role: Role,
  name: RouteName,
  more: { url?: string; body?: unknown; headers?: Record<string, string> } = {},
) {
  const [method, path] = paths[name]
  const url = (more.url ?? path).replace(':run', 'none-such').replace(':kind', 'bench')
  const { remoteAddress, headers } = from[role]
  return app.inject({
    ...{ method, url, remoteAddress },
    headers: { ...headers, ...more.headers },
    ...(more.body !== undefined && { payload: more.body as object }),
    ...(role === 'paired' && { cookies: { slowglow_device: token } }),
  })
}
const names = (Object.keys(paths) as RouteName[]).filter((name) => name !== 'events')

describe('role by way in', () => {
  for (const role of ['bench', 'paired', 'none'] as const)
    it(`${role}: is let in where it may, and told why not elsewhere`, async () => {
      for (const name of names) {
        const { statusCode, body } = await ask(role, name)
        const allowed = may[role].includes(routes[name].act)
        if (allowed) expect([401, 403], `${name} ${body}`).not.toContain(statusCode)
        else {
          expect(statusCode, name).toBe(role === 'none' ? 401 : 403)
          expect(body).toContain('"error"')
        }
      }
    })

  it('a strange page, a rebound name or a program that would act for a person: nothing is done, for anyone', async () => {
    for (const role of ['bench', 'paired'] as const)
      for (const name of names) {
        expect((await ask(role, name, { headers: { origin: 'http://evil.example' } })).statusCode, name).toBe(
          403,
        )
        expect((await ask(role, name, { headers: { host: 'evil.example' } })).statusCode, name).toBe(403)
      }
    for (const name of ['start', 'acknowledge', 'answer', 'hands'] as const)
      expect(
        (
          await app.inject({
            method: 'POST',
            url: paths[name][1],
            remoteAddress: '127.0.0.1',
            headers: { host },
          })
        ).statusCode,
      ).toBe(403)
  })

  it('a paired device may add a reading of the cold set or make one worse, never take the place of one out of range', async () => {
    const keep = (role: Role, value: string) =>
      ask(role, 'keepReadings', {
        body: { file: 'receive.yaml', readings: [{ item: 'look dust', value }], by: 'a hand' },
      })
    expect((await keep('paired', 'good')).statusCode).toBe(200)
    const worse = await keep('paired', 'bad')
    expect(worse.json()).toMatchObject({ kept: [{ item: 'look dust', verdict: 'out of range' }] })
    expect((await keep('paired', 'good')).statusCode).toBe(403)
    const here = await keep('bench', 'good')
    expect(here.statusCode).toBe(200)
    expect(here.body).toContain('a hand (the page on the bench machine)')
    const waived = await ask('paired', 'writeBook', {
      body: {
        file: 'receive.yaml',
        entry: { kind: 'waiver', item: 'look dust', reason: 'it is clean enough' },
      },
    })
    expect(waived.statusCode).toBe(403)
  })

  it('pairs by the code alone, with a cookie that scripts and other sites do not get', async () => {
    const wrong = await ask('none', 'pair', { body: { code: 'AAAA-AAAA', name: 'x' } })
    expect(wrong.statusCode).toBe(409)
    const right = await ask('none', 'pair', { body: { code: shown, name: 'phone' } })
    expect(right.json()).toMatchObject({ role: 'paired', name: 'phone' })
    expect(devices).toEqual(['phone'])
    expect(String(right.headers['set-cookie'])).toMatch(/HttpOnly.*SameSite=Strict|SameSite=Strict.*HttpOnly/)
  })

  it('guesses are held back, a stop never', async () => {
    const guesses = []
    for (let i = 0; i < 14; i++)
      guesses.push((await ask('none', 'pair', { body: { code: 'B', name: 'x' } })).statusCode)
    expect(guesses).toContain(429)
    for (let i = 0; i < 1200; i++) expect((await ask('paired', 'stop')).statusCode).toBe(409)
  })
})

describe('what comes in', () => {
  it('leads to no file outside: not by dots, not by a link, not by what a text names', async () => {
    for (const path of ['../outside.yaml', 'link.yaml', outside, 'x/../../outside.yaml']) {
      const read = await ask('bench', 'readFile', { url: `/api/files/text?path=${encodeURIComponent(path)}` })
      expect(read.statusCode, path).toBe(404)
      const wrote = await ask('bench', 'writeFile', { body: { path, text: 'x', replaces: null } })
      expect([404, 409], path).toContain(wrote.statusCode)
    }
    const text =
      'slowglow: profile 1\nname: x\nkind: receive\nequipment: ../outside.yaml\nbench: bench.yaml\n'
    const planned = await ask('bench', 'plan', { body: { profile: 'p.yaml', texts: { 'p.yaml': text } } })
    expect(planned.statusCode).toBe(422)
    expect(planned.body).toContain('outside of the folder')
    expect(planned.body).not.toContain('a secret')
    expect(readFileSync(outside, 'utf8')).toContain('a secret')
    const run = await ask('bench', 'run', { url: '/api/runs/..%2F..%2Foutside' })
    expect(run.body).not.toContain('a secret')
  })

  it('gets the files of the page and none beside them, by whatever address', async () => {
    const got = async (path: string): Promise<{ status: number; body: string }> =>
      new Promise((resolve, reject) => {
        // As it is, on the line: nothing on the way tidies it up.
        const asked = request({ port: listening(), path, headers: { host } }, (answer) => {
          let body = ''
          answer.setEncoding('utf8')
          answer.on('data', (text: string) => (body += text))
          answer.on('end', () => {
            resolve({ status: answer.statusCode ?? 0, body })
          })
        })
        asked.on('error', reject)
        asked.end()
      })
    expect((await got('/')).body).toContain('the page')
    expect(await got('/mark.svg')).toEqual({ status: 200, body: '<svg/>' })
    for (const up of ['..', '%2e%2e', '.%2e', '..%2f..', '..%5c', 'x/../..', '/..', '%252e%252e', '..%00'])
      for (const after of ['outside.yaml', 'sets/bench.yaml', '..%2foutside.yaml']) {
        const { status, body } = await got(`/${up}/${after}`)
        expect([400, 403, 404], `${up}/${after}`).toContain(status)
        expect(body).not.toMatch(/a secret|slowglow: bench/)
      }
  })

  it('may come byte by byte: it is given up, and holds up nobody', async () => {
    const slow = [1, 2, 3].map(() => connect(listening(), '127.0.0.1'))
    const ended = slow.map((socket) => new Promise((resolve) => socket.on('close', resolve)))
    for (const socket of slow) {
      socket.on('error', () => undefined)
      socket.write(`POST /api/live/stop HTTP/1.1\r\nhost: ${host}\r\ncontent-length: 1000\r\n\r\n{`)
      socket.resume()
    }
    const dribbling = setInterval(() => {
      for (const socket of slow) socket.write(' ')
    }, 20)
    expect((await ask('bench', 'stop')).statusCode).toBe(409)
    await Promise.all(ended)
    clearInterval(dribbling)
  })

  it('may be malformed, oversized or a bomb: told, bounded, and the next is answered', async () => {
    const broken = await app.inject({
      ...{ method: 'POST', url: '/api/check', remoteAddress: '127.0.0.1', payload: '{"path":' },
      headers: { host, 'content-type': 'application/json' },
    })
    expect(broken.statusCode).toBe(400)
    const form = await ask('bench', 'check', { headers: { 'content-type': 'text/plain' }, body: 'path=x' })
    expect(form.statusCode).toBe(400)
    const strange = await ask('bench', 'check', { body: { path: 'x.yaml', more: 1 } })
    expect(strange.statusCode).toBe(400)
    expect(strange.json()).toMatchObject({ error: { code: 'bad request' } })
    const large = await ask('bench', 'check', { body: { path: 'x.yaml', text: 'x'.repeat(2_100_000) } })
    expect(large.statusCode).toBe(413)
    const bomb = [
      'a: &a [x,x,x,x,x,x,x,x,x]',
      ...'bcdefghi'.split('').map((k, i) => `${k}: &${k} [${Array(9).fill(`*${'abcdefghi'[i]}`).join(',')}]`),
    ].join('\n')
    const deep = `slowglow: bench 1\nname: ${'['.repeat(100_000)}`
    for (const text of [bomb, deep, '\0', 'slowglow: equipment 1\n'.repeat(20_000)]) {
      const checked = await ask('bench', 'check', { body: { path: 'x.yaml', text } })
      expect(checked.statusCode).toBe(200)
      expect(checkShape.parse(checked.json()).ok).toBe(false)
    }
    expect((await ask('bench', 'files')).statusCode).toBe(200)
    expect(faults).toEqual([])
  })
})

describe('files and plans', () => {
  it('are listed, read, checked where they are wrong, and never written over unread', async () => {
    const listed = filesShape.parse((await ask('bench', 'files')).json())
    expect(listed.files.map(({ path, kind }) => [path, kind])).toEqual([
      ['bench.yaml', 'bench'],
      ['equipment.yaml', 'equipment'],
      ['receive.yaml', 'profile'],
    ])
    expect(listed.files.at(-1)).toMatchObject({ equipment: 'equipment.yaml', bench: 'bench.yaml' })
    const read = textShape.parse(
      (await ask('paired', 'readFile', { url: '/api/files/text?path=receive.yaml' })).json(),
    )
    const wrong = checkShape.parse(
      (
        await ask('bench', 'check', {
          body: { path: 'receive.yaml', text: read.text.replace('kind: receive', 'kind: recieve') },
        })
      ).json(),
    )
    expect(wrong.problems[0]).toMatchObject({ severity: 'error', at: { file: 'receive.yaml', line: 4 } })
    expect(wrong.problems[0]?.remedy).toContain('receive')
    const body = {
      path: 'new/mine.yaml',
      text: read.text.replaceAll(': equip', ': ../equip').replace(': bench.yaml', ': ../bench.yaml'),
      replaces: null,
    }
    const first = await ask('bench', 'writeFile', { body })
    expect(first.json()).toMatchObject({ ok: true, kind: 'profile' })
    expect((await ask('bench', 'writeFile', { body })).statusCode).toBe(409)
    const { hash } = first.json<{ hash: string }>()
    expect(
      (await ask('bench', 'writeFile', { body: { ...body, text: `${body.text}\n`, replaces: hash } }))
        .statusCode,
    ).toBe(200)
    expect((await ask('bench', 'writeFile', { body: { ...body, replaces: hash } })).statusCode).toBe(409)
    expect((await ask('paired', 'writeFile', { body })).statusCode).toBe(403)
  })

  it('give the plan as the command does, with what is worth drawing and what a rehearsal takes', async () => {
    const reply = await ask('paired', 'plan', { body: { profile: 'receive.yaml', parts: true } })
    expect(reply.statusCode).toBe(200)
    const { plan, courses, parts, cautions } = plannedShape.parse(reply.json())
    expect(plan.steps.length).toBeGreaterThan(3)
    expect(courses.some(({ rail }) => rail === 'HT')).toBe(true)
    expect(parts?.equipment.name).toBe(plan.equipment)
    expect(cautions).toContain('THIS RUN')
    const none = await ask('bench', 'plan', { body: { profile: 'absent.yaml' } })
    expect([none.statusCode, none.json<{ error: { code: string } }>().error.code]).toEqual([422, 'findings'])
  })

  it('are started only as they were read', async () => {
    const reply = await ask('bench', 'plan', { body: { profile: 'receive.yaml' } })
    const { hash } = plannedShape.parse(reply.json()).plan
    const start = (plan: string) => desk.told('prepare', { ...asked, plan })
    const asked = { profile: 'receive.yaml', faults: [], speed: 20, continues: false }
    await expect(start(hash)).resolves.toMatchObject({ plan: { pace: 20 } })
    const file = join(folder, 'receive.yaml')
    const text = readFileSync(file, 'utf8')
    writeFileSync(file, text.replace(/^name: .*$/m, 'name: Another evening'))
    const body = { profile: 'receive.yaml', plan: hash }
    const refused = await ask('bench', 'start', { body })
    writeFileSync(file, text)
    expect(refused.statusCode).toBe(409)
    expect(refused.json()).toMatchObject({ error: { code: 'changed meanwhile' } })
  })

  it('begin with the questions of `slowglow new`, answered one by one', async () => {
    const answers: string[] = []
    const given: Readonly<Record<string, string>> = {
      'What is the set called': 'Test set',
      'Its tubes by type': '6V6GT, 6SK7',
      'Its HT electrolytics': '16 µF 450 V',
      'Real supplies': 'virtual',
      'Is a HT supply': 'yes',
      'Is a heater supply': 'yes',
    }
    for (let i = 0; i < 60; i++) {
      const told = newSetShape.parse((await ask('bench', 'newSet', { body: { answers } })).json())
      if (told.done) {
        expect(Object.keys(told.files)).toContain('equipment.yaml')
        expect(told.asked.length).toBe(answers.length)
        return
      }
      expect(told.problem).toBeNull()
      answers.push(Object.entries(given).find(([words]) => told.next.ask.includes(words))?.[1] ?? '')
    }
    throw new Error('It never came to an end.')
  })

  it('says what was wrong with an answer, and asks again', async () => {
    const told = newSetShape.parse(
      (await ask('bench', 'newSet', { body: { answers: ['Test set', 'sideways'] } })).json(),
    )
    expect(told).toMatchObject({ done: false, asked: [{ answer: 'Test set' }] })
    expect(JSON.stringify(told)).toContain('none of them')
  })
})

describe('the service tells other languages of itself', () => {
  it('with every way in, its parameters, its body, each answer and each refusal', async () => {
    const reply = await app.inject({
      url: '/api/openapi.json',
      remoteAddress: '127.0.0.1',
      headers: { host },
    })
    const document = reply.json<{
      paths: Record<
        string,
        Record<string, { responses: Record<string, unknown>; requestBody?: unknown; parameters?: unknown[] }>
      >
      components: { schemas: Record<string, { properties: object }> }
    }>()
    for (const name of Object.keys(paths) as RouteName[]) {
      const [method, path] = paths[name]
      const shape: RouteShape = routes[name]
      const way = document.paths[path.replace(/:(\w+)/g, '{$1}')]?.[method.toLowerCase()]
      expect(way, name).toBeDefined()
      const wanted = ['200', ...Object.keys(everywhere), ...Object.keys(shape.errors ?? {})]
      expect(Object.keys(way?.responses ?? {}).sort(), name).toEqual([...new Set(wanted)].sort())
      expect(way?.requestBody !== undefined, name).toBe(shape.body !== undefined)
      expect((way?.parameters ?? []).length > 0, name).toBe(
        shape.params !== undefined || shape.query !== undefined,
      )
    }
    expect(Object.keys(document.components.schemas['LiveEvents']?.properties ?? {})).toEqual(
      Object.keys(eventShapes),
    )
  })

  it('and lets no inline script run on its pages, nor other sites frame them', async () => {
    const { headers } = await ask('bench', 'me')
    const policy = String(headers['content-security-policy'])
    expect(policy).toContain("script-src 'self'")
    expect(policy).not.toContain('unsafe')
    expect(policy).toContain("frame-ancestors 'none'")
    expect(headers['strict-transport-security']).toBeUndefined()
    expect(headers['access-control-allow-origin']).toBeUndefined()
  })
})
