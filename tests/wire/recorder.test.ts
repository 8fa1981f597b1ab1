import { spawn, spawnSync } from 'node:child_process'
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { connect } from 'node:net'
import { dirname, join } from 'node:path'
import Database from 'better-sqlite3'
import { afterAll, describe, expect, it, onTestFinished } from 'vitest'
import { connectRecorder } from '../../src/record/client.js'
import { openRunFile, type RunEntry, startRecorder } from '../../src/record/index.js'
import type { RunEvent, RecorderStart } from '../../src/record/index.js'
import { compiled } from '../helpers/compiled.js'
import { integrityOf } from '../helpers/sound-file.js'
import { event, folder, smallRun } from '../helpers/runs.js'

const program = compiled('record/recorder.process.ts')
const clientProgram = compiled('record/client.ts')
afterAll(() => {
  program.remove()
  clientProgram.remove()
})

async function started(more: Partial<RecorderStart> = {}) {
  const file = join(folder(), 'a.slowglow')
  const recorder = await startRecorder({ file, linger_s: 0.3, ...more }, program.path)
  if ('trouble' in recorder) throw new Error(recorder.trouble)
  onTestFinished(() => {
    if (isRunning(recorder.pid)) process.kill(recorder.pid, 'SIGKILL')
    rmSync(dirname(recorder.socket), { recursive: true, force: true })
  })
  return { file: more.file ?? file, ...recorder }
}
function client(path: string, from: RunEvent['from'], options = {}) {
  const heard = { recorded: [] as number[], trouble: [] as string[] }
  const line = connectRecorder(
    path,
    from,
    { recorded: (intent) => heard.recorded.push(intent), trouble: (text) => heard.trouble.push(text) },
    options,
  )
  return { ...line, heard }
}
function isRunning(pid: number): boolean {
  try {
    process.kill(pid, 0)
    return true
  } catch {
    return false
  }
}
async function until(true_: () => boolean, what: string): Promise<void> {
  for (let i = 0; i < 500; i++) {
    if (true_()) return
    await new Promise((resolve) => setTimeout(resolve, 20))
  }
  throw new Error(`did not come about: ${what}`)
}
function entriesOf(path: string): RunEntry[] {
  const result = openRunFile(path)
  if ('trouble' in result) throw new Error(result.trouble)
  const entries = [...result.reader.entries()]
  result.reader.close()
  return entries
}

/** NODE_OPTIONS for a recorder that writes down, in order, what it hears, commits with and without a sync, and tells. */
function tellingOrder(log: string): string {
  const code = `
    import { appendFileSync } from 'node:fs'
    import { createRequire } from 'node:module'
    import { Socket } from 'node:net'
    if (process.argv[1]?.includes('recorder.process')) {
      const say = (line) => appendFileSync(${JSON.stringify(log)}, line + '\\n')
      const { prototype } = createRequire(process.argv[1])('better-sqlite3')
      const { exec, pragma } = prototype
      const { write, emit } = Socket.prototype
      let level = ''
      prototype.pragma = function (sql, options) {
        level = /^synchronous = (\\w+)/.exec(sql)?.[1] ?? level
        const result = pragma.call(this, sql, options)
        if (level === 'FULL' && sql.startsWith('user_version = ')) say('synced')
        return result
      }
      prototype.exec = function (sql) {
        const result = exec.call(this, sql)
        if (sql === 'COMMIT') say(level === 'FULL' ? 'synced' : 'written')
        return result
      }
      Socket.prototype.emit = function (name, chunk, ...more) {
        if (name === 'data' && String(chunk).includes('"kind":"entries"')) say('heard')
        return emit.call(this, name, chunk, ...more)
      }
      Socket.prototype.write = function (text, ...more) {
        const told = [...String(text).matchAll(/"kind":"(recorded|confirmed)"/g)]
        for (const [, kind] of told) say('told ' + kind)
        return write.call(this, text, ...more)
      }
    }`
  return `--import=data:text/javascript,${encodeURIComponent(code)}`
}

