import { afterEach, describe, expect, it } from 'vitest'
import type { LineFault } from '../../src/exchange/index.js'
import { healthOf, lineConfigOf } from '../../src/line/index.js'
import type { LineFaults } from '../../src/virtual/supplies.js'
import type { OutputFace } from '../../src/virtual/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'
import { LiveLine } from '../helpers/live-line.js'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { liveSupply } from '../helpers/live-supply.js'
import { openPty, skipWithoutSocat } from '../helpers/pty.js'

/*
 * Every way in which a supply can answer wrongly, over a real pseudo-terminal, from the first wrong byte to the OFF. What a
 * whole run makes of each stands in tests/faults/bad-input.test.ts; the two that need the real framing or the real plug are run
 * whole here too.
 */

const supply = supplyOf(fullDialect, { plate: channelOf(1) })
const config = lineConfigOf('BENCH', supply)
const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup()
})

interface Case {
  readonly line?: LineFaults
  readonly face?: Partial<OutputFace>
  /** What is asked of the line then; without it the readings alone are wrong. */
  readonly set_V?: number
  readonly counted: LineFault
  /** What it says, and what to do. */
  readonly says: RegExp
  /** Whether the answers to OFF can be believed. */
  readonly confirmed: boolean
}

const cases: Readonly<Record<string, Case>> = {
  'a line that never ends': {
    line: { endless: true },
    counted: 'overlong_line',
    says: /a line longer than 256 characters.*Nothing on this line comes to an end: compare its speed/,
    confirmed: false,
  },
  'binary noise': {
    line: { noise: true },
    counted: 'line_noise',
    says: /line noise.*No instrument sends such bytes: compare its speed, parity and stop bits/,
    confirmed: false,
  },
  'an echo': {
    line: { echo: true },
    counted: 'echo',
    says: /only an echo came.*switch the echo off at the instrument or at its adapter/,
    // The answer comes behind it.
    confirmed: true,
  },
  'replies late by one': {
    line: { behind: true },
    counted: 'stale_reply',
    says: /a reply to a question of before.*give it more in the bench file/,
    confirmed: false,
  },
  'replies from another instrument': {
    line: { wrong_identity: true },
    set_V: 60,
    counted: 'identity_changed',
    says: /another supply answers.*Look where the plug of this line sits/,
    confirmed: false,
  },
  'a number out of any plausible range': {
    face: { reads: { V: 9000 } },
    counted: 'out_of_range',
    says: /a number out of range \("9000\.00"\).*its read-back is broken, or max_V and max_A/,
    confirmed: true,
  },
  'an OFF that is refused, as every setting is': {
    line: { local: true },
    set_V: 60,
    counted: 'read_back_differs',
    says: /the supply says -201 "Invalid while in local": somebody has its panel/,
    confirmed: false,
  },
  'a set-point that reads back differently': {
    face: { mis_sets: 1.05 },
    set_V: 60,
    counted: 'read_back_differs',
    says: /its set-point reads back as 63 V, after sending 60 V\. It does not hold what it is told/,
    confirmed: true,
  },
}

