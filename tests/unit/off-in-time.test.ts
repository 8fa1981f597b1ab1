import { describe, expect, it } from 'vitest'
import type { OffState } from '../../src/off/index.js'
import type { RailOff } from '../../src/off/types.js'
import type { OffPlan } from '../../src/plan/index.js'
import { at_us, falling, gone, offAt, read, told } from '../helpers/off-moment.js'
import { bias, heater, ht, off_channel, offPlan } from '../helpers/safe-off-play.js'

/** How long going off tries before it ends without all confirmed: by each reason there is for it to wait. */

type Rails = Readonly<Record<string, Partial<RailOff>>>
interface Case {
  readonly plan?: OffPlan
  readonly rails: (t_s: number) => Rails
  readonly off?: readonly string[]
  readonly over?: Partial<OffState>
}
const only = offPlan({}, { channels: [ht] })
const standing = (t_s: number): Rails => ({ HT: { ...told, V: read(250, t_s) } })
const ends = ({ plan = only, rails, off = [], over = {} }: Case, t_s: number): string | null =>
  offAt(plan, t_s, rails(t_s), off, over).state.result?.outputs_off ?? null

const knob = (klass: 'watched' | 'hand'): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail: 'HT', role: 'HT', class: klass, no_A: 0 },
  ...{ volts_meter: klass === 'watched' ? 'V' : null, amps_meter: null },
})
const watched = offPlan({}, { channels: [], knobs: [knob('watched')] })
const slow = offPlan({}, { channels: [ht], stale_s: 4 })
const screen = { ...off_channel('SCR.1', 'HT', 0), rail: 'screen', role: 'screen' as const }

describe('going off is given up, not confirmed', () => {
  it.each<[string, number, Case]>([
    [
      '100 s after the first OFF: 10 to fall, 30 for the heaters, 60 to cut the mains',
      100,
      { rails: standing },
    ],
    [
      'as long after the heaters as they take',
      145,
      { plan: offPlan({}, { channels: [ht], heaters_off_after_s: 75 }), rails: standing },
    ],
    [
      '70 s after an OFF that came late',
      160,
      { rails: (t_s) => ({ HT: { ...told, given_us: at_us(90), V: read(250, t_s) } }) },
    ],
    [
      'ten minutes after a person was asked to turn down a knob that is watched',
      640,
      { plan: watched, rails: (t_s) => ({ HT: { ...told, given_us: at_us(40), V: read(250, t_s) } }) },
    ],
    [
      'at ten minutes where a charge is seen to go slowly',
      600,
      { rails: (t_s) => ({ HT: { ...told, V: read(90, t_s - 2), fall: falling(90, t_s - 2) } }) },
    ],
    [
      'at 100 s where that was read more than two seconds ago',
      100,
      { rails: (t_s) => ({ HT: { ...told, V: read(90, t_s - 2.01), fall: falling(90, t_s - 2.01) } }) },
    ],
    [
      'at 100 s where it falls on an output that still reads as on',
      100,
      { rails: (t_s) => ({ HT: { ...told, down_us: null, V: read(90, t_s), fall: falling(90, t_s) } }) },
    ],
    [
      'at 100 s where it has stood since it was first read',
      100,
      { rails: (t_s) => ({ HT: { ...told, V: read(90, t_s), fall: falling(90, t_s, 0) } }) },
    ],
    ['70 s after this computer slept', 270, { rails: standing, over: { awake_us: at_us(200) } }],
    ['15 s where nothing was on', 15, { rails: () => ({ HT: told }), over: { live: 'no' } }],
    ['15 s where nobody has answered', 15, { rails: () => ({ HT: told }), over: { live: 'unknown' } }],
    [
      'five times what is stale where that is longer',
      20,
      { plan: slow, rails: () => ({ HT: told }), over: { live: 'unknown' } },
    ],
  ])('%s', (_, until_s, what) => {
    expect(ends(what, until_s - 0.1)).toBeNull()
    expect(ends(what, until_s)).toBe('not confirmed')
  })

  it('not while a question for a knob is open', () => {
    const plan = offPlan({}, { channels: [ht], knobs: [{ ...knob('hand'), rail: 'HT by hand' }] })
    const open = { plan, rails: standing, over: { asks: true, hand: {} } }
    expect(ends(open, 700)).toBeNull()
    const hand = { 'HT by hand': 'not confirmed by you' } as const
    expect(ends({ ...open, over: { asks: true, hand } }, 700)).toBe('not confirmed')
  })
})

