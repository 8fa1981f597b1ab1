import { execFileSync } from 'node:child_process'
import { closeSync, constants, mkdtempSync, openSync, rmSync, writeSync } from 'node:fs'
import { open } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { SerialPort } from 'serialport'
import { afterEach, describe, expect, it } from 'vitest'
import { lineConfigOf } from '../../src/line/index.js'
import { openPort, type Connection, type PortLine, type Trouble } from '../../src/supply/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'
import { LiveLine } from '../helpers/live-line.js'
import { liveSupply, tcpFarEnd } from '../helpers/live-supply.js'
import { openPty, type Pty, skipWithoutSocat } from '../helpers/pty.js'

/**
 * What goes wrong between a program and its port (found by trying; numbered as in the notes the protocol was written from):
 * each trap is sprung with the library alone, then the adapter is shown to walk past it. F3 alone cannot be sprung at will (in 15 of
 * 15 tries the library noticed): there only our own two ways past it are shown, here and in terminal-gone.test.ts.
 */

const supply = supplyOf(fullDialect, { plate: channelOf(1) })
const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup()
})
const soon = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms))
async function until(holds: () => boolean): Promise<void> {
  while (!holds()) await soon(5)
}

async function pty(): Promise<Pty & { heard: () => string }> {
  const far = await openPty()
  cleanups.push(() => far.hangUp())
  let all = ''
  far.onData((text) => (all += text))
  return { ...far, heard: () => all }
}
const serial = (path: string): PortLine => ({ kind: 'serial', path, baud: 115_200, spare_allowed: true })

/** Every thread of the pool waits to open a pipe that nobody writes to, until released. */
function holdThreads(): () => Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-'))
  const pipe = join(folder, 'pipe')
  execFileSync('mkfifo', [pipe])
  const held = Array.from({ length: 32 }, () => open(pipe, 'r'))
  return async () => {
    const writer = openSync(pipe, constants.O_RDWR)
    for (const one of await Promise.all(held)) await one.close()
    closeSync(writer)
    rmSync(folder, { recursive: true })
  }
}

interface Seen {
  readonly connection: Connection
  readonly lines: string[]
  readonly troubles: Trouble[]
}
/** A connection of ours, open. */
async function ours(line: PortLine): Promise<Seen> {
  const lines: string[] = []
  const troubles: Trouble[] = []
  const connection = await new Promise<Connection>((resolve, reject) => {
    const made: Connection = openPort(
      line,
      {
        opened: () => resolve(made),
        text: (text) => lines.push(text),
        discarded: () => undefined,
        closed: (trouble) => {
          troubles.push(trouble)
          reject(new Error(trouble.text))
        },
      },
      { write_within_ms: 200 },
    )
  })
  cleanups.push(() => connection.close())
  return { connection, lines, troubles }
}
/** The library's own port, open, with what it says. */
async function bare(path: string, reading = true): Promise<{ port: SerialPort; said: string[] }> {
  const port = new SerialPort({ path, baudRate: 115_200, autoOpen: false })
  const said: string[] = []
  port.on('error', () => said.push('error'))
  port.on('close', () => said.push('close'))
  if (reading) port.on('data', () => undefined)
  await new Promise<void>((resolve, reject) => {
    port.open((error) => (error ? reject(error) : resolve()))
  })
  cleanups.push(() => {
    if (port.isOpen) port.close()
  })
  return { port, said }
}
const reopened = (port: SerialPort): Promise<string> =>
  new Promise((resolve) => {
    port.open((error) => resolve(error?.message ?? 'open'))
  })
const closing = (port: SerialPort): Promise<void> =>
  new Promise((resolve) => {
    port.close(() => resolve())
  })

