import { describe, expect, it } from 'vitest'
import { unattendedCautions } from '../../src/cautions/index.js'
import { lineConfigsOf, type LineInput, lineStep, lineWakeAt, openLine } from '../../src/line/index.js'
import { feeds, mayFeed } from '../../src/loop/cut-off.js'
import { begin } from '../../src/sequencer/index.js'
import { unattendedObjections } from '../../src/session/index.js'
import { fromText } from '../../src/files/index.js'
import { alone, cutOffForming, formed, formingPlanOf } from '../helpers/forming-set.js'

const bench = cutOffForming()
const unattended = true
const { plan } = formingPlanOf(alone, bench, { unattended })

describe('a cut-off relay in the bench file', () => {
  const read = (cut_off: string, more = '') =>
    fromText(
      `slowglow: bench 1
name: B
kind: real
supplies:
  high:
    line: { kind: tcp, host: h, port: 5025 }
    isolation: 600 V
    interface_isolated: yes
    channels:
      out: { feeds: HT, role: HT, max_volts: 450 V, max_amps: 300 mA, resolution_volts: 0.1 V, resolution_amps: 10 µA, accuracy_volts: { of_reading: 0.1 %, plus: 0.2 V }, accuracy_amps: { of_reading: 0.2 %, plus: 20 µA }, output_capacitance: 47 µF }
${more}cut_off: ${cut_off}
`,
      'bench.yaml',
      'bench',
    ).problems.map(({ what, remedy }) => `${what}: ${remedy}`)

  it('is an input that is needed, whose question feeds it four times in its period', () => {
    const relay = bench.meters['cut-off']
    expect(relay).toMatchObject({ measures: 'contact', required: true, feeds: true, every_s: 1 })
    expect(plan.cut_off).toEqual({ meter: 'cut-off', channels: ['high.out'] })
    expect(plan.meters['cut-off']?.watch).toMatchObject({ needed: true })
  })

  it.each([
    [
      '{ line: { kind: tcp, host: r, port: 1 }, feed: "FEED?", after: 4 s, cuts: [higher] }',
      /no supply 'higher'/,
    ],
    [
      '{ line: { kind: tcp, host: r, port: 1 }, feed: "FEED", after: 4 s, cuts: [high] }',
      /'FEED' is no question/,
    ],
    ['{ line: { kind: tcp, host: r, port: 1 }, feed: "FEED?", after: 200 ms, cuts: [high] }', /after|200 ms/],
    [
      '{ line: { kind: tcp, host: h, port: 5025 }, feed: "FEED?", after: 4 s, cuts: [high] }',
      /same line h:5025/,
    ],
  ])('is refused as %s', (text, wanted) => {
    expect(read(text).join('\n')).toMatch(wanted)
  })

  it('may not take bias together with HT', () => {
    const bias = `      grid: { number: 2, feeds: bias, role: bias, max_volts: 60 V, max_amps: 100 mA, resolution_volts: 0.1 V, resolution_amps: 10 µA, accuracy_volts: { of_reading: 0.1 %, plus: 0.2 V }, accuracy_amps: { of_reading: 0.2 %, plus: 20 µA }, output_capacitance: 47 µF }\n`
    const said = read(
      '{ line: { kind: tcp, host: r, port: 1 }, feed: "FEED?", after: 4 s, cuts: [high] }',
      bias,
    )
    expect(said.join('\n')).toMatch(/bias must outlast HT/)
  })
})

