import { describe, expect, it } from 'vitest'
import type { InputLimit, MeterPlan, Plan, WatchPlan } from '../../src/plan/index.js'
import { judgeInput, judgeInputsFreshness, onlyInformative } from '../../src/sequencer/inputs.js'
import type { Draft, InputState, Off, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { proofOf } from '../helpers/proving.js'
import { smallPlan } from '../helpers/small-plan.js'

/* One watched input at one moment: what its limit guards, how often it must be read beyond it, and what its silence ends. */

const trip = (change: Partial<InputLimit> = {}): InputLimit => ({
  ...{ act: 'trip', when: 'above', at: 70, because: 'invented for this test.' },
  ...change,
})
interface Wanted extends Partial<Omit<MeterPlan, 'watch'>> {
  readonly watch?: Partial<WatchPlan>
}
const planWith = (meters: Readonly<Record<string, Wanted>>, change = (plan: Plan): Plan => plan): Plan =>
  smallPlan((plan) => {
    const like = plan.meters['grid meter']!
    const watch: WatchPlan = { uses: [], needed: true, stale_s: 1, limits: [], falls: null }
    const made = Object.entries(meters).map(([name, { watch: own, ...more }]): [string, MeterPlan] => [
      name,
      { ...like, name, port: name, at: null, ...more, watch: { ...watch, ...own } },
    ])
    return change({ ...plan, meters: { ...plan.meters, ...Object.fromEntries(made) } })
  })
const untouched: InputState = { beyond: 0, lost: false, fall: null }
const holds = 7
/** What stands: heaters alone, or HT with them. */
const up = (plan: Plan, ...names: readonly ('LT' | 'HT')[]): State['rails'] =>
  names.reduce<State['rails']>(
    (all, name) => ({ ...all, ...standing(plan, name, name === 'LT' ? 12 : 250, 0.05) }),
    {},
  )

interface At {
  readonly known?: Partial<InputState>
  readonly up?: readonly ('LT' | 'HT')[]
  readonly more?: Partial<State>
}
/** M was just read. */
function read(meter: Wanted, value: number, at: At = {}): Draft {
  const plan = planWith({ M: meter })
  const d = momentOf(plan, holds, {
    ...{ part: 'hold', rails: up(plan, ...(at.up ?? ['LT', 'HT'])), meters: { M: { value, t_us: now_us } } },
    inputs: { M: { ...untouched, ...at.known } },
    ...at.more,
  })
  judgeInput(d, 'M')
  return d
}
const volts = (...limits: readonly InputLimit[]): Wanted => ({ measures: 'V', watch: { limits } })
const warmth = (...limits: readonly InputLimit[]): Wanted => ({ measures: '°C', watch: { limits } })
const codes = (d: Draft): string[] => d.broken.map(({ code }) => code)

describe('a reading beyond its limit', () => {
  it('ends the run at once, with its figures; of a temperature with the second in a row', () => {
    expect(read(volts(trip()), 80).broken).toMatchObject([
      {
        ...{ code: 'watched-input', measured: 80, limit: 70, unit: 'V' },
        text: 'M reads 80 V, above 70 V: invented for this test.',
      },
    ])
    const first = read(warmth(trip()), 80)
    expect(first.broken).toEqual([])
    expect(first.s.inputs['M']?.beyond).toBe(1)
    expect(codes(read(warmth(trip()), 80, { known: { beyond: 1 } }))).toEqual(['watched-input'])
    // One within its limit between two beyond it, and it is counted anew.
    expect(read(warmth(trip()), 60, { known: { beyond: 1 } }).s.inputs['M']?.beyond).toBe(0)
    expect(read(warmth(trip()), 60).s.inputs['M']?.beyond).toBe(0)
  })

  it('is told, once, where the limit is to warn, and ends nothing', () => {
    const warned = read(volts(trip({ act: 'warn' })), 80)
    expect(warned.broken).toEqual([])
    expect(warned.s.warnings).toEqual(['M is above 70 V: invented for this test.'])
    expect(read(warmth(trip()), 80).s.warnings).toEqual([])
  })

  it('is told with its reason whole', () => {
    const because = 'R3 is rated 1.5 W.'
    expect(read(volts(trip({ act: 'warn', because })), 80).s.warnings).toEqual([
      'M is above 70 V: R3 is rated 1.5 W.',
    ])
  })

  it('counts while a run goes down by itself, and no more once everything was told OFF', () => {
    const going = (how: Off['how']): string[] =>
      codes(read(volts(trip()), 80, { more: { phase: 'making off', off: { how } as Off } }))
    expect(going('run down')).toEqual(['watched-input'])
    expect(going('urgent')).toEqual([])
  })
})

describe('what a limit guards', () => {
  const above = volts(trip())
  const below = volts(trip({ when: 'below' }))
  const cold = warmth(trip({ when: 'below' }))
  const lid: Wanted = { measures: 'contact', watch: { limits: [trip({ when: 'open', at: null })] } }

  it('is anything that is up, of too many volts and of any temperature: heaters alone too', () => {
    expect(codes(read(above, 80, { up: ['LT'] }))).toEqual(['watched-input'])
    expect(codes(read(cold, 5, { up: ['LT'], known: { beyond: 1 } }))).toEqual(['watched-input'])
    expect(codes(read(above, 80, { up: [] }))).toEqual([])
  })

  it('is HT, of too few volts: before HT is up they are no fault', () => {
    expect(codes(read(below, 5, { up: ['LT'] }))).toEqual([])
    expect(codes(read(below, 5, { up: ['LT', 'HT'] }))).toEqual(['watched-input'])
  })

  it('is what may not be touched, of a lid', () => {
    expect(codes(read(lid, 0, { up: ['LT'] }))).toEqual([])
    expect(codes(read(lid, 0, { up: ['LT', 'HT'] }))).toEqual(['watched-input'])
  })
})

/** M was last read so long ago; everything else does not matter here. */
function quiet(meter: Wanted, ago_s: number, at: At & { change?: (plan: Plan) => Plan } = {}): Draft {
  const plan = planWith({ M: meter }, at.change)
  const d = momentOf(plan, holds, {
    ...{ part: 'hold', step_us: now_us - 60e6, rails: up(plan, ...(at.up ?? ['LT', 'HT'])) },
    meters: { M: { value: 1, t_us: now_us - ago_s * 1e6 } },
    inputs: { M: { ...untouched, ...at.known } },
    ...at.more,
  })
  judgeInputsFreshness(d)
  return d
}

describe('an input that is not read any more', () => {
  it('ends the run where the plan counts on it: later than its own time, and while anything is up', () => {
    expect(quiet({}, 1).broken).toEqual([])
    expect(quiet({}, 1.1).broken).toMatchObject([{ code: 'stale', measured: 1.1, limit: 1, unit: 's' }])
    const before = quiet({}, 5, { up: [] })
    expect([before.broken, before.s.warnings, before.s.inputs['M']?.lost]).toEqual([[], [], false])
  })

  it('is told by what it trips, and where it trips nothing by what it is for', () => {
    const text = (...uses: readonly string[]): unknown => quiet({ watch: { uses } }, 2).broken[0]?.text
    expect(text('shown and recorded', 'trips above 70 V', 'trips below 5 V')).toBe(
      'The newest reading of M is 2.0 s old (limit 1.0 s), and the plan counts on it: it trips above 70 V; trips below 5 V.',
    )
    expect(text('proves the bias', 'shows the fall')).toContain(': it proves the bias; shows the fall.')
  })

  it('is lost where nothing counts on it, and that is said once', () => {
    const informs: Wanted = { watch: { needed: false, uses: ['the charge left at HT+'] } }
    const lost = quiet(informs, 2)
    expect([lost.broken, lost.s.inputs['M']?.lost]).toEqual([[], true])
    expect(lost.s.warnings).toHaveLength(1)
    expect(quiet(informs, 2, { known: { lost: true } }).s.warnings).toEqual([])
  })

  it('has its own rule only where it reads a rail that stands on a knob', () => {
    const reads = (kind: 'programmed' | 'watched') => (plan: Plan) => {
      const LT = { ...plan.rails['LT']!, class: kind, volts_meter: 'M' }
      return { ...plan, rails: { ...plan.rails, LT } }
    }
    expect(codes(quiet({}, 2, { change: reads('programmed') }))).toEqual(['stale'])
    expect(codes(quiet({}, 2, { change: reads('watched') }))).toEqual([])
  })
})

describe('the contact that tells of the cut-off relay', () => {
  const cutOff = (meter: string, proves: boolean) => (plan: Plan) => ({
    ...plan,
    cut_off: { meter, channels: ['ht.1'] },
    steps: plan.steps.map((step, at) =>
      at === holds && proves
        ? { ...step, do: 'prove' as const, rail: 'HT', proof: proofOf('cut-off relay') }
        : step,
    ),
  })

  it('is not missed while the relay is let open, though any other input is', () => {
    expect(codes(quiet({}, 5, { change: cutOff('M', true) }))).toEqual([])
    expect(codes(quiet({}, 5, { change: cutOff('M', false) }))).toEqual(['stale'])
    expect(codes(quiet({}, 5, { change: cutOff('another', true) }))).toEqual(['stale'])
  })

  it('is heard again in its own time after that step, which no other input is given', () => {
    const more = { step_us: now_us - 0.5e6 }
    expect(codes(quiet({}, 5, { change: cutOff('M', false), more }))).toEqual([])
    expect(codes(quiet({}, 5, { change: cutOff('another', false), more }))).toEqual(['stale'])
  })
})

describe('a port that is lost', () => {
  it('takes a run off where one of a rail’s channels is on it, though the rail’s others are not', () => {
    const stacked = (plan: Plan): Plan => {
      const HT = plan.rails['HT']!
      const half = { ...HT.channels[0]!, share: 0.5 }
      const channels = [half, { ...half, channel: 'top.1', port: 'top' }]
      return { ...plan, rails: { ...plan.rails, HT: { ...HT, channels } } }
    }
    const harmless = (port: string): boolean => {
      const plan = planWith({ M: { port, watch: { needed: false } } }, stacked)
      return onlyInformative(momentOf(plan, holds, { inputs: { M: untouched } }), port)
    }
    expect(['ht', 'top', 'its own'].map(harmless)).toEqual([false, false, true])
  })
})