describe.skipIf(skipWithoutSocat())('on a terminal line', () => {
  it('F1: what is written to a closed port is sent at its next opening; ours drops it and says so', async () => {
    const far = await pty()
    const { port } = await bare(far.path)
    await closing(port)
    port.write(':OUTP ON\n')
    await reopened(port)
    await until(() => far.heard().includes(':OUTP ON'))
    await closing(port)

    const first = await ours(serial(far.path))
    await first.connection.close()
    expect(first.connection.write(':VOLT 300\n')).toBe(false)
    expect(first.connection.write(':VOLT 300\n', true)).toBe(false)
    const second = await ours(serial(far.path))
    second.connection.write('*IDN?\n')
    await until(() => far.heard().endsWith('*IDN?\n'))
    expect(far.heard()).not.toContain(':VOLT 300')
  })

  it('F2: nobody reads, nobody hears of a hang-up; ours always reads', async () => {
    const far = await pty()
    const { port, said } = await bare(far.path, false)
    await far.hangUp()
    await soon(200)
    expect(port.isOpen).toBe(true)
    expect(said).toEqual([])

    const again = await pty()
    const { connection, troubles } = await ours(serial(again.path))
    await again.hangUp()
    await until(() => troubles.length > 0)
    expect(connection.isOpen).toBe(false)
  })

  it('F3: a hung-up port may be read for ever without a word; the line itself has a deadline, gives the port up and is called lost', async () => {
    const far = await pty()
    const device = liveSupply(supply, far)
    cleanups.push(() => device.stop())
    const line = new LiveLine({ ...lineConfigOf('BENCH', supply), reply_us: 50_000 }, serial(far.path))
    cleanups.push(() => line.stop())
    await line.until(() => line.events.filter(({ kind }) => kind === 'reading').length > 4)
    await far.hangUp()
    await line.until(() => line.events.some(({ kind }) => kind === 'line lost'))
  })

  it('F4: a failed write closes twice; ours tells of one end', async () => {
    const far = await pty()
    const { port, said } = await bare(far.path, false)
    await far.hangUp()
    port.write('x')
    await until(() => said.filter((word) => word === 'close').length > 1)
    expect(said[0]).toBe('error')

    const again = await pty()
    const { connection, troubles } = await ours(serial(again.path))
    await again.hangUp()
    connection.write('x')
    connection.write('x', true)
    await until(() => troubles.length > 0)
    await soon(50)
    expect(troubles).toHaveLength(1)
  })

  it('F5: closing with a write pending is an error, deadly where nobody listens; ours listens to the end', async () => {
    const far = await pty()
    far.child.kill('SIGSTOP')
    const { port, said } = await bare(far.path)
    port.write('x'.repeat(300_000))
    await soon(20)
    await closing(port)
    expect(said).toContain('error')

    const { connection, troubles } = await ours(serial(far.path))
    connection.write('x'.repeat(300_000))
    await soon(20)
    await connection.close()
    expect(troubles).toEqual([])
  })

  it('F6: an OFF behind a stuck write waits for ever; ours is said to be stuck', async () => {
    const far = await pty()
    far.child.kill('SIGSTOP')
    const { port } = await bare(far.path)
    let taken = 0
    port.write('x'.repeat(200_000), () => taken++)
    port.write('\n:OUTP OFF\n', () => taken++)
    await soon(200)
    expect(taken).toBe(0)
    await closing(port)

    const { connection, troubles } = await ours(serial(far.path))
    connection.write('x'.repeat(200_000))
    connection.write('\n:OUTP OFF\n', true)
    await until(() => troubles.length > 0)
    expect(troubles[0]).toMatchObject({ kind: 'stuck' })
    expect(troubles[0]?.text).toContain('not known')
  })

  it('F6: an OFF goes past what the program itself has queued, and is said again behind it', async () => {
    const far = await pty()
    const { connection } = await ours(serial(far.path))
    const release = holdThreads()
    try {
      // The system takes what fits at once; the rest waits for a thread, and the line has room again meanwhile.
      connection.write('x'.repeat(200_000))
      await until(() => far.heard().length > 0)
      connection.write('\n:OUTP OFF\n', true)
      await until(() => far.heard().endsWith('\n:OUTP OFF\n'))
      expect(far.heard().length).toBeLessThan(200_000)
    } finally {
      await release()
    }
  })

  it('F7: destroy() keeps the lock for ever; ours closes, and the port can be had again at once', async () => {
    const far = await pty()
    const { port } = await bare(far.path)
    port.destroy()
    await soon(50)
    expect(await reopened(new SerialPort({ path: far.path, baudRate: 9600, autoOpen: false }))).toMatch(
      /lock/,
    )

    const again = await pty()
    const { connection } = await ours(serial(again.path))
    connection.write('x'.repeat(10_000))
    await connection.close()
    expect((await ours(serial(again.path))).connection.isOpen).toBe(true)
  })

  it('F8: the lock keeps out only those who ask for it: another program writes all the same, and so does our last OFF', async () => {
    const far = await pty()
    await ours(serial(far.path))
    await expect(ours(serial(far.path))).rejects.toThrow(/busy/)
    const fd = openSync(far.path, constants.O_RDWR | constants.O_NOCTTY)
    writeSync(fd, ':OUTP OFF\n')
    closeSync(fd)
    await until(() => far.heard().includes(':OUTP OFF'))
  })

  it('F9: jobs that do not end hold every read and write of the library; ours pass them, each in its order', async () => {
    const plain = await pty()
    const { port } = await bare(plain.path)
    let came = ''
    let heldBack: readonly string[] = []
    port.on('data', (bytes: Buffer) => (came += bytes.toString('latin1')))
    const far = await pty()
    const { connection, lines } = await ours(serial(far.path))
    const release = holdThreads()
    try {
      port.write('MEAS:CURR?\n')
      plain.write('0.3\n')
      connection.write('MEAS:CURR?\n')
      far.write('0.3\n')
      await until(() => lines.length > 0)
      connection.write('\n:OUTP OFF\n', true)
      await until(() => far.heard().includes(':OUTP OFF'))
      heldBack = [came, plain.heard()]
    } finally {
      await release()
    }
    expect(lines).toEqual(['0.3'])
    expect(far.heard()).toBe('MEAS:CURR?\n\n:OUTP OFF\n')
    // The library's own had not moved in all that time, and do once the threads are free.
    expect(heldBack).toEqual(['', ''])
    await until(() => came === '0.3\n' && plain.heard() === 'MEAS:CURR?\n')
  })

  it('F14: lines that come in one piece are lines, and a line that comes in pieces is one', async () => {
    const plain = await pty()
    const { port } = await bare(plain.path)
    const pieces: string[] = []
    port.on('data', (bytes: Buffer) => pieces.push(bytes.toString('latin1')))
    plain.write(Array.from({ length: 20 }, (_, at) => `${at}.5\n`).join(''))
    await until(() => pieces.join('').endsWith('19.5\n'))
    // A piece is no line.
    expect(pieces.length).toBeLessThan(20)

    const far = await pty()
    const { lines } = await ours(serial(far.path))
    const many = Array.from({ length: 20 }, (_, at) => `${at}.5`)
    far.write(many.map((text) => `${text}\n`).join(''))
    await until(() => lines.length >= 20)
    for (const piece of ['1', '2.', '25\r', '\n']) {
      far.write(piece)
      await soon(10)
    }
    await until(() => lines.length >= 21)
    expect(lines).toEqual([...many, '12.25'])
  })
})

