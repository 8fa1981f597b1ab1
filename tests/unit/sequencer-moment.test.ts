import { describe, expect, it } from 'vitest'
import type { MeterPlan, Plan, Step } from '../../src/plan/index.js'
import { advance } from '../../src/sequencer/run.js'
import type { Prompt, State } from '../../src/sequencer/state.js'
import { advanced, ago, asked, now_us, onChannels, told } from '../helpers/advanced.js'
import { formingAt, partGivenUp } from '../helpers/small-reform.js'
import { limitsAt, smallPlan, typedBias } from '../helpers/small-plan.js'
import { steps } from '../helpers/standing.js'

/* One moment of a step: what it waits for, what it passes in the same moment, and what may not be asked or told meanwhile. */

const [heaters, at250, holds] = [3, 6, 7]
const done = { id: 1, recorded: true }
const changed = (place: number, change: Partial<Step>): Plan =>
  smallPlan(steps((step) => (step.index === place + 1 ? { ...step, ...change } : step)))

describe('a bias that a person typed', () => {
  const typed: Partial<State> = { typed: { 'node:grid': { value: -40, t_us: ago(800) } } }
  const plan = typedBias(smallPlan())

  it('is asked for again where a step can stand still, not while a rail arrives or comes down', () => {
    expect(asked(advanced(plan, at250, 'ramp', { ...typed, intent: done }))).toEqual(['bias under HT'])
    expect(asked(advanced(plan, at250, 'arrive', { ...typed, part_us: now_us }))).toEqual([])
    const down = typedBias(changed(holds, { do: 'lower', rail: 'HT', target_V: 100 }))
    expect(asked(advanced(down, holds, 'hold', { ...typed, part_us: now_us }))).toEqual([])
  })

  it('holds the rise while its question stands', () => {
    const ask = { text: '', wants: { kind: 'confirm' }, timeout_s: 0, inside: false, about: 'bias' } as const
    const prompt: Prompt = {
      ...{ id: 3, purpose: { kind: 'bias', node: 'grid', rail: 'BIAS' }, ask, low: -80, high: -30 },
      ...{ unit: 'V', text: '', opened_us: ago(5), until_us: now_us + 60e6, tries: 0 },
    }
    const d = advanced(plan, at250, 'ramp', {
      ...{ ...typed, prompt, intent: done },
      rails: { HT: { set_V: 100, set_us: ago(5) } },
      channels: { 'ht.1': { set_V: 100 } },
    })
    expect([told(d), d.broken]).toEqual([[], []])
  })
})

describe('a step that is passed over', () => {
  it('is passed in the moment, and the next begins in it', () => {
    const ask = { text: 'Is it cleared?', wants: { kind: 'confirm' }, timeout_s: 0 } as const
    const plan = smallPlan((made) => {
      const clear = {
        ...made.steps[holds]!,
        do: 'ask' as const,
        ask: { ...ask, inside: false, about: 'clear ht.1' },
      }
      const all = [...made.steps.slice(0, holds), clear, ...made.steps.slice(holds)]
      return { ...made, steps: all.map((step, at) => ({ ...step, index: at + 1 })) }
    })
    const d = advanced(plan, holds, 'gate')
    expect([d.s.step, d.s.part, asked(d)]).toEqual([holds + 1, 'hold', []])
  })
})

describe('a hold', () => {
  it('is one also where it is of a rail by name: nothing is raised in it', () => {
    const d = advanced(changed(holds, { rail: 'HT' }), holds, 'gate')
    expect([d.s.part, told(d)]).toEqual(['hold', []])
  })
})

describe('a reform', () => {
  it('goes to where a part is taken off as soon as it is given up', () => {
    const d = formingAt(5, { C1: partGivenUp, C2: { ...partGivenUp, act: 'go on', verdict: null } })
    advance(d)
    expect(d.s.step).toBe(3)
  })
})

describe('a rise on two channels', () => {
  const halves = onChannels({ share: 0.5 }, { channel: 'ht.2', share: 0.5 })
  /** Set so far, on each; the rise is so slow that not a digit more is due. */
  const stands = (one_V: number, two_V: number | null, set_V = one_V + (two_V ?? 0)) =>
    advanced(
      smallPlan((plan) => {
        const slow = steps((step) => ({ ...step, slew_V_per_s: 0.01 }))(plan)
        return two_V === null ? slow : halves(slow)
      }),
      at250,
      'ramp',
      {
        ...{ intent: done, part_us: ago(1) },
        rails: { HT: { set_V, set_us: ago(1) } },
        channels: { 'ht.1': { set_V: one_V }, ...(two_V !== null && { 'ht.2': { set_V: two_V } }) },
      },
    )

  it('has come to its volts when both have, to their last digit', () => {
    expect(stands(125, 125).s.part).toBe('arrive')
    expect(stands(125, 100, 200).s.part).toBe('ramp')
    expect(stands(250, null).s.part).toBe('arrive')
    expect(stands(249.9, null).s.part).toBe('ramp')
    expect(stands(200, null).s.part).toBe('ramp')
  })

  it('waits while anything is under way on either', () => {
    const rises = (channel: string | null) =>
      told(
        advanced(smallPlan(halves), at250, 'ramp', {
          ...{ intent: done, part_us: ago(1) },
          pending: channel === null ? {} : { 9: { channel, request: { do: 'off' }, t_us: now_us } },
          rails: { HT: { set_V: 100, set_us: ago(1) } },
          channels: { 'ht.1': { set_V: 50 }, 'ht.2': { set_V: 50 } },
        }),
      ).map(({ channel: to, do: what }) => `${what} ${to}`)
    expect(rises(null)).toEqual(['set ht.1', 'set ht.2'])
    expect([rises('ht.1'), rises('ht.2')]).toEqual([[], []])
  })
})

describe('a watched input that is not read', () => {
  it('holds the rise where it stands', () => {
    const plan = smallPlan((made) => {
      const lid: MeterPlan = {
        ...{ ...made.meters['grid meter']!, name: 'lid', port: 'lid', measures: 'contact', at: null },
        watch: {
          ...{ uses: [], needed: true, stale_s: 1, falls: null },
          limits: [{ act: 'trip', when: 'open', at: null, because: 'hands reach HT' }],
        },
      }
      return { ...made, meters: { ...made.meters, lid } }
    })
    const d = advanced(plan, at250, 'ramp', {
      ...{ intent: done, part_us: ago(1) },
      rails: { HT: { set_V: 100, set_us: ago(1) } },
      channels: { 'ht.1': { set_V: 100 } },
    })
    expect([told(d), d.broken]).toEqual([[], []])
  })
})

describe('heaters at their volts', () => {
  it('have eased at their trip, and not above it', () => {
    const { trip_A } = limitsAt(12, 4)
    const part = (A: number) =>
      advanced(smallPlan(), heaters, 'arrive', {
        ...{ part_us: ago(5), step_us: ago(10) },
        rails: {
          LT: {
            ...{ A: { value: A, t_us: now_us }, V: { value: 12, t_us: now_us }, on_us: ago(10) },
            recent: [1.5, 1, 0.5].map((ago_s) => ({ value: A, t_us: ago(ago_s) })),
          },
        },
      }).s.part
    expect([part(trip_A), part(trip_A + 0.01)]).toEqual(['hold', 'arrive'])
  })
})
