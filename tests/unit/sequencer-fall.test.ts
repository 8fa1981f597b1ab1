import { describe, expect, it } from 'vitest'
import type { MeterPlan } from '../../src/plan/index.js'
import { fallOf, noteFall } from '../../src/sequencer/charge-fall.js'
import type { Draft, InputState, Off } from '../../src/sequencer/state.js'
import { momentOf, now_us } from '../helpers/moment.js'
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

  it('is none of it at a node of heaters or bias: what falls there is their supply', () => {
    expect(noted('LT+', 'LT')).toBeNull()
    expect(noted('BIAS+', 'BIAS')).toBeNull()
  })
})