describe('on a network line', () => {
  async function tcp(): Promise<
    Awaited<ReturnType<typeof tcpFarEnd>> & { line: PortLine; heard: () => string }
  > {
    const far = await tcpFarEnd()
    cleanups.push(() => far.close())
    let all = ''
    far.onData((text) => (all += text))
    const line: PortLine = { kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true }
    return { ...far, line, heard: () => all }
  }

  it('F1: what is written to a connection that is over is not sent on the next', async () => {
    const far = await tcp()
    const first = await ours(far.line)
    await first.connection.close()
    expect(first.connection.write(':OUTP ON\n')).toBe(false)
    const second = await ours(far.line)
    second.connection.write('*IDN?\n')
    await until(() => far.heard() !== '')
    expect(far.heard()).toBe('*IDN?\n')
  })

  it('F2, F4: the end of a connection is noticed by itself, and told once though writes fail as well', async () => {
    const far = await tcp()
    const { connection, troubles } = await ours(far.line)
    connection.write('*IDN?\n')
    await until(() => far.heard() !== '')
    far.hangUp()
    connection.write('x')
    await until(() => troubles.length > 0)
    connection.write('x')
    await soon(50)
    expect(troubles).toHaveLength(1)
    expect(connection.isOpen).toBe(false)
  })

  it('F6: a supply that takes no more is said to be stuck', async () => {
    const far = await tcp()
    const { connection, troubles } = await ours(far.line)
    connection.write('*IDN?\n')
    await until(() => far.heard() !== '')
    far.pause()
    connection.write('x'.repeat(30_000_000))
    connection.write('\n:OUTP OFF\n', true)
    await until(() => troubles.length > 0)
    expect(troubles[0]).toMatchObject({ kind: 'stuck' })
  })

  it('F14: lines that come in one piece are lines, and a line that comes in pieces is one', async () => {
    const far = await tcp()
    const { lines, connection } = await ours(far.line)
    connection.write('*IDN?\n')
    await until(() => far.heard() !== '')
    far.write('1\n2\n3\n4')
    await soon(10)
    far.write('.5\r\n')
    await until(() => lines.length >= 4)
    expect(lines).toEqual(['1', '2', '3', '4.5'])
  })
})