describe('the line of a cut-off relay', () => {
  const config = lineConfigsOf(bench).find(({ port }) => port === 'cut-off')
  if (config === undefined) throw new Error('it has no line')

  /** A line to a relay that answers at once, and how often its question was asked until a moment. */
  const played = (its = config) => {
    let line = openLine(its)
    let asked = 0
    const give = (input: LineInput): void => {
      const step = lineStep(line, input)
      line = step.state
      for (const output of step.outputs) {
        if (output.kind !== 'write' || !output.text.includes('?')) continue
        const feeds = output.text.includes('FEED?')
        if (feeds) asked++
        give({ kind: 'text', t_us: line.t_us + 1000, text: feeds ? '1' : 'a relay' })
      }
    }
    give({ kind: 'opened', t_us: 0 })
    return {
      feeds(s: number, on: boolean): void {
        give({ kind: 'feeds', t_us: s * 1e6, on })
      },
      /** Nobody looks at the line until then. */
      standsUntil(s: number): void {
        give({ kind: 'time', t_us: s * 1e6 })
      },
      asked(until_s: number): number {
        const before = asked
        for (;;) {
          const at = lineWakeAt(line)
          if (at === null || at > until_s * 1e6) return asked - before
          give({ kind: 'time', t_us: at })
        }
      },
    }
  }

  it('is asked no more once the loop lets it open, nor by whoever only switches off', () => {
    const line = played()
    expect(line.asked(10)).toBe(0)
    line.feeds(10, true)
    expect(line.asked(20)).toBeGreaterThan(5)
    line.feeds(20, false)
    expect(line.asked(40)).toBe(0)
    line.feeds(40, true)
    expect(line.asked(60)).toBeGreaterThan(10)
    expect(played({ ...config, only_off: true }).asked(20)).toBe(0)
  })

  it('is not asked again once it may have opened, for that would close it over what is on: the loop alone has it closed anew', () => {
    const late = played()
    late.feeds(10, true)
    expect(late.asked(20)).toBeGreaterThan(5)
    late.standsUntil(21.5)
    expect(late.asked(30)).toBeGreaterThan(5)
    late.standsUntil(34.5)
    expect(late.asked(60)).toBe(0)
    late.feeds(60, false)
    late.feeds(60, true)
    expect(late.asked(70)).toBeGreaterThan(5)
  })

  it('is left to open where an output is not measured to go off, and never closes again while a run goes off', () => {
    const state = begin(plan)
    const off = (confirmed: string | null) =>
      ({ since_us: 0, confirmed: { HT: confirmed } }) as unknown as NonNullable<typeof state.off>
    // Its own word is `off` in all of these: what was measured decides.
    const channel = state.channels['high.out']
    if (channel === undefined) throw new Error('no channel')
    const channels = { 'high.out': { ...channel, output: 'off' as const, V: { value: 300, t_us: 1e6 } } }
    const going = (confirmed: string | null, s: number) =>
      ({
        ...{ ...state, outputs_proved: true, phase: 'making off' as const },
        ...{ t_us: s * 1e6, off: off(confirmed), channels },
      }) as typeof state
    expect([going(null, 2), going(null, 6), going('measured', 600)].map(mayFeed)).toEqual([true, false, true])
    expect(feeds(going('measured', 600), false)).toBe(false)
    // Slept, it opened, though the clock of its line stood still.
    expect([feeds(going('measured', 2), true), feeds(going('measured', 2), true, true)]).toEqual([
      true,
      false,
    ])
    expect(mayFeed({ ...going(null, 2), outputs_proved: false })).toBe(false)
    expect(mayFeed({ ...state, phase: 'ended' })).toBe(false)
  })

  it('stays open until what lies behind it is off and was set to nothing, in a run that was begun', () => {
    const state = begin(plan)
    const channel = state.channels['high.out']
    if (channel === undefined) throw new Error('no channel')
    const known = (phase: 'waiting' | 'running', output: 'on' | 'off' | 'unknown', set_V: number | null) =>
      mayFeed({ ...state, phase, channels: { 'high.out': { ...channel, output, set_V } } })
    expect([
      known('waiting', 'off', 0),
      known('running', 'unknown', 0),
      known('running', 'on', 0),
      known('running', 'off', null),
      known('running', 'off', 0),
    ]).toEqual([false, false, false, false, true])
  })
})

describe('a reform that is left to a cut-off relay', () => {
  it('counts on it only once it was seen to open, and says so where it is confirmed', () => {
    expect(unattendedObjections(plan, bench, {})).toEqual([])
    expect(plan.unattended?.layers).toEqual([expect.objectContaining({ port: 'high', by: 'cut-off relay' })])
    expect(unattendedCautions(plan, [])).toMatch(
      /cut-off relay takes the HT of high 4 s after the loop that judges/,
    )
    expect(unattendedCautions(plan, [])).not.toContain('TIMER')
  })

  it('has it open with a few volts on, closes it again, and goes to its end', () => {
    const { run, events } = formed(alone, bench, { unattended })
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    const zero = events.findIndex(({ text }) => text === 'zero high.out')
    const asked = events.findIndex(({ what, text }) => what === 'prompt' && text.includes('volts across'))
    expect(zero).toBeGreaterThan(0)
    if (asked >= 0) expect(asked).toBeGreaterThan(zero)
    const opened = events.findIndex(({ text }) => text.includes('cut-off relay fired as it should'))
    expect(opened).toBeGreaterThan(0)
    expect(events.findIndex(({ text }) => text.includes('rung 1'))).toBeGreaterThan(opened)
  })

  it('whose contacts are welded begins nothing', () => {
    const { run, events } = formed(alone, bench, { unattended, faults: ['input.cut-off:closed'] })
    expect(run.ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(run.ending.reason).toMatchObject({ code: 'unproved' })
    expect(events.some(({ text }) => /^Raise HT from .* to (22|3)/.test(text))).toBe(false)
  })

  it('trips when it opens in the middle of the night', () => {
    const { run } = formed(alone, bench, { unattended, faults: ['input.cut-off:open@t>200s'] })
    expect(run.ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed' })
    expect(['off-set-point', 'error-integral', 'watched-input']).toContain(run.ending.reason?.code)
  })
})
