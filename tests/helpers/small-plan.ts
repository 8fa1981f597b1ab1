import type { ChannelPlan, Plan, RailLimits, RailPlan, Step } from '../../src/plan/index.js'
import { ruleCodes } from '../../src/plan/index.js'

/** A plan small enough to follow by hand: heaters 12 V, bias 40 V, HT to 250 V. All figures invented. */

const channel = (name: string, max_V: number, max_A: number, off_order: number): ChannelPlan => ({
  channel: name,
  port: name.split('.')[0] ?? name,
  share: 1,
  set_digits_V: 1,
  set_digits_A: 3,
  min_V: 0,
  min_A: 0.001,
  max_V,
  max_A,
  resolution_V: 0.1,
  resolution_A: 0.0001,
  accuracy_V: { of_reading: 0.001, plus: 0.1 },
  accuracy_A: { of_reading: 0.002, plus: 0.0002 },
  over_voltage: true,
  over_voltage_margin_V: 1,
  off_order,
})

const rail = (
  name: string,
  role: RailPlan['role'],
  max_V: number,
  max_A: number,
  off_order: number,
): RailPlan => ({
  name,
  role,
  class: 'programmed',
  channels: [channel(`${name.toLowerCase()}.1`, max_V, max_A, off_order)],
  volts_meter: null,
  amps_meter: null,
  positive: `${name}+`,
  negative: 'chassis',
  max_V,
  bias: null,
  discharge: { ohm: 22_000, F: 50e-6, through: 'the bench bleeder' },
  can: [],
  cannot: [],
})

export const limitsAt = (at_V: number, expected_A: number, over: Partial<RailLimits> = {}): RailLimits => ({
  at_V,
  expected_A,
  lower_A: expected_A * 0.7,
  upper_A: expected_A * 1.3,
  ask_A: expected_A * 0.4,
  trip_A: expected_A * 1.6,
  ceiling_A: expected_A * 2,
  charge_A: 0.001,
  supply_limit_A: expected_A * 1.8,
  over_voltage_V: at_V * 1.05 + 1,
  because: [
    {
      limit: 'trip',
      value: expected_A * 1.6,
      unit: 'A',
      text: `trip ${expected_A * 1.6} A: invented for this test`,
      source: 'invented',
    },
    {
      limit: 'ceiling',
      value: expected_A * 2,
      unit: 'A',
      text: `ceiling ${expected_A * 2} A: invented for this test`,
      source: 'invented',
    },
  ],
  sees: null,
  ...over,
})

/** Loads of the small set, ohm. */
export const load_ohm: Readonly<Record<string, number>> = { LT: 3, BIAS: 4000, HT: 5000 }

const steady: Record<string, RailLimits> = { LT: limitsAt(12, 4), BIAS: limitsAt(40, 0.01) }

const base: Omit<Step, 'index' | 'do' | 'rail' | 'stage'> = {
  mode: 'receive',
  target_V: 0,
  slew_V_per_s: 5,
  hold_s: 2,
  settle_within_s: 30,
  limits: {},
  hookup: null,
  ask: null,
  nodes: {},
  soft_start_s: 0,
  needs_heaters: false,
  needs_bias: false,
  needs_plate: null,
  hands_clear: false,
  expected_s: 10,
}

const hookup = (name: string, node: string, sign: 1 | -1): Omit<Step, 'index'> => ({
  ...base,
  stage: `hook-up ${name}`,
  do: 'hook-up check',
  rail: name,
  hookup: {
    rail: name,
    channel: `${name.toLowerCase()}.1`,
    method: 'low volts',
    test_V: 3,
    limit_A: name === 'LT' ? 2 : 0.005,
    ohm_low: (load_ohm[name] ?? 1) * 0.5,
    ohm_high: (load_ohm[name] ?? 1) * 2,
    may_limit: name === 'LT',
    polarity: { node, sign, low_V: sign > 0 ? 0.5 : -4, high_V: sign > 0 ? 4 : -0.5, meter: null },
    because: 'Invented for this test.',
  },
})

const steps: Omit<Step, 'index'>[] = [
  hookup('LT', 'LT+', 1),
  hookup('BIAS', 'grid', -1),
  hookup('HT', 'HT+', 1),
  {
    ...base,
    stage: 'heaters',
    do: 'raise',
    rail: 'LT',
    target_V: 12,
    soft_start_s: 20,
    limits: { LT: limitsAt(12, 4) },
  },
  { ...base, stage: 'bias', do: 'raise', rail: 'BIAS', target_V: 40, limits: { ...steady } },
  {
    ...base,
    stage: 'HT 100 V',
    do: 'raise',
    rail: 'HT',
    target_V: 100,
    slew_V_per_s: 20,
    needs_heaters: true,
    needs_bias: true,
    hands_clear: true,
    limits: { ...steady, HT: limitsAt(100, 0.02) },
  },
  {
    ...base,
    stage: 'HT 250 V',
    do: 'raise',
    rail: 'HT',
    target_V: 250,
    slew_V_per_s: 20,
    needs_heaters: true,
    needs_bias: true,
    limits: { ...steady, HT: limitsAt(250, 0.05) },
  },
  {
    ...base,
    stage: 'hold',
    do: 'hold',
    rail: null,
    hold_s: 30,
    limits: { ...steady, HT: limitsAt(250, 0.05) },
  },
]

