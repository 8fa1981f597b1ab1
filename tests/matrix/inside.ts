import {
  closeSync,
  existsSync,
  fstatSync,
  mkdirSync,
  openSync,
  readFileSync,
  readSync,
  writeFileSync,
} from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'

/**
 * What the matrix has inside the processes of a run, given as NODE_OPTIONS: the program itself holds nothing for it. The controller's views,
 * what it sent to the recorder and what of that was acknowledged, and the bench's truth, are copied out; on SIGUSR2 the controller's clocks jump,
 * its heap is filled and let go or it breaks, the recorder's disk fills or stands, and the bench cuts a line, plugs it in again, or lets the
 * fault begin that waits for step 99.
 */
const code = (folder: string): string => `
import child from 'node:child_process'
import { EventEmitter } from 'node:events'
import { appendFileSync, constants, existsSync, openSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { createRequire, syncBuiltinESMExports } from 'node:module'
import net from 'node:net'
import os from 'node:os'
import { basename } from 'node:path'
import { PassThrough } from 'node:stream'
const folder = ${JSON.stringify(folder)}
const program = process.argv[1] ?? ''
const write = (name, said) => {
  writeFileSync(folder + '/' + name + '.' + process.pid, JSON.stringify(said))
  renameSync(folder + '/' + name + '.' + process.pid, folder + '/' + name)
}
const wish = () => (existsSync(folder + '/wish') ? readFileSync(folder + '/wish', 'utf8') : '')
if (program.includes('controller.process')) {
  const send = process.send.bind(process)
  process.send = (message, ...rest) => {
    if (message?.kind === 'view') {
      const { phase, step, waiting_for, elapsed_s, rails } = message.view
      write('view', { phase, step, waiting_for, elapsed_s, rails: rails.map(({ rail, set_V, volts, output }) => ({ rail, set_V, volts, output })) })
    }
    // Views are told ten times a second at most, and a run goes off in less than three of them.
    if (message?.kind === 'told' && ['trip', 'off'].includes(message.event.what)) write('off', message.event)
    if (message?.kind === 'ended') write('ended', {})
    return send(message, ...rest)
  }
  // What the recorder acknowledged, as the controller read it: put down outside the record that must hold it.
  const { parse } = JSON
  JSON.parse = (text, ...rest) => {
    const said = parse(text, ...rest)
    if (said?.kind === 'recorded') appendFileSync(folder + '/acknowledged', said.intent + '\\n')
    if (said?.kind === 'confirmed') appendFileSync(folder + '/confirmed', said.seq + '\\n')
    return said
  }
  // And what stood in each batch that it sent: which events, and how many readings.
  const { stringify } = JSON
  JSON.stringify = (said, ...rest) => {
    if (said?.kind === 'entries' && Array.isArray(said.entries)) {
      const events = said.entries.flatMap(({ entry, event }) => (entry === 'event' ? [event.t_us + ' ' + event.what] : []))
      const readings = said.entries.filter(({ entry }) => entry === 'reading').length
      appendFileSync(folder + '/sent', stringify({ seq: said.seq, events, readings }) + '\\n')
    }
    return stringify(said, ...rest)
  }
  process.on('SIGUSR2', () => {
    const [what, by] = wish().split(' ')
    if (what === 'throw') throw new Error('broken by the matrix')
    if (what === 'sleep') {
      const { uptime } = os
      os.uptime = () => uptime() + Number(by)
      syncBuiltinESMExports()
    }
    if (what === 'wall') {
      const { now } = Date
      Date.now = () => now() + 1000 * Number(by)
    }
    if (what === 'clock') {
      const now = process.hrtime.bigint
      process.hrtime.bigint = () => now() + BigInt(by) * 1000000000n
    }
    if (what === 'garbage') {
      const held = []
      const filling = setInterval(() => {
        for (let i = 0; i < 40; i++) held.push(Array.from({ length: 2000 }, (_, j) => ({ i, j })))
        if (held.length > 2000) held.splice(0, 1500)
      }, 5)
      setTimeout(() => clearInterval(filling), 5000)
    }
  })
}
if (program.includes('recorder.process')) {
  const { prototype } = createRequire(program)('better-sqlite3')
  const { exec } = prototype
  let db = null
  let stands = false
  prototype.exec = function (sql) {
    db = this
    if (sql === 'COMMIT' && stands) {
      stands = false
      Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, 4000)
    }
    return exec.call(this, sql)
  }
  process.on('SIGUSR2', () => {
    if (wish() === 'full') db?.pragma('max_page_count = 1')
    if (wish() === 'stands') stands = true
  })
}
// A line that was pulled is plugged in again under its name: another terminal, the same supply behind it.
if (process.argv.includes('virtual-bench')) {
  const { spawn } = child
  child.spawn = (program, args, options) => {
    const first = spawn(program, args, options)
    if (program !== 'socat') return first
    const link = /link=([^,]+)/.exec(args[1])[1]
    const face = Object.assign(new EventEmitter(), { stdin: new PassThrough(), stdout: new PassThrough() })
    let now = first
    const join = (made) => {
      now = made
      made.stdout.on('data', (bytes) => face.stdout.write(bytes))
      made.stdin.on('error', () => undefined)
      for (const what of ['exit', 'error']) made.on(what, (...told) => face.emit(what, ...told))
    }
    join(first)
    face.stdin.on('data', (bytes) => now.stdin.write(bytes))
    face.kill = (signal) => now.kill(signal)
    process.on('SIGUSR2', () => {
      if (wish() !== 'plug ' + basename(link)) return
      join(spawn(program, args, options))
      // Its far end is held open, as the bench itself holds the first one.
      const holds = setInterval(() => {
        if (!existsSync(link)) return
        clearInterval(holds)
        openSync(link, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK)
      }, 5)
    })
    return face
  }
  syncBuiltinESMExports()
}
// Connections are cut where they end, at the supply; new ones are taken, or refused until it is told to take them again.
if (process.argv.includes('virtual-bench') && process.send !== undefined) {
  const send = process.send.bind(process)
  const { createServer } = net
  const servers = new Map()
  net.createServer = (...given) => {
    const server = createServer(...given)
    const sockets = new Set()
    server.on('connection', (socket) => {
      sockets.add(socket)
      socket.on('close', () => sockets.delete(socket))
    })
    server.once('listening', () => servers.set(server.address().port, { server, sockets }))
    return server
  }
  syncBuiltinESMExports()
  let places = {}
  process.send = (message, ...rest) => {
    if (message?.kind === 'ports') places = message.places
    return send(message, ...rest)
  }
  process.on('SIGUSR2', () => {
    const [what, name, how, then] = wish().split(' ')
    const place = places[name]
    const at = servers.get(place?.port)
    if (at === undefined) return
    if (what === 'take') at.server.listen(place.port, place.host)
    if (what !== 'cut') return
    if (then === 'refused') at.server.close()
    for (const socket of at.sockets) how === 'reset' ? socket.resetAndDestroy() : socket.end()
    write('cut', { how, then })
  })
}
if (process.argv.includes('virtual-bench') && process.send !== undefined) {
  const send = process.send.bind(process)
  const us = 987654321
  process.send = (message, ...rest) => {
    if (message?.id === us) {
      const volts = Object.fromEntries(Object.entries(message.rails).map(([name, { volts }]) => [name, volts]))
      appendFileSync(folder + '/truth', JSON.stringify({ at: Date.now(), outputs: message.outputs, volts }) + '\\n')
      return true
    }
    return process.channel ? send(message, ...rest) : false
  }
  Object.defineProperty(process, 'connected', { get: () => true, set: () => undefined })
  setInterval(() => process.emit('message', { kind: 'truth', id: us }), 50).unref()
  // Again for a while: the run tells its own steps in between, and a fault looks only when something happens.
  process.on('SIGUSR2', () => {
    const loose = setInterval(() => process.emit('message', { kind: 'step', step: 99 }), 2)
    setTimeout(() => clearInterval(loose), 1000)
  })
}`