describe('the recorder process', () => {
  it('confirms what it has, names recorded intents, and leaves one final file when the run is over', async () => {
    const recorder = await started()
    const controller = client(recorder.socket, 'controller')
    const run = smallRun()
    controller.append(run.slice(0, -2))
    controller.append([event(92_000_250, { what: 'intent', intent: 7 })])
    await until(() => controller.heard.recorded.includes(7), 'intent recorded')
    await until(() => controller.unconfirmed().length === 0, 'all confirmed')
    controller.append(run.slice(-2))
    await controller.close()
    expect(entriesOf(recorder.file)).toHaveLength(run.length + 1)
    expect(existsSync(`${recorder.file}-wal`)).toBe(false)
    expect(controller.heard.trouble).toEqual([])
    await until(() => !isRunning(recorder.pid), 'the recorder has ended')
    expect(existsSync(recorder.socket)).toBe(false)
  })

  it('tells of nothing as recorded or confirmed that its disk was not asked to keep since: not an intent, not a reading', async () => {
    const log = join(folder(), 'order')
    process.env['NODE_OPTIONS'] = tellingOrder(log)
    const recorder = await started().finally(() => delete process.env['NODE_OPTIONS'])
    const controller = client(recorder.socket, 'controller')
    const run = smallRun()
    controller.append(run.slice(0, 200))
    controller.append([event(20_000_000, { what: 'intent', intent: 7 })])
    await until(() => controller.heard.recorded.includes(7), 'intent recorded')
    controller.append(run.slice(200, 600).filter(({ entry }) => entry === 'reading'))
    controller.append([event(60_000_000, { what: 'fed', durable: false })])
    await until(() => controller.unconfirmed().length === 0, 'all confirmed')
    controller.append(run.slice(-1))
    await controller.close()
    const order = readFileSync(log, 'utf8').trim().split('\n')
    let isKept = false
    for (const line of order) {
      if (line === 'heard' || line === 'written') isKept = false
      if (line === 'synced') isKept = true
      if (line.startsWith('told')) expect([line, isKept]).toEqual([line, true])
    }
    expect(order.filter((line) => line === 'told recorded')).toHaveLength(1)
    expect(order.filter((line) => line === 'told confirmed').length).toBeGreaterThan(1)
  })

  it('takes entries of controller and supervisor, each with its own confirmations', async () => {
    const recorder = await started()
    const [controller, supervisor] = [
      client(recorder.socket, 'controller'),
      client(recorder.socket, 'supervisor'),
    ]
    for (let i = 0; i < 20; i++) {
      controller.append([event(i, { from: 'controller', intent: i })])
      supervisor.append([event(i, { from: 'supervisor' })])
    }
    await until(
      () => controller.unconfirmed().length + supervisor.unconfirmed().length === 0,
      'all confirmed',
    )
    expect(controller.heard.recorded).toEqual(Array.from({ length: 20 }, (_, i) => i))
    expect(supervisor.heard.recorded).toEqual([])
    await controller.close()
    supervisor.append([smallRun().at(-1) ?? event(1)])
    await supervisor.close()
    expect(entriesOf(recorder.file)).toHaveLength(41)
  })

  it('confirms readings too, without any durable event', async () => {
    const recorder = await started()
    const controller = client(recorder.socket, 'controller')
    controller.append([{ entry: 'reading', stream: 1, t_us: 1, n: 2, k: 3 }])
    await until(() => controller.unconfirmed().length === 0, 'confirmed')
    await controller.close()
  })

  it('outlives a controller and supervisor that are killed, marks the run, and ends', async () => {
    const recorder = await started()
    const script = join(dirname(clientProgram.path), 'killed.js')
    writeFileSync(
      script,
      `import { connectRecorder } from './client.js'
      const handlers = { recorded: () => process.stdout.write('recorded'), trouble: () => undefined }
      connectRecorder(process.argv[2], 'controller', handlers).append([${JSON.stringify(event(5, { intent: 1 }))}])`,
    )
    const killed = spawn(process.execPath, [script, recorder.socket])
    await new Promise((resolve) => killed.stdout.once('data', resolve))
    killed.kill('SIGKILL')
    await until(() => !isRunning(recorder.pid), 'the recorder has ended')
    const events = entriesOf(recorder.file).flatMap((e) => (e.entry === 'event' ? [e.event.what] : []))
    expect(events).toEqual(['step', 'client lost', 'no ending'])
    expect(existsSync(`${recorder.file}-wal`)).toBe(false)
  })

  it('does not mind what a terminal sends', async () => {
    const recorder = await started()
    const controller = client(recorder.socket, 'controller')
    for (const signal of ['SIGINT', 'SIGHUP', 'SIGTSTP'] as const) process.kill(recorder.pid, signal)
    controller.append([event(1, { intent: 3 })])
    await until(() => controller.heard.recorded.includes(3), 'intent recorded')
    await controller.close()
  })

  it('told to end by a signal stays for last words, then ends at once', async () => {
    const recorder = await started({ linger_s: 60 })
    const controller = client(recorder.socket, 'controller')
    controller.append([event(1, { intent: 1 })])
    await until(() => controller.heard.recorded.includes(1), 'intent recorded')
    process.kill(recorder.pid, 'SIGTERM')
    controller.append([event(2, { intent: 2, text: 'last words' })])
    await until(() => controller.heard.recorded.includes(2), 'last words recorded')
    await controller.close()
    await until(() => !isRunning(recorder.pid), 'the recorder has ended')
    expect(entriesOf(recorder.file)).toHaveLength(3)
  })

  it('loses no acknowledged durable entry when it is killed in the middle of writing', async () => {
    for (let round = 0; round < 6; round++) {
      const recorder = await started()
      const controller = client(recorder.socket, 'controller')
      let sent = 0
      const sending = setInterval(() => {
        controller.append([
          { entry: 'tick', t_us: sent, late_us: 0, slept_us: 0 },
          { entry: 'reading', stream: 1, t_us: sent, n: sent, k: 2 },
          event(sent, { intent: sent }),
        ])
        sent++
      }, 1)
      await until(() => controller.heard.recorded.length > 20 + round * 15, 'intents recorded')
      process.kill(recorder.pid, 'SIGKILL')
      await until(() => controller.heard.trouble.length > 0, 'the loss is seen')
      clearInterval(sending)
      expect(controller.heard.trouble[0]).toMatch(/recorder is lost/)
      expect(integrityOf(recorder.file)).toBe('ok')
      const there = entriesOf(recorder.file)
      const intents = there.flatMap((e) => (e.entry === 'event' ? [e.event.intent] : []))
      expect(intents).toEqual(intents.map((_, i) => i))
      expect(intents.length).toBeGreaterThanOrEqual(controller.heard.recorded.length)
      // What is not confirmed is still in the client's hands.
      const next = controller
        .unconfirmed()
        .flatMap((e) => (e.entry === 'event' ? [e.event.intent ?? -1] : []))
      expect(next[0]).toBeLessThanOrEqual(intents.length)
      expect(next.at(-1)).toBe(sent - 1)
    }
  })

  // A disk that does not answer holds the recorder inside the system call; a stopped process stands as still, and on any machine.
  it('that stands still for a while holds up nobody and loses nothing', async () => {
    const recorder = await started()
    const controller = client(recorder.socket, 'controller')
    controller.append([event(0, { intent: 0 })])
    await until(() => controller.heard.recorded.length > 0, 'it writes')
    process.kill(recorder.pid, 'SIGSTOP')
    const given: RunEntry[] = []
    for (let i = 1; i <= 2000; i++) {
      const entry: RunEntry =
        i % 100 === 0
          ? event(i, { what: 'trip', intent: i })
          : { entry: 'reading', stream: 1, t_us: i, n: i, k: 2 }
      given.push(entry)
      expect(controller.append([entry])).toBe(true)
      if (i % 20 === 0) await new Promise((resolve) => setTimeout(resolve, 5))
    }
    expect(controller.unconfirmed()).toEqual(given)
    expect(controller.heard.trouble).toEqual([])
    process.kill(recorder.pid, 'SIGCONT')
    await until(() => controller.unconfirmed().length === 0, 'all is confirmed')
    expect(controller.heard.recorded).toHaveLength(21)
    expect(entriesOf(recorder.file).slice(1)).toEqual(given)
    await controller.close()
  })

  it('on a full disk says so and keeps the rest elsewhere', async () => {
    const elsewhere = join(folder(), 'elsewhere')
    mkdirSync(elsewhere)
    const recorder = await started({ max_bytes: 150_000, fallback_folder: elsewhere })
    const controller = client(recorder.socket, 'controller')
    let sent = 0
    while (controller.heard.trouble.length === 0) {
      controller.append([event(sent, { intent: sent++, text: 'x'.repeat(500) })])
      await new Promise((resolve) => setTimeout(resolve, 1))
    }
    controller.append([event(sent++, { what: 'off', text: 'last words' })])
    expect(controller.heard.trouble[0]).toMatch(/is full.*What follows is kept in .*a-rest\.jsonl/)
    await controller.close()
    await until(() => !isRunning(recorder.pid), 'the recorder has ended')
    const rest = readFileSync(join(elsewhere, readdirSync(elsewhere)[0] ?? ''), 'utf8')
    expect(rest).toContain('last words')
    const inFile = entriesOf(recorder.file).length
    const inRest = rest.split('\n').filter((line) => line.includes('"xxx')).length
    expect(inFile + inRest).toBeGreaterThanOrEqual(sent - 1)
    expect(inFile).toBeGreaterThan(controller.heard.recorded.length - 1)
  })

  // A file system of its own that is really full: only where one may be made, as in a container.
  it('on a file system that fills up in mid-run loses nothing: the file stays sound, the rest lies on another one', async ({
    skip,
  }) => {
    const [small, elsewhere] = [folder(), folder()]
    const mounted = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=700k', 'tmpfs', small])
    skip(mounted.status !== 0, 'no file system may be mounted here')
    try {
      const file = join(small, 'a.slowglow')
      const recorder = await started({ file, fallback_folder: elsewhere })
      const controller = client(recorder.socket, 'controller')
      const given: RunEntry[] = []
      const give = (entry: RunEntry): void => {
        given.push(entry)
        controller.append([entry])
      }
      while (controller.heard.trouble.length === 0) {
        const i = given.length
        give({ entry: 'reading', stream: 1, t_us: i, n: i, k: 2 })
        give(event(i + 1, { intent: i + 1, text: 'x'.repeat(500) }))
        await new Promise((resolve) => setTimeout(resolve, 1))
      }
      give(event(given.length, { what: 'trip', text: 'last words' }))
      expect(controller.heard.trouble[0]).toMatch(/is full.*What follows is kept in .*a-rest\.jsonl/)
      await controller.close()
      await until(() => !isRunning(recorder.pid), 'the recorder has ended')
      const lines = readFileSync(join(elsewhere, readdirSync(elsewhere)[0] ?? ''), 'utf8')
        .trim()
        .split('\n')
      const rest = lines.slice(1).map((line) => JSON.parse(line) as RunEntry)
      const own = (entry: RunEntry): boolean => entry.entry === 'event' && entry.event.from === 'recorder'
      expect([...entriesOf(file), ...rest].filter((entry) => !own(entry))).toEqual(given)
      const db = new Database(file, { readonly: true })
      expect(db.pragma('integrity_check', { simple: true })).toBe('ok')
      db.close()
    } finally {
      spawnSync('umount', ['-l', small])
    }
  })

  it('that finds its file taken says so and does not start', async () => {
    const file = join(folder(), 'a.slowglow')
    writeFileSync(file, '')
    expect(await startRecorder({ file }, program.path)).toEqual({
      trouble: expect.stringMatching(/exists already/) as string,
    })
  })

  it('answers what it does not understand with trouble', async () => {
    const recorder = await started()
    const socket = connect(recorder.socket)
    socket.write('{"kind":"hello","from":"controller"}\nnonsense\n{"kind":"entries","seq":4,"entries":[]}\n')
    const heard: string[] = []
    socket.setEncoding('utf8').on('data', (chunk: string) => heard.push(chunk))
    await until(() => heard.join('').split('\n').length > 2, 'two answers')
    expect(heard.join('')).toMatch(/did not understand.*\n.*expected batch 1 and received 4/)
    socket.destroy()
  })
})

