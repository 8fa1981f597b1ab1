import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { checkProfile } from '../../src/profile/index.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'
import { demo, planned } from '../helpers/small-set.js'

/* Electrolytics formed in their circuit: no leakage is judged, and what the rail draws is not passed over for that. */

const reform = demo('tern-rock/reform-in-place')
const where = () => ({ file: 'reform.yaml', line: 1, column: 1 })
const said = (change: Partial<typeof reform.profile>): string =>
  checkProfile({ ...reform.profile, ...change }, reform.equipment, where)
    .map(({ what, remedy }) => `${what}: ${remedy}`)
    .join('\n')
const hot = ({ steps }: Plan): Plan['steps'] =>
  steps.filter(({ do: does, rail }) => does === 'raise' && rail === 'HT')

describe('the plan of a reform in the circuit', () => {
  const stage = {
    do: 'ramp',
    slew_V_per_s: null,
    hold_s: null,
    settle_within_s: null,
    ceiling_A: null,
  } as const

  it('raises no heaters by itself: they are cold, or their stage is stated', () => {
    expect(said({})).toBe('')
    expect(said({ tubes_cold: false })).toMatch(
      /nothing says whether its tubes are cold: write tubes_cold: true.*heaters never rise by themselves in a reform/,
    )
    const heaters = { ...stage, name: 'heaters', rail: 'heaters', to_V: [12] }
    expect(said({ tubes_cold: false, stages: [heaters, ...reform.profile.stages] })).toBe('')
    const bare = planned({ ...reform, profile: { ...reform.profile, tubes_cold: false, stages: [] } })
    expect(bare.steps.some(({ rail, do: does }) => does === 'raise' && rail === 'heaters')).toBe(false)
  })

  it('marks what it forms, holds it until it is still, whatever the clock, and says by what', () => {
    const plan = planned(reform)
    for (const step of hot(plan)) {
      expect(step.in_place).toEqual({ still: 0.02, rise: 0.1 })
      expect(step.settle_within_s).toBeGreaterThanOrEqual(900)
      const because = step.limits['HT']?.because.map(({ text }) => text).join('\n')
      expect(because).toMatch(/the last five minutes draw no less than the five before/)
      expect(because).toMatch(/leakage that rises after it had fallen/)
    }
    const bare = planned({ ...reform, profile: { ...reform.profile, stages: [] } })
    expect(hot(bare).map(({ hold_s, settle_within_s }) => [hold_s, settle_within_s])).toEqual(
      hot(bare).map(() => [600, 3000]),
    )
    expect(plan.unproved.join('\n')).toMatch(/a rise of it after it had fallen ends the run/)
    expect(planned(demo('tern-rock/receive')).steps.some(({ in_place }) => in_place !== undefined)).toBe(
      false,
    )
  })
})

describe('a hold of a reform in the circuit', () => {
  const plan = smallPlan((made) => ({
    ...made,
    time_budget_s: 20_000,
    expected_s: 8000,
    steps: made.steps.map((step) =>
      step.target_V === 250 && step.do === 'raise'
        ? {
            ...step,
            in_place: { still: 0.02, rise: 0.1 },
            hold_s: 600,
            settle_within_s: 3000,
            limits: {
              ...step.limits,
              HT: limitsAt(250, 0.05, { upper_A: 0.09, trip_A: 0.1, ceiling_A: 0.12, supply_limit_A: 0.11 }),
            },
          }
        : step,
    ),
  }))

  /** What leaks beside the 50 mA of the circuit, A, by how long the volts have stood; how the hold ended. */
  function held(leaks: (s: number) => number): { readonly rig: Rig; readonly s: number } {
    const rig = new Rig(plan).start()
    rig.answers = true
    rig.unanswered = /not settled/
    rig.until('its hold', () => rig.state.step === 6 && rig.state.part === 'hold')
    const from_us = rig.t_us
    rig.period_us = 900_000
    const s = (): number => (rig.t_us - from_us) / 1e6
    while (rig.state.step === 6 && rig.ending === null && rig.state.prompt === null && s() < 5000) {
      rig.extra_A['HT'] = leaks(s())
      rig.tick()
    }
    return { rig, s: s() }
  }

  it('goes on soon where nothing falls any more, later where it does, and asks where it never ends', () => {
    const still = held(() => 0.002)
    expect(still.rig.state.step).toBe(7)
    const falls = held((s) => 0.02 * Math.exp(-s / 600))
    expect(falls.rig.state.step).toBe(7)
    expect(falls.s).toBeGreaterThan(still.s + 300)
    const never = held((s) => 0.025 - 6e-6 * s)
    expect(never.rig.state.prompt?.purpose).toEqual({ kind: 'not settled', rail: 'HT' })
  })

  it('ends the run where it falls and then rises, inside its band, and takes a bleeder’s drift for what it is', () => {
    const { rig } = held((s) => (s < 500 ? 0.006 * Math.exp(-s / 100) : Math.min(0.009, 1e-4 * (s - 500))))
    rig.period_us = 50_000
    const ending = rig.toTheEnd()
    expect(ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed' })
    expect(ending.reason).toMatchObject({ code: 'rising', rail: 'HT' })
    expect(ending.reason?.text).toMatch(/had come down to 50.*An electrolytic is breaking down/)
    expect(ending.reason?.measured).toBeLessThan(plan.steps[6]?.limits['HT']?.upper_A ?? 0)
    const drift = held((s) => (s < 500 ? 0 : Math.min(0.003, 1e-5 * (s - 500))))
    expect([drift.rig.ending, drift.rig.state.step]).toEqual([null, 7])
  })
})
