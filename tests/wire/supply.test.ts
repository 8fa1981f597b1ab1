import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { createServer } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { offText } from '../../src/bench/index.js'
import { lineConfigOf } from '../../src/line/index.js'
import { openPort, openSpare, type Connection, type PortLine, type Trouble } from '../../src/supply/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'
import { LiveLine } from '../helpers/live-line.js'
import { liveSupply, tcpFarEnd } from '../helpers/live-supply.js'
import { openPty, skipWithoutSocat } from '../helpers/pty.js'

const supply = supplyOf(fullDialect, { plate: channelOf(1), bias: channelOf(2) })
const config = lineConfigOf('BENCH', supply)

const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup()
})

interface FarEnd {
  readonly line: PortLine
  onData(heard: (text: string) => void): void
  write(text: string): void
  hangUp(): unknown
}
async function pty(): Promise<FarEnd> {
  const far = await openPty()
  cleanups.push(() => far.hangUp())
  return { ...far, line: { kind: 'serial', path: far.path, baud: 115_200, spare_allowed: true } }
}
async function tcp(): Promise<FarEnd> {
  const far = await tcpFarEnd()
  cleanups.push(() => far.close())
  return { ...far, line: { kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true } }
}
function live(line: PortLine, reply_us = config.reply_us): LiveLine {
  const one = new LiveLine({ ...config, reply_us }, line, { write_within_ms: 200 })
  cleanups.push(() => one.stop())
  return one
}
function serve(far: FarEnd): ReturnType<typeof liveSupply> {
  const one = liveSupply(supply, far)
  cleanups.push(() => {
    one.stop()
  })
  return one
}
const readings = (line: LiveLine): number => line.events.filter((event) => event.kind === 'reading').length

/** Opens and waits for how it ends. */
function attempt(line: PortLine, options = {}): Promise<'opened' | Trouble> {
  return new Promise((resolve) => {
    const connection: Connection = openPort(
      line,
      {
        opened: () => {
          resolve('opened')
        },
        text: () => undefined,
        discarded: () => undefined,
        closed: resolve,
      },
      options,
    )
    cleanups.push(() => connection.close())
  })
}

const ways = [
  { name: 'a real terminal line', make: pty, skip: skipWithoutSocat() },
  { name: 'a loopback network line', make: tcp, skip: false },
]
describe.each(ways)('over $name', ({ make, skip }) => {
  const each = it.skipIf(skip)

  each('a supply is identified, switched off, set, switched on, read and switched off again', async () => {
    const far = await make()
    const { faces, device } = serve(far)
    const line = live(far.line)
    await line.until(() => readings(line) > 4)
    line.request(1, 'BENCH.plate', 'limits', { limit_A: 0.05, over_voltage_V: 120 })
    line.request(2, 'BENCH.plate', 'set', { volts: 100 })
    line.request(3, 'BENCH.plate', 'on')
    await line.until(() => line.events.some((event) => event.kind === 'done' && event.id === 3))
    expect(faces['plate']).toMatchObject({ on: true, set_V: 100, limit_A: 0.05, over_V: 120 })
    line.urgentOff(['BENCH.plate'])
    await line.until(() => line.events.some((event) => event.kind === 'output' && !event.on))
    await line.until(() => faces['plate']?.on === false)
    expect(line.events.some((event) => event.kind === 'failed')).toBe(false)
    expect(device.abuses()).toEqual([])
  })

  each('a hang-up is noticed and told with what it means', async () => {
    const far = await make()
    serve(far)
    const line = live(far.line)
    await line.until(() => readings(line) > 4)
    far.hangUp()
    await line.until(() => line.troubles.length > 0)
    expect(line.troubles[0]?.kind).toBe('gone')
    expect(line.troubles[0]?.text).toContain('look at the supply')
  })

  each('a flood of garbage stays bounded, is counted, and never becomes a reading', async () => {
    const far = await make()
    const line = live(far.line)
    await line.until(() => line.state.link !== 'closed')
    const flood = 'x7.5'.repeat(50_000)
    far.write(flood)
    await line.until(() => line.state.kept.discarded_bytes > 100_000)
    expect(readings(line)).toBe(0)
  })

  each('a supply that never answers is a lost line, and says so', async () => {
    const far = await make()
    far.onData(() => undefined)
    const line = live(far.line, 50_000)
    await line.until(() => line.events.some((event) => event.kind === 'line lost'))
    expect(line.events.at(-1)).toHaveProperty('text', expect.stringContaining('BENCH'))
    expect(readings(line)).toBe(0)
  })

  each('a line beginning with the remnant of another still leads to the right identity', async () => {
    const far = await make()
    far.write('1.0')
    serve(far)
    const line = live(far.line)
    await line.until(() => readings(line) > 4)
    for (const event of line.events) if (event.kind === 'reading') expect(event.value.n).toBe(0)
  })

  each('the spare way carries an OFF while another holds the line', async () => {
    const far = await make()
    const { faces } = serve(far)
    const line = live(far.line)
    await line.until(() => readings(line) > 4)
    const spare = openSpare(far.line)
    cleanups.push(() => {
      spare.close()
    })
    await line.until(() => spare.state === 'ready')
    Object.assign(faces['plate'] ?? {}, { on: true })
    expect(spare.writeNow(`\n${offText(fullDialect, 1)}`)).toBe(true)
    await line.until(() => faces['plate']?.on === false)
  })
})

