import { describe, expect, it } from 'vitest'
import type { DriveWatch, Plan, RailLimits, Step } from '../../src/plan/index.js'
import { amps, MidStep, shown, volts } from '../helpers/mid-step.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/* Drive under HT: by the grid current of a stage, and by the rail that feeds the drivers. Heaters under HT beside it. */

const [bias40, at100, at250, holds] = [4, 5, 6, 7]

/** Grid current of this stage comes back to the bias supply: 6 mA instead of 10. */
const byBias = (tube: string): DriveWatch => ({
  ...{ tube, grid_A: 0.004, meter: null, text: '' },
  bias: { rail: 'BIAS', with_A: 0.006, lost_A: 0.01 },
})
/** A meter across a resistor in the grid return. */
const byMeter: DriveWatch = {
  ...{ tube: 'V1', grid_A: 0.004, bias: null, text: '' },
  meter: { name: 'grid amps', volts: 0.5, lost_V: 0.1 },
}
const driven = { BIAS: limitsAt(40, 0.006, { lower_A: 0, ask_A: 0 }) }

const keyed = (change: (step: Step, at: number) => Partial<Step>): Plan =>
  smallPlan((plan) => ({
    ...plan,
    meters: {
      ...plan.meters,
      'grid amps': { ...plan.meters['grid meter']!, name: 'grid amps', port: 'grid amps', resolution: 0.001 },
    },
    steps: plan.steps.map((step, at) => ({
      ...step,
      hold_s: 60,
      limits: { ...step.limits, ...driven },
      ...change(step, at),
    })),
  }))
const all = (watch: DriveWatch): Plan => keyed(() => ({ drive: [watch] }))
/** A raise that came to rest three seconds ago. */
const stands = (plan: Plan, at: number, part: 'hold' | 'settle'): MidStep =>
  new MidStep(plan, at, part).justBegun().hear(3, shown('grid meter', -40))
/** The bias supply gives this for half a second. */
const gives = (run: MidStep, ampere: number): MidStep => run.again(6, 0.1, amps('bias.1', ampere))
const shows = (run: MidStep, volt: number): MidStep => run.again(6, 0.1, shown('grid amps', volt))

describe('drive that is lost under HT', () => {
  it('is told by the bias supply, which gives more, with the figures for this set', () => {
    const run = gives(new MidStep(all(byBias('V1')), holds, 'hold'), 0.0095)
    expect(run.reason).toMatchObject({ code: 'drive-lost', rail: 'BIAS', measured: 0.0095, unit: 'A' })
    expect(run.reason?.limit).toBeCloseTo(0.008, 6)
    expect(run.reason?.text).toMatch(/^V1 has lost its drive: BIAS gives 9\.5 mA where 6 mA is expected/)
    // This set's preload is of a lower value: all its currents are less by a fifth.
    const less = gives(new MidStep(all(byBias('V1')), holds, 'hold', { rest: { BIAS: 0.8 } }), 0.007)
    expect(less.reason?.limit).toBeCloseTo(0.0064, 6)
    expect(gives(new MidStep(all(byBias('V1')), holds, 'hold'), 0.007).reason).toBeNull()
  })

  it('is told by a meter in the grid return, with what it should show', () => {
    const run = shows(new MidStep(all(byMeter), holds, 'hold'), 0.2)
    expect(run.reason).toMatchObject({ code: 'drive-lost', measured: 0.2, unit: 'V' })
    expect(run.reason?.limit).toBeCloseTo(0.3, 6)
    expect(run.reason?.text).toMatch(
      /^V1 has lost its drive: grid amps shows 200 mV where 500 mV is expected with drive and 100 mV without\..* 25 % of the 4 mA/,
    )
    expect(shows(new MidStep(all(byMeter), holds, 'hold'), 0.35).reason).toBeNull()
  })

  it('is nothing while HT is down', () => {
    for (const watch of [byMeter, byBias('V1')]) {
      const run = stands(all(watch), bias40, 'hold')
      gives(shows(run, 0.1), 0.0095)
      expect(run.reason).toBeNull()
    }
  })

  it('is believed after the time that the plan states for it', () => {
    const plan = all(byMeter)
    const slow = plan.rules.map((rule) => (rule.code === 'drive-lost' ? { ...rule, for_s: 2 } : rule))
    const run = new MidStep({ ...plan, rules: slow }, holds, 'hold').again(19, 0.1, shown('grid amps', 0.1))
    expect(run.reason).toBeNull()
    expect(run.again(3, 0.1, shown('grid amps', 0.1)).reason).toMatchObject({ code: 'drive-lost' })
  })

  it('is not counted in the two seconds after HT came to rest, and is from there', () => {
    const run = new MidStep(all(byMeter), at250, 'hold').justBegun()
    run.again(19, 0.1, shown('grid amps', 0.1))
    expect(run.reason).toBeNull()
    run.hear(0.1, shown('grid amps', 0.1)).hear(0.15, shown('grid amps', 0.1))
    expect(run.reason).toBeNull()
    expect(run.hear(0.15, shown('grid amps', 0.1)).reason).toMatchObject({ code: 'drive-lost' })
  })

  it('is no drive at all where the bias supply gives as little as with its lead off', () => {
    const run = gives(new MidStep(all(byBias('V1')), holds, 'hold'), 0.0001)
    expect(run.state.drive_seen).toEqual({})
    expect(gives(run, 0.006).state.drive_seen).toEqual({ V1: holds })
  })
})