/**
 * HT read back as off at 30 s and the heater confirmed at 25 s, but HT not read since this computer slept: neither time lets the
 * bias go then, and what is waited for shows by itself.
 */
describe('a rule that may still let the bias go is waited for, and 70 s more', () => {
  const release = { only_wire_between: false, discharge_s: 200, cathodes_cold_s: 50 }
  const slept = { awake_us: at_us(5) }
  const hot = { ...gone(2), down_us: at_us(30) }
  const cold = (t_s: number): Partial<RailOff> => ({ ...gone(t_s), confirmed_us: at_us(25) })
  const biasOn = (t_s: number): Partial<RailOff> => ({ V: read(50, t_s) })
  const all = (t_s: number): Rails => ({ HT: hot, heater: cold(t_s), bias: biasOn(t_s) })
  const off = ['HT', 'heater']

  it.each<[string, number, Case]>([
    ['the computed time since HT was off', 300, { plan: offPlan(release), rails: all, off }],
    [
      'cold cathodes where they take longer',
      395,
      { plan: offPlan({ ...release, cathodes_cold_s: 300 }), rails: all, off },
    ],
    [
      'cold cathodes alone where no time is computed',
      145,
      { plan: offPlan({ ...release, discharge_s: null }), rails: all, off },
    ],
    [
      'cold cathodes alone where the set is not known',
      145,
      { plan: offPlan(release, { knobs: null }), rails: all, off },
    ],
    [
      'the computed time alone where a heater is not confirmed',
      300,
      {
        plan: offPlan({ ...release, cathodes_cold_s: 500 }),
        rails: (t_s) => ({ ...all(t_s), heater: { ...told, V: read(6, t_s) } }),
        off: ['HT'],
      },
    ],
    [
      'nothing where there is no bias',
      100,
      {
        plan: offPlan(release, { channels: [ht, heater] }),
        rails: (t_s) => ({ HT: hot, heater: { ...told, V: read(6, t_s) } }),
        off: ['HT'],
      },
    ],
    [
      'nothing where the bias is off already',
      100,
      {
        plan: offPlan(release),
        rails: (t_s) => ({ ...all(t_s), bias: gone(t_s) }),
        off: [...off, 'bias'],
        over: { bias_released_by: 'a rule' },
      },
    ],
    [
      'nothing while one of screen and HT is not confirmed',
      100,
      {
        plan: offPlan(release, { channels: [screen, ht, heater, bias] }),
        rails: (t_s) => ({ ...all(t_s), screen: { ...told, V: read(80, t_s) } }),
        off,
      },
    ],
  ])('%s', (_, until_s, what) => {
    const there = { ...what, over: { ...slept, ...what.over } }
    expect(ends(there, until_s - 0.1)).toBeNull()
    expect(ends(there, until_s)).toBe('not confirmed')
  })

  it('also under HT on a knob where nobody can be asked', () => {
    const plan = offPlan(
      { ...release, cathodes_cold_s: 200 },
      { channels: [heater, bias], knobs: [knob('hand')] },
    )
    const rails = (t_s: number): Rails => ({ heater: cold(t_s), bias: biasOn(t_s) })
    const hand = { HT: 'not confirmed by you' } as const
    expect(ends({ plan, rails, off: ['heater'], over: { hand } }, 224)).toBeNull()
  })
})

describe('the end says of a rail that is not confirmed', () => {
  const how = (plan: OffPlan, rail: string, known: Partial<RailOff>): string | undefined => {
    const { result } = offAt(plan, 700, { HT: told, [rail]: known }).state
    return result?.rails[rail]?.how
  }
  const never = { given_us: null, first_us: null }
  const other = { ...off_channel('HTS.9', 'HT', 0), rail: 'HT 2' }

  it.each<[string, OffPlan, string, Partial<RailOff>, RegExp]>([
    ['that a person was asked', watched, 'HT', told, /^you were asked to turn it down, .*; nothing was read/],
    ['that it was told', only, 'HT', { ...told, V: read(9, 700) }, /^OFF was given .*; last read back: 9 V/],
    ['why a bias was not', offPlan(), 'bias', never, /^not told OFF: bias stays/],
    ['that a heater was not yet', offPlan(), 'heater', never, /^not told OFF yet; /],
    ['that nothing was told to it', offPlan({}, { channels: [ht, other] }), 'HT 2', never, /^not told OFF; /],
  ])('%s', (_, plan, rail, known, says) => {
    expect(how(plan, rail, known)).toMatch(says)
  })
})
