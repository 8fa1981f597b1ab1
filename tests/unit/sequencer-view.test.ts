import { describe, expect, it } from 'vitest'
import type { HeaterWatch, MeterPlan, Plan, Step } from '../../src/plan/index.js'
import { view } from '../../src/sequencer/index.js'
import type { State } from '../../src/sequencer/index.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* What whoever watches is shown: where the run is, what it waits for, how long it will take, and what each rail and input is at. */

const [heaters, at100, at250, holds, past] = [3, 5, 6, 7, 8]
const plan = smallPlan()
const shown = (at: number, more: Partial<State> = {}, of: Plan = plan) => view(momentOf(of, at, more).s)
const railShown = (name: string, at: number, more: Partial<State> = {}, of: Plan = plan) =>
  shown(at, more, of).rails.find(({ rail }) => rail === name)
const ago = (seconds: number): number => now_us - seconds * 1e6

describe('where a run is', () => {
  it('is said by the number, the name and the rail of its step, of so many', () => {
    const done = [0, 1, 2, 3, 4, 5]
    expect(shown(at250, { done })).toMatchObject({
      ...{ step: 7, steps_done: 6, steps: 8, stage: 'HT 250 V', rail: 'HT' },
    })
    expect(shown(holds).rail).toBeNull()
  })

  it('is its last number, running down, once no step is left', () => {
    expect(shown(past)).toMatchObject({ step: 8, stage: 'running down', rail: null, left_s: 0 })
  })

  it('is told by the rail of its hook-up check where the step itself names none', () => {
    const unnamed = smallPlan(steps((step) => (step.hookup === null ? step : { ...step, rail: null })))
    expect(shown(1, {}, unnamed).rail).toBe('BIAS')
  })

  it('counts no step that nothing in this run called for', () => {
    const one = { over_rating: 'V1', rated_V: 1 }
    const called = smallPlan(steps((step) => (step.do === 'hold' ? { ...step, only_if: one } : step)))
    expect(shown(at250, { part_us: now_us }, called)).toMatchObject({ steps: 7, left_s: 10 })
    expect(shown(at250, { part_us: now_us, over_rating: { V1: 1.1 } }, called)).toMatchObject({
      ...{ steps: 8, left_s: 20 },
    })
  })
})

describe('the time that is left', () => {
  it('is what is left of this step and all of those after it, none of those before', () => {
    expect(shown(at250, { part_us: ago(3) }).left_s).toBeCloseTo(10 + 7, 6)
    expect(shown(holds, { part_us: ago(3) }).left_s).toBeCloseTo(7, 6)
  })

  it('is that of the steps after it where this one takes longer than it was thought to', () => {
    expect(shown(at250, { part_us: ago(25) }).left_s).toBe(10)
  })

  it('is none once the run goes off: no further step comes', () => {
    expect(shown(at250, { part_us: ago(3), phase: 'making off' }).left_s).toBe(0)
    expect(shown(at250, { part_us: ago(3), phase: 'waiting' }).left_s).toBe(0)
  })
})

const meter = (name: string, over: Partial<MeterPlan>): MeterPlan => ({
  ...plan.meters['grid meter']!,
  name,
  port: name,
  ...over,
})
const open = { when: 'open', at: null, act: 'trip', because: 'hands are kept out by it' } as const
const watch = (needed: boolean) => ({ uses: [], needed, stale_s: 4, limits: [open], falls: null })
const withMeters = (...all: readonly MeterPlan[]): Plan =>
  smallPlan((small) => ({
    ...small,
    meters: { ...small.meters, ...Object.fromEntries(all.map((one) => [one.name, one])) },
  }))
const lid = (needed = true) => withMeters(meter('lid', { measures: 'contact', watch: watch(needed) }))

