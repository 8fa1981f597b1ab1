import { describe, expect, it } from 'vitest'
import type { MeterPlan } from '../../src/plan/index.js'
import { fallOf, noteFall, sayFalls } from '../../src/sequencer/charge-fall.js'
import type { Draft, InputState, Off } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* The set's own charge, watched down after OFF: what is called a healthy fall, a slow one and a fast one. */

const name = 'reservoir meter'
/** 20 kΩ across 500 µF: 10 s. Below 10 V nothing is told. */
const path = { ohm: 20_000, F: 500e-6 }
const meterAt = (at: string): MeterPlan => ({
  ...smallPlan().meters['grid meter']!,
  ...{ name, port: 'rm', at, resolution: 1 },
  watch: { uses: [], needed: false, stale_s: 1, limits: [], falls: path },
})
const planOf = (at: string) =>
  smallPlan((plan) => ({ ...plan, meters: { ...plan.meters, [name]: meterAt(at) } }))
const plan = planOf('HT+')

/** What is said of a fall of so many volts in this time, with this current flowing when OFF was given. */
function said(from_V: number, to_V: number, took_s: number, amps: number) {
  const fall: InputState['fall'] = {
    from: { value: from_V, t_us: now_us },
    now: { value: to_V, t_us: now_us + took_s * 1e6 },
    amps,
  }
  const d = momentOf(plan, 0, { inputs: { [name]: { beyond: 0, lost: false, fall } } })
  return fallOf(d.s, meterAt('HT+'))
}

describe('the fall of the charge at a watched node', () => {
  it('is as it should be where its bleeder alone takes it, and slow or fast where it is far from that', () => {
    // e to the −1, and 10 V of what the meter can tell.
    expect(said(270, 100, 10, 0)).toMatchObject({ odd: false })
    const slow = said(270, 200, 10, 0)
    expect([slow?.odd, slow?.text]).toEqual([true, expect.stringContaining('slower than its discharge path')])
    const fast = said(270, 100, 3, 0)
    expect([fast?.odd, fast?.text]).toEqual([true, expect.stringContaining('faster than its capacitors')])
  })

  it('is held against how far it fell: a short way down takes a short time, a long way a long one', () => {
    // To 240 V of 270: 1.2 s by the path. To 10 V: 33 s, so that 10 s are too few.
    expect(said(270, 240, 2, 0)).toMatchObject({ odd: false })
    expect(said(270, 10, 10, 0)).toMatchObject({ odd: true })
    expect(said(270, 10, 20, 0)).toMatchObject({ odd: false })
  })

  it('is no fast one where the tubes were still drawing their current when OFF was given', () => {
    // 270 V over 67 mA across 500 µF is 2 s.
    expect(said(270, 30, 2.5, 0.067)).toMatchObject({ odd: false })
    expect(said(270, 30, 2.5, 0)).toMatchObject({ odd: true })
    // Over 34 mA it is 4 s: 3 s are too few for that current too.
    expect(said(270, 30, 3, 0.034)).toMatchObject({ odd: true })
    expect(said(270, 30, 4, 0.034)).toMatchObject({ odd: false })
  })
})

describe('a fall that tells little', () => {
  /** A path of 10 s, a meter of so many volts in its last digit. */
  const odd = (from_V: number, to_V: number, took_s: number, resolution = 1): boolean | null => {
    const fall: InputState['fall'] = {
      ...{ from: { value: from_V, t_us: now_us }, now: { value: to_V, t_us: now_us + took_s * 1e6 } },
      amps: 0,
    }
    const d = momentOf(plan, 0, { inputs: { [name]: { beyond: 0, lost: false, fall } } })
    return fallOf(d.s, { ...meterAt('HT+'), resolution })?.odd ?? null
  }

  it('is said, and called neither slow nor fast: in less than two seconds, from less than four times what shows', () => {
    expect([1.9, 2, 2.1].map((took_s) => odd(270, 20, took_s))).toEqual([false, true, true])
    // Ten last digits are what shows, and no less than 5 V.
    expect([39, 40, 41].map((from_V) => odd(from_V, 10, 2))).toEqual([false, true, true])
    expect([19, 20, 21].map((from_V) => odd(from_V, 5, 2, 0.1))).toEqual([false, true, true])
  })

  it('is none where nothing stood there when OFF was given', () => {
    expect([9, 10, 11].map((from_V) => odd(from_V, 2, 3))).toEqual([null, null, false])
    expect([4, 5, 6].map((from_V) => odd(from_V, 2, 3, 0.1))).toEqual([null, null, false])
  })
})