export function smallPlan(change: (plan: Plan) => Plan = (plan) => plan): Plan {
  const rails: Record<string, RailPlan> = {
    LT: { ...rail('LT', 'heater', 15, 10, 2), discharge: null },
    BIAS: {
      ...rail('BIAS', 'bias', 60, 0.1, 3),
      bias: {
        node: 'grid',
        at_least_V: 30,
        nominal_V: 40,
        sign: -1,
        meter: 'grid meter',
        preload_A: 0.01,
        source: 'Invented for this test.',
      },
    },
    HT: rail('HT', 'HT', 300, 0.2, 1),
  }
  return withOff(
    change({
      format: 'slowglow plan 1',
      equipment: 'a small set',
      profile: 'small',
      bench: 'small bench',
      bench_kind: 'virtual',
      kind: 'receive',
      level: 3,
      hash: '',
      rails,
      meters: {
        'grid meter': {
          name: 'grid meter',
          port: 'grid meter',
          measures: 'V',
          at: 'grid',
          against: 'chassis',
          rail: null,
          ohm: 10e6,
          resolution: 0.1,
          accuracy: { of_reading: 0.01, plus: 0.1 },
        },
      },
      hookup: [],
      prove_dead: [{ rail: 'HT', node: 'HT+', at: 'the reservoir (HT+)' }],
      wires: [
        { of: 'HT', text: 'pull V2' },
        { of: 'HT', text: 'positive lead of ht.1 to HT+' },
        { of: 'HT', text: 'negative lead of ht.1 to chassis' },
      ],
      unproved: [],
      steps: steps.map((step, index) => ({ ...step, index: index + 1 })),
      rules: ruleCodes.map((code) => ({
        code,
        text: code,
        ...(thresholds[code] ?? plain),
        unit: '',
        source: 'architecture',
      })),
      off: {
        format: 'slowglow off 1',
        channels: [],
        knobs: [],
        heaters_off_after_s: 30,
        stale_s: 1,
        bias_release: { below_V: 60, discharge_s: 20, cathodes_cold_s: 300, only_wire_between: true },
      },
      figures: {
        highest_V: 250,
        stored_J: 1.6,
        stored_where: 'HT',
        discharge_s: 20,
        hazards: [],
        unattended: false,
      },
      heaters: [
        {
          chain: 'H1',
          rail: 'LT',
          volts: 12,
          warm_up_s: 30,
          tubes: ['V1'],
          source: 'common practice, no source',
        },
      ],
      time_budget_s: 3600,
      prompt_timeout_s: 600,
      expected_s: 200,
      stale_s: 1,
    } satisfies Plan),
  )
}

/** The off plan of the rails as they are after the change. */
function withOff(plan: Plan): Plan {
  const rails = Object.values(plan.rails)
  const onLine = (meter: string | null): string | null =>
    meter !== null && plan.meters[meter]?.port != null ? meter : null
  return {
    ...plan,
    off: {
      ...plan.off,
      channels: rails.flatMap((one) =>
        one.channels.map((part) => ({
          channel: part.channel,
          port: part.port,
          rail: one.name,
          role: one.role,
          off_order: part.off_order,
          off_text: '',
          expected_fall: one.discharge && { ohm: one.discharge.ohm, F: one.discharge.F },
          resolution_V: part.resolution_V,
          resolution_A: part.resolution_A,
          zero_A: part.accuracy_A.plus,
        })),
      ),
      knobs: rails.flatMap((one) =>
        one.class === 'programmed'
          ? []
          : [
              {
                rail: one.name,
                role: one.role,
                class: one.class,
                volts_meter: onLine(one.volts_meter),
                amps_meter: onLine(one.amps_meter),
                no_A: 0.001,
              },
            ],
      ),
    },
  }
}

const plain = { warn: null, trip: 1, for_s: 0.3 }
const thresholds: Partial<Record<string, { warn: number | null; trip: number | null; for_s: number }>> = {
  ...Object.fromEntries(ruleCodes.map((code) => [code, plain])),
  rising: { warn: null, trip: 0.03, for_s: 20 },
  'off-set-point': { warn: null, trip: 0.02, for_s: 0.3 },
  'slow-rise': { warn: null, trip: 0.5, for_s: 5 },
  'error-integral': { warn: null, trip: 0.1, for_s: 0 },
  'drive-lost': { warn: null, trip: 0.5, for_s: 0.3 },
  'plate-lost': { warn: null, trip: 0.25, for_s: 0.3 },
  'recorder-lost': { warn: 2, trip: 10, for_s: 0 },
  'late-tick': { warn: 0.25, trip: 0.5, for_s: 0 },
  slept: { warn: null, trip: 0.5, for_s: 0 },
}

/** The same plan with these rails on a person's own knob, read by the person. */
export const byHand =
  (...names: readonly string[]) =>
  (plan: Plan): Plan => ({
    ...plan,
    rails: Object.fromEntries(
      Object.entries(plan.rails).map(([name, each]) => [
        name,
        names.includes(name) ? { ...each, class: 'hand' as const, channels: [] } : each,
      ]),
    ),
    steps: plan.steps.map((step) =>
      step.hookup && names.includes(step.hookup.rail)
        ? { ...step, hookup: { ...step.hookup, channel: '', method: 'ohmmeter' as const } }
        : step,
    ),
  })

/** The same plan with no meter on a line at the grid: the bias is typed. */
export const typedBias = (plan: Plan): Plan => ({
  ...plan,
  rails: Object.fromEntries(
    Object.entries(plan.rails).map(([name, each]) => [
      name,
      each.bias ? { ...each, bias: { ...each.bias, meter: null } } : each,
    ]),
  ),
})
