import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { amps, MidStep } from '../helpers/mid-step.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* Electrolytics formed in the circuit: what a rail draws, minute by minute, at volts that stand. */

const at250 = 6
/** HT is formed at 250 V: 50 mA are the circuit, so wide a band that only the minutes tell. */
const forming = (expected_A = 0.05): Plan =>
  smallPlan((plan) => ({
    ...plan,
    steps: plan.steps.map((step, at) =>
      at === at250
        ? {
            ...step,
            in_place: { still: 0.02, rise: 0.1 },
            hold_s: 0,
            settle_within_s: 3000,
            limits: {
              ...step.limits,
              HT: limitsAt(250, expected_A, {
                ...{ lower_A: 0, ask_A: 0, upper_A: 0.4, trip_A: 0.5, ceiling_A: 0.6, supply_limit_A: 0.55 },
              }),
            },
          }
        : step,
    ),
  }))

/** The volts came to stand this moment. */
const held = (plan = forming()): MidStep => {
  const run = new MidStep(plan, at250, 'settle').justBegun()
  return run.rail('HT', { set_us: run.state.t_us })
}
/** A minute's readings, one every ten seconds. */
const minute = (run: MidStep, ampere: number, channel = 'ht.1'): MidStep =>
  run.again(6, 10, amps(channel, ampere))
/** The minute in which charging ends, of which nothing is kept: its last reading opens the first mean. */
const charged = (run: MidStep, ampere: number): MidStep => minute(run, ampere)
const minutes = (run: MidStep, ...ampere: readonly number[]): MidStep => {
  for (const each of ampere) minute(run, each)
  return run
}

describe('what a rail draws while its electrolytics are formed', () => {
  it('ends the run when two minutes in a row draw more than the lowest by a tenth, not after one', () => {
    const run = minutes(charged(held(), 0.05), 0.05, 0.06)
    expect(run.reason).toBeNull()
    minute(run, 0.06)
    expect(run.reason).toMatchObject({ code: 'rising', rail: 'HT', unit: 'A' })
    expect(run.reason?.limit).toBeCloseTo(0.055, 3)
  })

  it('begins again where the minute between drew no more', () => {
    const run = minutes(charged(held(), 0.05), 0.05, 0.06, 0.05, 0.06)
    expect(run.reason).toBeNull()
    expect(minute(run, 0.06).reason).toMatchObject({ code: 'rising' })
  })

  it('is taken by whole minutes: what comes within one is part of its mean', () => {
    const run = minutes(charged(held(), 0.05), 0.05)
    // Five tens of seconds of more, and one of much less.
    for (let n = 0; n < 4; n++) run.again(5, 10, amps('ht.1', 0.058)).hear(10, amps('ht.1', 0.02))
    expect(run.reason).toBeNull()
    expect(run.state.in_place?.means_A).toHaveLength(5)
  })

  it('may rise by its last digits where it draws next to nothing, and by a bleeder’s drift where it draws much', () => {
    // A tenth of 1 mA is one last digit.
    const little = minutes(charged(held(forming(0.001)), 0.001), 0.001, 0.00125, 0.00125, 0.00125)
    expect(little.reason).toBeNull()
    expect(minutes(little, 0.0014, 0.0014).reason).toMatchObject({ code: 'rising' })
    // Three last digits of 300 mA are a thousandth.
    const much = minutes(charged(held(forming(0.3)), 0.3), 0.3, 0.32, 0.32, 0.32)
    expect(much.reason).toBeNull()
    expect(minutes(much, 0.34, 0.34).reason).toMatchObject({ code: 'rising' })
  })

  it('says nothing in the minute after the set-point moved, nor while it moves', () => {
    const run = held()
    run.again(5, 10, amps('ht.1', 0.001))
    minutes(charged(run, 0.05), 0.05, 0.05, 0.05)
    expect(run.reason).toBeNull()
    const pending = { 1: { channel: 'ht.1', request: { do: 'set', volts: 250 }, t_us: 0 } } as const
    const moves = new MidStep(forming(), at250, 'ramp', { pending }).rail('HT', { set_V: 249 })
    minutes(moves, 0.05, 0.05)
    expect(moves.state.in_place).toBeNull()
  })

  it('is that of the rail that is formed: another that draws more beside it is judged by its own rules', () => {
    const run = held()
    run.rail('BIAS', { set_us: run.state.t_us })
    for (let n = 0; n < 6; n++) {
      minute(run, 0.05)
      minute(run, n < 2 ? 0.01 : 0.0125, 'bias.1')
    }
    expect(run.reason).toBeNull()
  })
})

describe('a hold in which electrolytics are formed', () => {
  const goesOn = (run: MidStep): boolean => run.state.step > at250

  it('goes on once five minutes draw no less than the five before, and not before there were ten', () => {
    const run = minutes(charged(held(), 0.05), ...Array<number>(9).fill(0.05))
    expect(goesOn(run)).toBe(false)
    expect(goesOn(minute(run, 0.05))).toBe(true)
  })

  it('stays while the five minutes before drew more, by a little over a fiftieth', () => {
    const five = (ampere: number): number[] => Array<number>(5).fill(ampere)
    const falls = minutes(charged(held(), 0.0515), ...five(0.0515), ...five(0.05))
    expect(goesOn(falls)).toBe(false)
    const still = minutes(charged(held(), 0.0508), ...five(0.0508), ...five(0.05))
    expect(goesOn(still)).toBe(true)
  })

  it('counts no minute of another step, nor of a set-point before', () => {
    const before = minutes(charged(held(), 0.05), ...Array<number>(9).fill(0.05))
    const run = held()
    run.state = { ...run.state, in_place: { ...before.state.in_place!, step: 99 } }
    minutes(charged(run, 0.05), 0.05)
    expect(run.state.in_place?.means_A).toHaveLength(1)
    before.rail('HT', { set_us: before.state.t_us })
    minutes(charged(before, 0.05), 0.05)
    expect(goesOn(before)).toBe(false)
  })
})