describe('at the end of a run', () => {
  const end = (to_V: number, took_s: number): Draft => {
    const fall: InputState['fall'] = {
      ...{ from: { value: 270, t_us: now_us }, now: { value: to_V, t_us: now_us + took_s * 1e6 } },
      amps: 0,
    }
    const d = momentOf(plan, 0, { inputs: { [name]: { beyond: 0, lost: false, fall } } })
    sayFalls(d)
    return d
  }

  it('a fall as it should be stays in the record, and one that is not is a warning', () => {
    const well = end(100, 10)
    expect([well.s.warnings, recorded(well)]).toEqual([[], expect.stringContaining('as its circuit should')])
    expect(end(200, 10).s.warnings.join()).toContain('slower than its discharge path')
  })
})

describe('a meter’s reading after OFF', () => {
  const off = (down: string): Off =>
    ({ rails: { [down]: { down_us: now_us - 1e6 } }, amps: { [down]: 0.05 } }) as unknown as Off
  const noted = (at: string, rail: string): InputState['fall'] => {
    const d: Draft = momentOf(planOf(at), 0, {
      off: off(rail),
      meters: { [name]: { value: 40, t_us: now_us } },
    })
    noteFall(d, name)
    return d.s.inputs[name]?.fall ?? null
  }

  it('is one of the set’s charge at the node of a plate or screen rail', () => {
    expect(noted('HT+', 'HT')).toMatchObject({ amps: 0.05, from: { value: 40 } })
  })

  it('is followed down from the highest that it showed since the output was off', () => {
    const after = (value: number, known: InputState['fall'], ago_s = 0): InputState['fall'] => {
      const d: Draft = momentOf(planOf('HT+'), 0, {
        off: off('HT'),
        meters: { [name]: { value, t_us: now_us - ago_s * 1e6 } },
        inputs: { [name]: { beyond: 0, lost: false, fall: known } },
      })
      noteFall(d, name)
      return d.s.inputs[name]?.fall ?? null
    }
    const known = { from: { value: 200, t_us: 1 }, amps: 0.02, now: { value: 200, t_us: 1 } }
    expect(after(150, known)).toEqual({ ...known, now: { value: 150, t_us: now_us } })
    expect(after(220, known)).toMatchObject({ from: { value: 220 }, amps: 0.05, now: { value: 220 } })
    // Of a reading from before its output was off nothing is told; in that very moment it is.
    expect(after(150, null, 1.1)).toBeNull()
    expect(after(150, null, 1)).not.toBeNull()
  })

  it('is none of it where the meter stands at no node, or measures something else', () => {
    const d = (change: Partial<MeterPlan>): InputState['fall'] => {
      const made = smallPlan((small) => ({ ...small, meters: { [name]: { ...meterAt('HT+'), ...change } } }))
      const one: Draft = momentOf(made, 0, {
        off: off('HT'),
        meters: { [name]: { value: 40, t_us: now_us } },
      })
      noteFall(one, name)
      return one.s.inputs[name]?.fall ?? null
    }
    expect(d({})).not.toBeNull()
    expect(d({ measures: 'A' })).toBeNull()
    expect(d({ at: null })).toBeNull()
  })

  it('is of the rail whose own node it is, not of another that goes off with it', () => {
    const both = { rails: { HT: { down_us: null }, G2: { down_us: now_us - 1e6 } }, amps: { G2: 0.01 } }
    const made = smallPlan((small) => {
      const { HT } = small.rails
      const rails = {
        ...small.rails,
        G2: { ...HT!, name: 'G2', positive: 'G2+', role: 'screen' as const, channels: [] },
      }
      return { ...small, rails, meters: { [name]: meterAt('G2+') } }
    })
    const d = momentOf(made, 0, {
      off: both as unknown as Off,
      meters: { [name]: { value: 40, t_us: now_us } },
    })
    noteFall(d, name)
    expect(d.s.inputs[name]?.fall).toMatchObject({ amps: 0.01 })
  })

  it('is none of it at a node of heaters or bias: what falls there is their supply', () => {
    expect(noted('LT+', 'LT')).toBeNull()
    expect(noted('BIAS+', 'BIAS')).toBeNull()
  })
})
