import { spawn } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { createServer, type IncomingMessage, type Server, type ServerResponse } from 'node:http'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { pathToFileURL } from 'node:url'
import { afterEach, describe, expect, it } from 'vitest'
import { startAlerts, type Alerts } from '../../src/alerts/index.js'
import type { AlertTarget } from '../../src/bench/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { Broker, freePort, password, skipWithoutBroker, user } from '../helpers/broker.js'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { skipWithoutSocat } from '../helpers/pty.js'
import { smallPlan } from '../helpers/small-plan.js'
import { gone } from '../helpers/terminal.js'

const env = { BROKER_PASSWORD: password, HOOK_TOKEN: 'Bearer not a secret' }
const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

async function broker(port?: number): Promise<Broker> {
  const started = await Broker.start('bench/#', port)
  closers.push(() => started.stop())
  return started
}

interface Post {
  readonly headers: IncomingMessage['headers']
  readonly body: Record<string, unknown>
}
/** A local endpoint; `answer` decides what it says to the n-th post, `silent` = nothing at all. */
async function endpoint(answer: (n: number) => number | 'silent'): Promise<{ url: string; posts: Post[] }> {
  const posts: Post[] = []
  const server: Server = createServer((request: IncomingMessage, response: ServerResponse) => {
    let text = ''
    request.on('data', (piece: Buffer) => {
      text += piece.toString()
    })
    request.on('end', () => {
      posts.push({ headers: request.headers, body: JSON.parse(text) as Record<string, unknown> })
      const status = answer(posts.length)
      if (status !== 'silent') response.writeHead(status).end('ignored')
    })
  })
  await new Promise<void>((ready) => server.listen(0, '127.0.0.1', ready))
  closers.push(
    () =>
      new Promise((closed) => {
        server.closeAllConnections()
        server.close(() => {
          closed()
        })
      }),
  )
  const address = server.address()
  return { url: `http://127.0.0.1:${typeof address === 'object' ? address?.port : 0}/hook`, posts }
}

const webhook = (
  url: string,
  more: Partial<Extract<AlertTarget, { kind: 'webhook' }>> = {},
): AlertTarget => ({
  kind: 'webhook',
  url,
  url_from: null,
  headers_from: {},
  still_there_s: null,
  least: 'news',
  within_s: 5,
  ...more,
})
const begun: RunEntry = {
  entry: 'event',
  event: {
    t_us: 1000,
    from: 'controller',
    what: 'begin',
    text: '',
    rail: null,
    step: null,
    intent: null,
    data: {},
    durable: true,
  },
}
function started(targets: readonly AlertTarget[]): { alerts: Alerts; told: string[] } {
  const told: string[] = []
  const of = { run: 'run 1', plan: smallPlan() }
  const tell = (text: string): void => {
    told.push(text)
  }
  return { alerts: startAlerts({ targets, env, of, now_us: () => 0, tell, last_words_ms: 1000 }), told }
}
/** A process of its own that alerts once and goes on. */
const standing = `
import { startAlerts } from ${JSON.stringify(pathToFileURL(resolve('dist/alerts/index.js')).href)}
const job = JSON.parse(process.argv[1])
const alerts = startAlerts({ ...job, now_us: () => 0, tell: () => {} })
alerts.take(${JSON.stringify(begun)})
setInterval(() => {}, 1000)
`
async function until(holds: () => boolean): Promise<void> {
  while (!holds()) await sleep(20)
}