describe.skipIf(skipWithoutSocat())('bad input over a real terminal line', () => {
  it.each(Object.entries(cases))('%s', async (_what, { line, face, set_V, counted, says, confirmed }) => {
    const far = await openPty()
    cleanups.push(() => far.hangUp())
    const bench = liveSupply(supply, far)
    cleanups.push(() => {
      bench.stop()
    })
    const live = new LiveLine(config, { kind: 'serial', path: far.path, baud: 115_200, spare_allowed: true })
    cleanups.push(() => live.stop())
    const done = (id: number): boolean =>
      live.events.some((event) => event.kind === 'done' && event.id === id)
    live.request(1, 'BENCH.plate', 'limits', { limit_A: 0.05, over_voltage_V: 120 })
    live.request(2, 'BENCH.plate', 'set', { volts: 50 })
    live.request(3, 'BENCH.plate', 'on')
    await live.until(() => done(3))
    const from = live.events.length
    const later = (): typeof live.events => live.events.slice(from)
    const told = (): string =>
      later()
        .map((event) => ('text' in event ? event.text : ''))
        .join('\n')

    bench.device.faults(line ?? {})
    Object.assign(bench.faces['plate'] ?? {}, face ?? {})
    if (line?.wrong_identity === true) {
      // Moved from one instrument to the other: the OFF is the first that asks who is there.
      live.urgentOff(['BENCH.plate'])
    } else if (set_V !== undefined) live.request(4, 'BENCH.plate', 'set', { volts: set_V })
    await live.until(() => says.test(told()))
    expect(healthOf(live.state).faults[counted]).toBeGreaterThan(0)
    expect(done(4)).toBe(false)
    for (const event of later()) {
      if (event.kind === 'reading' && event.quantity === 'V') expect(event.value.n).toBe(5000)
    }

    const before = live.events.length
    live.urgentOff(['BENCH.plate'])
    const off = (): boolean => live.events.slice(before).some((event) => event.kind === 'output' && !event.on)
    if (line?.local !== true) await live.until(() => bench.faces['plate']?.on === false)
    if (confirmed) await live.until(off)
    else {
      // Told again and again, and never believed.
      await new Promise((resolve) => setTimeout(resolve, 1500))
      expect(off()).toBe(false)
    }
  })

  it('an OFF that is ignored: its code and its sentence, told again and again, and believed only once it is obeyed', async () => {
    const far = await openPty()
    cleanups.push(() => far.hangUp())
    const seen = { deaf: false, offs: 0 }
    const bench = liveSupply(supply, {
      write: (text) => {
        far.write(text)
      },
      // Neither obeyed nor complained about, as a supply does that knows no such word for once.
      onData: (heard) => {
        let rest = ''
        far.onData((text) => {
          rest += text
          const end = rest.lastIndexOf('\n') + 1
          const whole = rest.slice(0, end)
          rest = rest.slice(end)
          seen.offs += whole.split(':OUTP OFF').length - 1
          heard(seen.deaf ? whole.replaceAll(/;?:OUTP OFF/g, '') : whole)
        })
      },
    })
    cleanups.push(() => {
      bench.stop()
    })
    const live = new LiveLine(config, { kind: 'serial', path: far.path, baud: 115_200, spare_allowed: true })
    cleanups.push(() => live.stop())
    const done = (id: number): boolean =>
      live.events.some((event) => event.kind === 'done' && event.id === id)
    live.request(1, 'BENCH.plate', 'limits', { limit_A: 0.05, over_voltage_V: 120 })
    live.request(2, 'BENCH.plate', 'set', { volts: 50 })
    live.request(3, 'BENCH.plate', 'on')
    await live.until(() => done(3))

    seen.deaf = true
    live.request(4, 'BENCH.plate', 'off')
    await live.until(() => live.events.some((event) => event.kind === 'failed'))
    expect(live.events.find((event) => event.kind === 'failed')).toMatchObject({
      id: 4,
      code: 'read-back differs',
      text: expect.stringMatching(/its output reads back as on/) as string,
    })
    expect(healthOf(live.state).faults.read_back_differs).toBeGreaterThan(0)

    const before = { offs: seen.offs, events: live.events.length }
    const off = (): boolean =>
      live.events.slice(before.events).some((event) => event.kind === 'output' && !event.on)
    live.urgentOff(['BENCH.plate'])
    await live.until(() => seen.offs >= before.offs + 4)
    expect([off(), bench.faces['plate']?.on]).toEqual([false, true])
    seen.deaf = false
    await live.until(off)
    expect(bench.faces['plate']?.on).toBe(false)
  })

  it('an OFF that is ignored in a whole run: found below 5 V, with its code, its sentence and the alarm', async () => {
    const run = new LiveRun([shortProfile, '--speed', '20', '--fault', 'high.out:ignores-off'])
    cleanups.push(() => run.end())
    await run.acknowledge()
    expect(await run.exit(55_000)).toBe(4)
    const { ending, events } = run.record()
    expect(ending).toMatchObject({ outcome: 'tripped', outputs_off: 'not confirmed' })
    expect(ending?.reason).toMatchObject({
      code: 'hook-up',
      rail: 'HT',
      text: expect.stringMatching(/did not fall after OFF.*does not obey OFF/) as string,
    })
    expect(run.session.seen).toContain('OUTPUTS NOT CONFIRMED OFF')
    expect(events.filter(({ what }) => what === 'alarm').length).toBeGreaterThan(0)
  })

  it.each([
    ['line.high:endless', /a line longer than 256 characters/, /compare its speed and its reply_terminator/],
    ['line.high:another', /another supply answers: "VIRTUAL BENCH,ANOTHER SUPPLY,0,1.0"/, /at its mains/],
  ])('%s in a whole run: the alarm, 4, and the bias stays', async (fault, says, todo) => {
    const run = new LiveRun([shortProfile, '--speed', '20', '--fault', `${fault}@HT>30V`])
    cleanups.push(() => run.end())
    await run.acknowledge()
    expect(await run.exit(55_000)).toBe(4)
    const { ending, events } = run.record()
    const told = [ending?.reason?.text ?? '', ...(ending?.warnings ?? [])].join('\n')
    expect(told).toMatch(says)
    expect(told).toMatch(todo)
    expect(ending?.outputs_off).toBe('not confirmed')
    expect(ending?.details['bias_released_by']).toBeNull()
    expect(run.session.seen).toContain('OUTPUTS NOT CONFIRMED OFF')
    expect(events.some(({ what }) => what === 'alarm')).toBe(true)
  })
})