describe('a client of the recorder', () => {
  it('says trouble once when nobody listens', async () => {
    const lost = client(join(folder(), 'none'), 'controller')
    await until(() => lost.heard.trouble.length > 0, 'trouble')
    lost.append([event(1)])
    expect(lost.heard.trouble).toHaveLength(1)
    expect(lost.unconfirmed()).toHaveLength(1)
    await lost.close()
  })

  it('says trouble when the recorder stands still: its queue is bounded and its silence is timed', async () => {
    const recorder = await started({ linger_s: 60 })
    const [full, silent] = [
      client(recorder.socket, 'controller', { most: 100 }),
      client(recorder.socket, 'supervisor', { silent_after_ms: 300 }),
    ]
    full.append([event(0)])
    silent.append([event(0)])
    await until(() => full.unconfirmed().length + silent.unconfirmed().length === 0, 'both are heard')
    process.kill(recorder.pid, 'SIGSTOP')
    silent.append([event(1)])
    for (let i = 0; i < 101; i++) full.append([event(i)])
    expect(full.heard.trouble).toEqual([expect.stringMatching(/queue to the recorder is full: 100 entries/)])
    await until(() => silent.heard.trouble.length > 0, 'silence is seen')
    expect(silent.heard.trouble[0]).toMatch(/has not confirmed for 0.3 s/)
    process.kill(recorder.pid, 'SIGCONT')
    await until(() => full.unconfirmed().length + silent.unconfirmed().length === 0, 'nothing was lost')
  })
})