describe('a webhook', () => {
  it('is posted the alert as JSON, with what the environment holds, and tried again until it is taken', async () => {
    const { url, posts } = await endpoint((n) => (n === 1 ? 503 : 204))
    const { alerts, told } = started([webhook(url, { headers_from: { Authorization: 'HOOK_TOKEN' } })])
    alerts.take(begun)
    await until(() => posts.length === 2)
    await alerts.close()
    expect(posts[1]?.headers.authorization).toBe(env.HOOK_TOKEN)
    expect(posts[1]?.body).toMatchObject({ kind: 'start', severity: 'news', run: 'run 1', outputs: 'in use' })
    expect(Date.parse(String(posts[1]?.body['at']))).not.toBeNaN()
    expect(told[0]).toContain('it answered 503. It is tried again')
    expect(told.at(-1)).toContain('again')
    expect(told.join()).not.toContain('not a secret')
  })

  it('is tried before a run that nobody stays with, whatever it takes otherwise, and named where it did not take that', async () => {
    const takes = await endpoint(() => 200)
    const refuses = await endpoint(() => 403)
    const { alerts, told } = started([
      webhook(takes.url, { least: 'alarm' }),
      webhook(refuses.url),
      webhook('http://127.0.0.1/x', { url: null, url_from: 'NO_SUCH' }),
    ])
    const troubles = await alerts.reach()
    expect(troubles).toHaveLength(2)
    expect(troubles.join('\n')).toMatch(/NO_SUCH: not set up[^]*403/)
    expect(takes.posts[0]?.body).toMatchObject({ kind: 'trial', outputs: 'in use' })
    expect(String(takes.posts[0]?.body['text'])).toContain('Nothing is energised yet')
    expect(told.filter((text) => text.includes('on trial'))).toHaveLength(2)
    await alerts.close()
  })

  it('that will never take it is not tried again, and that is told', async () => {
    const { url, posts } = await endpoint(() => 404)
    const { alerts, told } = started([webhook(url)])
    alerts.take(begun)
    await until(() => told.length > 0)
    await alerts.close()
    expect(posts).toHaveLength(1)
    expect(told[0]).toContain('it answered 404. It is not tried again')
  })

  it('that nobody serves is told with the reason', async () => {
    const { alerts, told } = started([webhook(`http://127.0.0.1:${await freePort()}/`)])
    alerts.take(begun)
    await until(() => told.length > 0)
    expect(told[0]).toContain('ECONNREFUSED')
    await alerts.close()
    expect(told.at(-1)).toMatch(/1 alert did not reach webhook 127.0.0.1:\d+; 0 did/)
  })
})

describe('a local command', () => {
  it('gets the words in place and the whole alert on its input; one that fails or hangs is told', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-alert-'))
    closers.push(() => Promise.resolve(rmSync(folder, { recursive: true })))
    const file = join(folder, 'said')
    const node = (script: string, ...words: string[]): readonly string[] => [
      process.execPath,
      '-e',
      script,
      ...words,
    ]
    // Only the one that hangs is to run out of time: a busy machine may take long to start the others.
    const command = (run: readonly string[], within_s = 60): AlertTarget => ({
      kind: 'command',
      run,
      least: 'news',
      within_s,
    })
    const { alerts, told } = started([
      command(
        node(
          `const fs = require('fs'); fs.writeFileSync(process.argv[1], process.argv[2] + '\\n' + fs.readFileSync(0, 'utf8'))`,
          file,
          '{severity}: {text}',
        ),
      ),
      command(node(`console.error('no such card'); process.exit(3)`)),
      command(node(`setInterval(() => undefined, 1000)`), 2),
      command([join(folder, 'not there')]),
    ])
    alerts.take(begun)
    await until(() => told.length === 3)
    await alerts.close()
    const [words = '', body = ''] = readFileSync(file, 'utf8').split('\n')
    expect(words).toMatch(/^news: .*The run began/)
    expect(JSON.parse(body)).toMatchObject({ kind: 'start', run: 'run 1' })
    const all = told.join('\n')
    expect(all).toContain('it ended with 3: no such card')
    expect(all).toContain('nothing came of it within 2 s')
    expect(all).toContain('ENOENT')
  })
})

const wireless = skipWithoutBroker()

describe.skipIf(wireless)('a broker', () => {
  const mqttAt = (url: string): AlertTarget => ({
    kind: 'mqtt',
    url,
    url_from: null,
    topic: 'bench/tern rock',
    user,
    password_from: 'BROKER_PASSWORD',
    silent_after_s: 5,
    least: 'news',
    within_s: 2,
  })

  it('gets each alert, and keeps the last as the state', async () => {
    const at = await broker()
    const { alerts, told } = started([mqttAt(at.url)])
    alerts.take(begun)
    await at.hears('bench/tern rock/alert', { kind: 'start' })
    await alerts.close()
    expect(told).toEqual([])
    await at.read('bench/#')
    const kept = await at.hears('bench/tern rock/state', { kind: 'start', outputs: 'in use' })
    expect(kept['run']).toBe('run 1')
    await until(() => at.heard.some(({ retained, topic }) => retained && topic.endsWith('/state')))
  })

  it('says that nothing is heard any more where the process stands still and its connection stays open', async () => {
    const at = await broker()
    const job = JSON.stringify({ targets: [mqttAt(at.url)], env, of: { run: 'run 1', plan: smallPlan() } })
    const child = spawn(process.execPath, ['--input-type=module', '-e', standing, job], { stdio: 'inherit' })
    closers.push(() => Promise.resolve(void child.kill('SIGKILL')))
    await at.hears('bench/tern rock/state', { kind: 'start' })
    child.kill('SIGSTOP')
    await at.hears('bench/tern rock/state', { kind: 'silence', outputs: 'not known' })
  })

  it('that comes up late gets what waited', async () => {
    const port = await freePort()
    const { alerts, told } = started([mqttAt(`mqtt://127.0.0.1:${port}`)])
    alerts.take(begun)
    await until(() => told.length > 0)
    expect(told[0]).toContain('ECONNREFUSED')
    const at = await broker(port)
    await at.hears('bench/tern rock/alert', { kind: 'start' })
    await alerts.close()
  })
})