describe('the stages that are watched', () => {
  /** V1 shows its grid current at 100 V, V2 at 250 V. */
  const plan = (more: Partial<Step> = { needs_drive: ['V1'] }): Plan =>
    keyed((_step, at) => ({
      ...(at === at100 && { drive: [byBias('V1')] }),
      ...(at === at250 && { drive: [byBias('V2')], ...more }),
    }))
  const lost = (run: MidStep): string | null => gives(run, 0.0095).reason?.text ?? null
  const rising = (of: Plan): MidStep =>
    new MidStep(of, at250, 'ramp', {
      pending: { 1: { channel: 'ht.1', request: { do: 'set', volts: 200 }, t_us: 1200e6 } },
    }).rail('HT', { set_V: 199 })

  it('are those of the step before while HT rises, and the step’s own once it stands', () => {
    expect(lost(rising(plan()))).toMatch(/^V1 has lost its drive/)
    for (const part of ['hold', 'settle'] as const)
      expect(lost(stands(plan(), at250, part))).toMatch(/^V2 has lost its drive/)
  })

  it('are none while HT rises in another mode, or in a step that does not count on them', () => {
    expect(lost(rising(plan({ needs_drive: ['V1'], mode: 'transmit' })))).toBeNull()
    expect(lost(rising(plan({})))).toBeNull()
    expect(lost(rising(keyed((_step, at) => (at === at250 ? { needs_drive: ['V1'] } : {}))))).toBeNull()
  })

  it('are the step’s own from its first moment where nothing rises in it', () => {
    expect(lost(new MidStep(all(byBias('V1')), holds, 'hold').justBegun())).toMatch(/^V1 has lost its drive/)
  })
})

describe('on the way down', () => {
  const down = (rest: number, mode = 'receive'): MidStep => {
    const made = all(byBias('V1'))
    const last = made.steps[holds]!
    const lower: Step = { ...last, do: 'lower', rail: 'HT', target_V: 30, index: 9, mode }
    const run = new MidStep({ ...made, steps: [...made.steps, lower] }, 8, 'arrive', { rest: { BIAS: rest } })
    return run.justBegun().rail('BIAS', { recent: [{ value: 0.0048, t_us: run.state.t_us - 19e6 }] })
  }

  it('HT takes its drive along: no loss of drive, and the bias supply gives more without a tube running away', () => {
    expect(gives(down(0.8), 0.0085).reason).toBeNull()
  })

  it('and more than a tenth above what this set’s bias supply gives with none of it is a rise', () => {
    expect(gives(down(0.8), 0.009).reason).toMatchObject({ code: 'rising', rail: 'BIAS' })
    expect(gives(down(1), 0.009).reason).toBeNull()
    expect(gives(down(1, 'standby'), 0.009).reason).toMatchObject({ code: 'rising', rail: 'BIAS' })
  })
})

describe('a rail that feeds the drivers', () => {
  const withDrive = (own: RailLimits = limitsAt(100, 0.02), at = holds): MidStep => {
    const plan = smallPlan((made) => {
      const HT = made.rails['HT']!
      const channels = HT.channels.map((part) => ({ ...part, channel: 'drive.1', port: 'drive' }))
      return {
        ...made,
        rails: { ...made.rails, DRIVE: { ...HT, name: 'DRIVE', role: 'drive' as const, channels } },
        steps: made.steps.map((step) => ({ ...step, limits: { ...step.limits, DRIVE: own } })),
      }
    })
    return new MidStep(plan, at, 'hold')
  }
  const draws = (run: MidStep, ampere: number): MidStep => run.again(10, 0.1, amps('drive.1', ampere))

  it('and draws what it should is no loss of drive', () => {
    expect(draws(withDrive(), 0.02).reason).toBeNull()
    expect(draws(withDrive(), 0.011).reason).toBeNull()
  })

  it('and draws less than half under HT has lost it', () => {
    const run = draws(withDrive(), 0.009)
    expect(run.reason).toMatchObject({ code: 'drive-lost', rail: 'DRIVE', measured: 0.009, unit: 'A' })
    expect(run.reason?.limit).toBeCloseTo(0.01, 6)
  })

  it('and stands at less than half of its volts under HT has lost it', () => {
    const run = withDrive().again(10, 0.1, volts('drive.1', 40))
    expect(run.reason).toMatchObject({
      code: 'drive-lost',
      rail: 'DRIVE',
      measured: 40,
      limit: 50,
      unit: 'V',
    })
  })

  it('is not judged by a current that its ammeter can hardly show: less than five last digits', () => {
    expect(draws(withDrive(limitsAt(100, 0.0004)), 0).reason).toBeNull()
    expect(draws(withDrive(limitsAt(100, 0.0005)), 0).reason).toMatchObject({ code: 'drive-lost' })
  })

  it('has nothing to lose while HT is down', () => {
    expect(draws(withDrive(limitsAt(100, 0.02), bias40), 0.001).reason).toBeNull()
  })
})

describe('heaters under HT', () => {
  it('may draw the least that passes unasked, and have opened below it', () => {
    const draws = (ampere: number): MidStep =>
      new MidStep(smallPlan(), holds, 'hold').again(10, 0.1, amps('lt.1', ampere))
    expect(draws(1.6).reason).toBeNull()
    expect(draws(1.59).reason).toMatchObject({ code: 'heater-lost', measured: 1.59, limit: 1.6, unit: 'A' })
  })
})