export function inside(folder: string): string {
  mkdirSync(folder, { recursive: true })
  return `--import=data:text/javascript,${encodeURIComponent(code(folder))}`
}

export function wishFor(folder: string, what: string): void {
  writeFileSync(join(folder, 'wish'), what)
}

const viewShape = z.object({
  phase: z.string(),
  step: z.number(),
  waiting_for: z.string(),
  elapsed_s: z.number(),
  rails: z.array(
    z.object({ rail: z.string(), set_V: z.number(), volts: z.number().nullable(), output: z.string() }),
  ),
})
export type SeenView = z.infer<typeof viewShape>

/** The controller's newest view; null before the first. */
export function newestView(folder: string): SeenView | null {
  const text = read(join(folder, 'view'))
  return text === '' ? null : viewShape.parse(JSON.parse(text))
}

/** Numbers of the intents that the recorder had acknowledged to the controller. */
export const acknowledged = (folder: string): number[] => lines(folder, 'acknowledged').map(Number)

const batchShape = z.object({ seq: z.number(), events: z.array(z.string()), readings: z.number() })
/** What the recorder had confirmed to the controller as kept: each event by its time and kind, and how many readings. */
export function confirmed(folder: string): { readonly events: readonly string[]; readonly readings: number } {
  const last = Math.max(0, ...lines(folder, 'confirmed').map(Number))
  const kept = lines(folder, 'sent')
    .filter((line) => line.endsWith('}'))
    .map((line) => batchShape.parse(JSON.parse(line)))
    .filter(({ seq }) => seq <= last)
  return {
    events: kept.flatMap(({ events }) => events),
    readings: kept.reduce((sum, { readings }) => sum + readings, 0),
  }
}

/** Whether the controller has begun to make off, and whether it has come to its end. */
export const goesOff = (folder: string): boolean => existsSync(join(folder, 'off'))
export const hasEnded = (folder: string): boolean => existsSync(join(folder, 'ended'))
/** Whether the bench has cut connections. */
export const isCut = (folder: string): boolean => existsSync(join(folder, 'cut'))

const truthShape = z.object({
  at: z.number(),
  outputs: z.record(z.string(), z.boolean()),
  volts: z.record(z.string(), z.number()),
})
export type Truth = z.infer<typeof truthShape>

/** What really stood at the set, twenty times a second, on the clock of the wall. */
export function truths(folder: string): Truth[] {
  return read(join(folder, 'truth'))
    .split('\n')
    .filter((line) => line.endsWith('}'))
    .map((line) => truthShape.parse(JSON.parse(line)))
}

/** The newest of them; null before the first. */
export function newestTruth(folder: string): Truth | null {
  const path = join(folder, 'truth')
  try {
    const handle = openSync(path, 'r')
    const { size } = fstatSync(handle)
    const tail = Buffer.alloc(Math.min(size, 2000))
    readSync(handle, tail, 0, tail.length, size - tail.length)
    closeSync(handle)
    const line = tail
      .toString('utf8')
      .split('\n')
      .findLast((each) => each.startsWith('{') && each.endsWith('}'))
    return line === undefined ? null : truthShape.parse(JSON.parse(line))
  } catch {
    return null
  }
}

const lines = (folder: string, name: string): string[] =>
  read(join(folder, name))
    .split('\n')
    .filter((line) => line !== '')

function read(path: string): string {
  try {
    return readFileSync(path, 'utf8')
  } catch {
    return ''
  }
}