describe.skipIf(wireless || skipWithoutSocat())('a run on a terminal line', () => {
  /** The demo's bench with places for alerts. */
  function benchWith(folder: string, alerts: string): string {
    const text = readFileSync('profiles/tern-rock/bench.yaml', 'utf8')
    const path = join(folder, 'bench.yaml')
    const set = resolve('profiles/tern-rock/equipment.yaml')
    writeFileSync(
      path,
      `${text.replace('equipment: equipment.yaml', `equipment: ${set}`)}\nalerts:\n${alerts}\n`,
    )
    return path
  }

  async function live(alerts: string, ...more: readonly string[]): Promise<LiveRun> {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    const bench = benchWith(folder, alerts)
    const run = new LiveRun([shortProfile, '--speed', '20', '--bench', bench, ...more], folder, env)
    closers.push(() => run.end())
    await run.acknowledge()
    return run
  }

  it('tells the broker, the endpoint and the command; an endpoint that hangs while it trips holds nothing up and is in the record', async () => {
    const at = await broker()
    const hangs = await endpoint(() => 'silent')
    const takes = await endpoint(() => 200)
    const run = await live(
      [
        `  - { kind: mqtt, url: "${at.url}", topic: bench/alerts, user: ${user}, password_from: BROKER_PASSWORD }`,
        `  - { kind: webhook, url: "${takes.url}" }`,
        `  - { kind: webhook, url: "${hangs.url}", within: 1 s }`,
      ].join('\n'),
      ...['--fault', 'C1b:short@HT>50V'],
    )
    expect(await run.exit(60_000)).toBe(3)
    const kinds = takes.posts.map(({ body }) => String(body['kind']))
    expect(kinds[0]).toBe('start')
    expect(kinds.filter((kind) => kind === 'step').length).toBeGreaterThan(3)
    expect(kinds.slice(-2)).toEqual(['trip', 'finish'])
    const state = await at.hears('bench/alerts/state', { kind: 'finish' })
    expect(state).toMatchObject({ outputs: 'confirmed off', severity: 'alarm' })
    expect(hangs.posts.length).toBeGreaterThan(0)
    const { ending, events } = run.record()
    expect(ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed' })
    // Something hung on the endpoint when it tripped, and OFF went out before any of it was given up.
    const trip = events.findIndex(({ what }) => what === 'trip')
    const off = events.findIndex(({ text }) => text.startsWith('urgent off'))
    expect(off).toBeGreaterThan(0)
    const between = events.slice(Math.min(trip, off), Math.max(trip, off))
    expect(between.some(({ what }) => what === 'alert')).toBe(false)
    const failures = events.filter(({ what }) => what === 'alert')
    expect(failures[0]?.text).toContain('nothing came of it within 1 s')
    expect(failures.at(-1)?.text).toMatch(/alerts did not reach webhook/)
    expect(run.session.seen).toContain('did not reach webhook')
  })

  it('leaves a broker that tells of silence by itself when the supervising process is killed', async () => {
    const at = await broker()
    const run = await live(
      `  - { kind: mqtt, url: "${at.url}", topic: bench/alerts, user: ${user}, password_from: BROKER_PASSWORD }`,
    )
    await at.hears('bench/alerts/state', { kind: 'start' })
    const { controller } = run
    process.kill(run.session.leader, 'SIGKILL')
    const will = await at.hears('bench/alerts/state', { kind: 'silence' })
    expect(will).toMatchObject({ severity: 'alarm', outputs: 'not known' })
    await gone(controller)
    expect(run.record().ending?.reason?.code).toBe('parent-lost')
  })
})