describe('what a run waits for', () => {
  const warming = (since_s: number | null): Partial<State> => ({
    rails: standing(plan, 'LT', 12, 4, { good_since_us: since_s === null ? null : ago(since_s) }),
  })

  it('is its outputs, read back as off, while it goes off, whatever question stood open', () => {
    expect(shown(at250, { phase: 'making off' }).waiting_for).toBe('outputs off, confirmed')
  })

  it('is the answer of a person while a question stands open', () => {
    const { s } = momentOf(plan, at250)
    const prompt: State['prompt'] = {
      ...{ id: 1, purpose: { kind: 'step' }, low: null, high: null, unit: '', text: 'Set it.' },
      ...{ opened_us: now_us, until_us: now_us, tries: 0 },
      ask: { text: 'Set it.', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: 'mode' },
    }
    expect(view({ ...s, prompt }).waiting_for).toBe('your answer')
  })

  it('is heaters, with the whole seconds that they still need, counted from when they came into their band', () => {
    expect(shown(at100, warming(10)).waiting_for).toBe('heaters to warm (20 s)')
    expect(shown(at100, warming(10.4)).waiting_for).toBe('heaters to warm (20 s)')
    expect(shown(at100, warming(null)).waiting_for).toBe('heaters to warm (30 s)')
    expect(shown(at100).waiting_for).toBe('heaters to warm (30 s)')
  })

  it('is the slowest of several chains', () => {
    const slow: HeaterWatch = { ...plan.heaters[0]!, chain: 'H2', warm_up_s: 60 }
    for (const chains of [
      [...plan.heaters, slow],
      [slow, ...plan.heaters],
    ])
      expect(shown(at100, warming(10), { ...plan, heaters: chains }).waiting_for).toBe(
        'heaters to warm (50 s)',
      )
  })

  it('is no heaters once they are warm, where the step needs none, or past its gate', () => {
    expect(shown(at100, warming(30)).waiting_for).toBe('interlocks')
    expect(shown(at100, warming(31)).waiting_for).toBe('interlocks')
    expect(shown(heaters, warming(10)).waiting_for).toBe('interlocks')
    expect(shown(at100, { ...warming(10), part: 'ramp' }).waiting_for).toBe('the ramp')
  })

  it('is an input that stands against the rise, or was not read yet, before the heaters', () => {
    const read = { meters: { lid: { value: 0, t_us: now_us } } }
    expect(shown(at100, { ...warming(10), ...read }, lid()).waiting_for).toBe('lid (open)')
    expect(shown(at100, { ...read, part: 'ramp' }, lid()).waiting_for).toBe('lid (open)')
    const never = { meters: { lid: null } }
    expect(shown(at100, { ...warming(10), ...never }, lid()).waiting_for).toBe('lid to be read')
    const closed = { meters: { lid: { value: 1, t_us: now_us } } }
    expect(shown(at100, { ...warming(10), ...closed }, lid()).waiting_for).toBe('heaters to warm (20 s)')
  })

  it('is no input where nothing rises, where it has risen, or where the plan does not count on it', () => {
    const read = { meters: { lid: { value: 0, t_us: now_us } } }
    expect(shown(holds, read, lid()).waiting_for).toBe('interlocks')
    expect(shown(at250, { ...read, part: 'hold' }, lid()).waiting_for).toBe('the hold')
    expect(shown(at250, { ...read, part: 'ramp' }, lid(false)).waiting_for).toBe('the ramp')
  })
})