describe('opening a line', () => {
  it('says that a port is missing, and where', async () => {
    const trouble = await attempt({
      kind: 'serial',
      path: '/dev/no-such-port',
      baud: 9600,
      spare_allowed: true,
    })
    expect(trouble).toMatchObject({ kind: 'missing port' })
    expect(trouble).toHaveProperty('text', expect.stringContaining('/dev/no-such-port'))
  })

  it('says that a file is no serial port', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-'))
    cleanups.push(() => {
      rmSync(folder, { recursive: true })
    })
    const path = join(folder, 'file')
    writeFileSync(path, '')
    const line: PortLine = { kind: 'serial', path, baud: 9600, spare_allowed: true }
    expect(await attempt(line)).toMatchObject({ kind: 'not a terminal' })
    expect(openSpare(line).state).toMatchObject({ kind: 'not a terminal' })
  })

  it('says that nobody listens at a network port', async () => {
    const far = await tcpFarEnd()
    await far.close()
    const line: PortLine = { kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true }
    expect(await attempt(line)).toMatchObject({ kind: 'refused' })
  })

  it('opens a spare connection again that was held and is cut', async () => {
    const far = await tcpFarEnd()
    cleanups.push(() => far.close())
    const heard: string[] = []
    far.onData((text) => heard.push(text))
    const spare = openSpare({ kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true })
    cleanups.push(() => {
      spare.close()
    })
    await expect.poll(() => spare.state).toBe('ready')
    far.hangUp()
    await expect.poll(() => spare.state).toMatchObject({ kind: 'gone' })
    expect(spare.writeNow('OUTP 0\n')).toBe(false)
    await expect.poll(() => spare.state, { timeout: 10_000 }).toBe('ready')
    expect(spare.writeNow('OUTP 0\n')).toBe(true)
    await expect.poll(() => heard).toEqual(['OUTP 0\n'])
  })

  it('does not open one again that was refused at first: it would take the place of the line that asks and reads', async () => {
    const far = await tcpFarEnd()
    await far.close()
    const spare = openSpare({ kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true })
    cleanups.push(() => {
      spare.close()
    })
    await expect.poll(() => spare.state).toMatchObject({ kind: 'refused' })
    let came = 0
    const server = createServer(() => came++)
    await new Promise<void>((resolve) => server.listen(far.port, '127.0.0.1', resolve))
    cleanups.push(() => server.close())
    await new Promise((resolve) => setTimeout(resolve, 2500))
    expect(came).toBe(0)
  })

  it('holds no spare connection to a supply that takes only one', () => {
    const spare = openSpare({ kind: 'tcp', host: '127.0.0.1', port: 9, spare_allowed: false })
    expect(spare.state).toMatchObject({ kind: 'refused' })
    expect(spare.writeNow('x')).toBe(false)
  })

  const onPty = it.skipIf(skipWithoutSocat())
  onPty('says that another program holds the port, and opens it all the same without the lock', async () => {
    const far = await pty()
    expect(await attempt(far.line)).toBe('opened')
    expect(await attempt(far.line)).toMatchObject({ kind: 'busy' })
    expect(await attempt(far.line, { lock: false })).toBe('opened')
  })

  onPty('gives the port back, so that a fresh connection can have it', async () => {
    const far = await pty()
    for (let i = 0; i < 5; i++) {
      const opened = await new Promise<Connection | Trouble>((resolve) => {
        const connection: Connection = openPort(far.line, {
          opened: () => {
            resolve(connection)
          },
          text: () => undefined,
          discarded: () => undefined,
          closed: resolve,
        })
      })
      expect(opened).toHaveProperty('isOpen', true)
      if ('close' in opened) {
        await opened.close()
        expect(opened.write(':OUTP ON\n')).toBe(false)
      }
    }
  })

  onPty('gives up a line whose far end takes nothing, and says that the outputs are not known', async () => {
    const far = await openPty()
    cleanups.push(() => far.hangUp())
    far.child.kill('SIGSTOP')
    const trouble = await new Promise<Trouble>((resolve) => {
      const connection: Connection = openPort(
        { kind: 'serial', path: far.path, baud: 9600, spare_allowed: true },
        {
          opened: () => {
            connection.write('x'.repeat(300_000))
          },
          text: () => undefined,
          discarded: () => undefined,
          closed: resolve,
        },
        { write_within_ms: 200 },
      )
      cleanups.push(() => connection.close())
    })
    expect(trouble).toMatchObject({ kind: 'stuck' })
    expect(trouble.text).toContain('not known')
  })
})