describe('a rail', () => {
  it('is shown with what it was set to, what was read last of it and how old the older of both is', () => {
    const rails = standing(plan, 'HT', 250, 0.05, { V: { value: 249.9, t_us: ago(0.4) } })
    expect(railShown('HT', holds, { rails })).toMatchObject({
      ...{ class: 'programmed', set_V: 250, volts: 249.9, amps: 0.05 },
    })
    expect(railShown('HT', holds, { rails })?.age_s).toBeCloseTo(0.4, 6)
    const late = standing(plan, 'HT', 250, 0.05, { A: { value: 0.05, t_us: ago(0.7) } })
    expect(railShown('HT', holds, { rails: late })?.age_s).toBeCloseTo(0.7, 6)
  })

  it('of which nothing was read shows no figure, and no age', () => {
    expect(railShown('HT', holds)).toMatchObject({ set_V: 0, volts: null, amps: null, age_s: null })
  })

  it('is off only where every output of it says so, on where one says that, and else unknown', () => {
    const { channels } = momentOf(plan, holds).s
    const [one] = plan.rails['HT']!.channels
    const two: Plan = {
      ...plan,
      rails: { ...plan.rails, HT: { ...plan.rails['HT']!, channels: [one!, { ...one!, channel: 'ht.2' }] } },
    }
    const says = (first: 'off' | 'on' | 'unknown', second: 'off' | 'on' | 'unknown') => {
      const known = channels['ht.1']!
      const more = {
        ...channels,
        ...{ 'ht.1': { ...known, output: first }, 'ht.2': { ...known, output: second } },
      }
      return railShown('HT', holds, { channels: more }, two)?.output
    }
    expect(says('off', 'off')).toBe('off')
    expect(says('off', 'on')).toBe('on')
    expect(says('on', 'unknown')).toBe('on')
    expect(says('off', 'unknown')).toBe('unknown')
    expect(says('unknown', 'unknown')).toBe('unknown')
  })

  it('shows the limits that hold while it runs, and none before and after', () => {
    const rails = standing(plan, 'HT', 250, 0.05)
    expect(railShown('HT', holds, { rails })?.limits).toBe(plan.steps[holds]?.limits['HT'])
    expect(railShown('HT', holds, { rails, phase: 'making off' })?.limits).toBeNull()
    expect(railShown('HT', past, { rails })?.limits).toBeNull()
  })

  it('that charges is shown with what is allowed on top; one that stands is not', () => {
    const rails = standing(plan, 'HT', 100, 0.02)
    const [rising, held] = [{ rails, part: 'ramp' } as const, { rails, part: 'hold' } as const]
    expect(railShown('HT', at250, rising)?.charging_A).toBe(0.001)
    expect(railShown('HT', at250, held)).not.toHaveProperty('charging_A')
    expect(railShown('LT', at250, { ...rising, rails: standing(plan, 'LT', 12, 4) })).not.toHaveProperty(
      'charging_A',
    )
    expect(railShown('HT', at250, { ...rising, phase: 'making off' })).not.toHaveProperty('charging_A')
  })

  it('of heaters that may still be in their current limit says so, for as long as that', () => {
    const rails = standing(plan, 'LT', 12, 4)
    const cold = { rails, step_us: ago(19), part: 'ramp' } as const
    expect(railShown('LT', heaters, cold)?.soft_start).toBe(true)
    expect(railShown('LT', heaters, { ...cold, step_us: ago(21) })).not.toHaveProperty('soft_start')
    expect(railShown('LT', heaters, { ...cold, part: 'hold' })).not.toHaveProperty('soft_start')
    expect(railShown('HT', heaters, cold)).not.toHaveProperty('soft_start')
    expect(railShown('LT', heaters, { ...cold, phase: 'making off' })).not.toHaveProperty('soft_start')
  })

  it('says which tube is over its rating now', () => {
    const rated = (step: Step): Step => ({
      ...step,
      limits: Object.fromEntries(
        Object.entries(step.limits).map(([name, limits]) => [
          name,
          name === 'HT' ? { ...limits, ratings: [rating] } : limits,
        ]),
      ),
    })
    const rating = {
      ...{ part: 'V1', what: 'V1', at_A: 0.055, of_rating: 1, share_A: 0.05, rating: '10 W' },
      ...{ cathode: null, source: 'invented' },
    }
    const of = smallPlan(steps(rated))
    const rails = (A: number) => standing(of, 'HT', 250, A)
    expect(railShown('HT', holds, { rails: rails(0.06) }, of)?.over_rating).toBe('V1 over its rating, 20 %')
    expect(railShown('HT', holds, { rails: rails(0.05) }, of)).not.toHaveProperty('over_rating')
  })
})

describe('an input', () => {
  it('is shown by its own line, with where it stands, what it says, its age and the age that is too much', () => {
    const { inputs } = shown(
      holds,
      { meters: { lid: { value: 1, t_us: ago(1.5) } } },
      withMeters(meter('lid', { measures: 'contact', at: null, watch: watch(true) })),
    )
    expect(inputs).toEqual([
      { name: 'grid meter', at: 'grid', shows: null, age_s: null, quiet_s: 1 },
      { name: 'lid', at: null, shows: 'closed', age_s: 1.5, quiet_s: 4 },
    ])
  })

  it('that a person reads is none', () => {
    const names = shown(holds, {}, withMeters(meter('needle', { port: null }))).inputs.map(({ name }) => name)
    expect(names).toEqual(['grid meter'])
  })
})

describe('the time that a run has taken', () => {
  it('counts from its begin, and is none before', () => {
    expect(shown(holds, { begun_us: ago(90) }).elapsed_s).toBe(90)
    expect(shown(0, { begun_us: null, phase: 'waiting' }).elapsed_s).toBe(0)
  })
})
