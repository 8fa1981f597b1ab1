import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import { makePlan, type Plan, type Step } from '../../src/plan/index.js'
import { willing } from '../../src/rehearse/index.js'
import { soundBench, soundProfile, soundSet } from '../helpers/files.js'
import { rehearse } from '../helpers/replayed.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan, typedBias } from '../helpers/small-plan.js'

/* Hands go in where nothing stands above 60 V, whatever its role: a bias of 105 V and a heater string on 110 V too. */

function sound<T>(of: { readonly value: T | null; readonly problems: readonly unknown[] }): T {
  if (of.value === null) throw new Error(JSON.stringify(of.problems))
  return of.value
}
/** The small sound set with its bias at 105 V, and its one tube in a string on 110 V. */
const equipment = sound(
  fromText(
    soundSet
      .replace('working: 12.6 V\n    max: { value: 14 V', 'working: 110 V\n    max: { value: 120 V')
      .replace('working: 60 V\n    max: { value: 80 V', 'working: 105 V\n    max: { value: 150 V')
      .replace('at_least: -50 V, nominal: -59 V', 'at_least: -90 V, nominal: -104 V')
      .replace(
        'R90: { kind: heater resistor, value: 14 Ω, rated: 5 W }',
        'R90: { kind: heater resistor, value: 230 Ω, rated: 100 W }',
      )
      .replace('series: [V1, R90]', 'series: [R90, V1]'),
    'equipment.yaml',
    'equipment',
  ),
)
const bench = sound(
  fromText(
    soundBench
      .replace('kind: real', 'kind: virtual\nequipment: equipment.yaml\nseed: 3')
      .replaceAll(/line: \{ kind: serial[^}]*\}/g, 'line: { kind: virtual, as: pty }')
      .replace('max_volts: 30 V', 'max_volts: 130 V\n        bleeder: 22k')
      .replace('max_volts: 80 V', 'max_volts: 130 V\n        bleeder: 33k'),
    'bench.yaml',
    'bench',
  ),
)
const profileOf = (stages: string) =>
  sound(
    fromText(
      soundProfile
        .replace('to: 12.6 V, hold: 30 s', 'to: 110 V, slew: 20 V/s, hold: 20 s')
        .replace(/ {2}- \{ do: ramp, rail: HT.*\n/, stages),
      'profile.yaml',
      'profile',
    ),
  )
const up = '  - { do: ramp, rail: HT, to: [30 V, 100 V], slew: 5 V/s, hold: 5 s, settle_within: 10 s }\n'
const cathode =
  '  - { do: ask, name: cathode, text: "Read the cathode of V1.", reading: { node: v1 cathode, unit: V } }\n'
const planOf = (stages: string): Plan => {
  const { plan, problems } = makePlan(profileOf(stages), equipment, bench)
  if (plan === null) throw new Error(problems.map(({ what, remedy }) => `${what} ${remedy}`).join('\n'))
  return plan
}
/** Rails above the touch limit where a hand is asked in: what each such question is about, and which stand. */
function standing({ steps }: Plan): string[] {
  const volts: Record<string, number> = {}
  return steps.flatMap(({ do: does, rail, target_V, ask }) => {
    if (rail !== null && (does === 'raise' || does === 'lower')) volts[rail] = target_V
    const above = Object.entries(volts).flatMap(([name, V]) => (V > 60 ? [name] : []))
    return ask?.inside === true ? [`${ask.about}: ${above.join(', ')}`] : []
  })
}
const moves = (steps: readonly Step[]): string[] =>
  steps.flatMap(({ do: does, rail, target_V, ask }) =>
    does === 'raise' || does === 'lower'
      ? [`${does} ${rail ?? ''} ${target_V}`]
      : ask === null
        ? []
        : [ask.inside ? 'reach in' : 'read'],
  )

describe('a plan with a bias of 105 V and heaters on 110 V', () => {
  it('takes them down with HT for a hand inside, HT first, and brings them back before it', () => {
    const plan = planOf(up + cathode)
    expect(standing(plan)).toEqual(['mode: ', 'inside: ', 'inside: '])
    const from = plan.steps.findIndex(({ do: does }) => does === 'lower')
    const around = ['lower HT 0', 'lower bias 0', 'lower heaters 0', 'reach in']
    const back = ['raise heaters 110', 'raise bias 105', 'raise HT 30', 'raise HT 100']
    expect(moves(plan.steps.slice(from))).toEqual([...around, ...back, 'read', ...around, ...back])
    const reach = plan.steps.find(({ ask }) => ask?.about === 'inside')?.ask
    expect(reach?.text).toContain('HT, heaters and bias are down; measure before touching.')
    // Heaters warm again in their own time, whatever is said of the holds of HT.
    const warm = plan.steps.slice(from).find(({ rail, do: does }) => rail === 'heaters' && does === 'raise')
    expect(warm).toMatchObject({ hold_s: 20, hands_clear: true })
  })
  it('does so before HT is up at all, and says what stands where a question keeps hands out', () => {
    const early = cathode.replace('unit: V }', 'unit: V, low: -1 V, high: 1 V }')
    const before = planOf(early + up)
    expect(standing(before).every((each) => each.endsWith(': '))).toBe(true)
    expect(moves(before.steps)).toContain('read')
    const outside = planOf('  - { do: ask, name: look, text: "Does it glow?" }\n' + up)
    const asked = outside.steps.find(({ ask }) => ask?.about === 'reading')?.ask
    expect(asked?.text).toContain('no hand, probe, clip or tool goes in')
    expect(outside.steps.some(({ do: does }) => does === 'lower')).toBe(false)
  })
  it('does so where controls inside are set, in a mode that follows', () => {
    const plan = planOf(`${up}  - { do: mode, mode: receive }\n`)
    expect(standing(plan).every((each) => each.endsWith(': '))).toBe(true)
    const text = plan.steps.find(({ ask }) => ask?.about === 'mode')?.ask?.text
    expect(text).toContain('Nothing above 60 V stands')
  })
  it('runs to its end on a virtual bench, with next to nothing on any rail wherever a hand goes in', () => {
    const plan = planOf(up + cathode)
    const reached: string[] = []
    const { ending } = rehearse(plan, equipment, bench, {
      seed: 3,
      faults: [],
      record: () => undefined,
      operator: (ask, at) => {
        if (ask.inside) reached.push(ask.about)
        return willing(ask, at)
      },
    })
    expect(ending.reason?.text ?? 'none').toBe('none')
    expect(ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
    expect(reached.filter((about) => about === 'inside')).toHaveLength(2)
  })
})

describe('the guard in a run', () => {
  const inside = (index: number, limits: Step['limits']): Step => {
    const ask = smallPlan().steps[7]!
    return {
      ...ask,
      ...{ do: 'ask', stage: 'a look inside', index, hold_s: 0, settle_within_s: 0, limits },
      ask: { text: 'Look.', wants: { kind: 'confirm' }, timeout_s: 0, inside: true, about: 'inside' },
    }
  }
  /** Up to the bias, one rail of them high, then a hand inside. */
  const reaching = (high: 'LT' | 'BIAS', lower: boolean): Plan =>
    smallPlan((plan) => {
      const V = high === 'LT' ? 110 : 105
      const of = plan.rails[high]!
      const limits =
        high === 'LT' ? { LT: limitsAt(V, 3.7) } : { LT: limitsAt(12, 0.4), BIAS: limitsAt(V, 0.0263) }
      const channels = of.channels.map((part) => ({ ...part, max_V: 150 }))
      const steps = plan.steps.slice(0, 5).map((step) => ({
        ...step,
        ...(step.hookup?.rail === 'LT' && { hookup: { ...step.hookup, ohm_low: 15, ohm_high: 60 } }),
        ...(step.rail === high && step.do === 'raise' && { target_V: V, slew_V_per_s: 20 }),
        limits: Object.fromEntries(
          Object.entries({ ...step.limits, ...limits }).filter(([name]) => step.limits[name] !== undefined),
        ),
      }))
      const last = steps[4]!
      const down: Step[] = lower ? [{ ...last, do: 'lower', rail: high, target_V: 0, index: 6 }] : []
      return {
        ...plan,
        rails: { ...plan.rails, [high]: { ...of, max_V: 150, channels } },
        steps: [...steps, ...down, inside(6 + down.length, last.limits)],
      }
    })
  const rig = (plan: Plan): Rig => {
    const made = new Rig(plan)
    made.ohm['LT'] = 30
    made.ohm['BIAS'] = 4000
    return made.start()
  }
  it.each(['LT', 'BIAS'] as const)(
    'asks nobody in while %s stands above 60 V, and does once it is down',
    (high) => {
      const { reason, outcome } = rig(reaching(high, false)).toTheEnd()
      expect([outcome, reason?.code]).toEqual(['failed', 'invariant'])
      expect(reason?.text).toContain(`a hand inside the set while ${high} stands above 60 V`)
      const well = rig(reaching(high, true))
      expect(well.toTheEnd().reason?.text ?? 'none').toBe('none')
      expect(well.asked()).toContain('inside')
    },
  )
  it('nobody reaches for the node of a bias while heaters stand high; one that was taken down is typed anew', () => {
    const high = { LT: limitsAt(110, 3.7) }
    const plan = typedBias(
      smallPlan((base) => {
        const LT = base.rails['LT']!
        const [up, bias, HT, ...rest] = base.steps
          .slice(3)
          .map((step) => ({ ...step, limits: { ...step.limits, ...high } }))
        const raise = { ...up!, target_V: 110, slew_V_per_s: 20 }
        const around = [
          HT!,
          { ...HT!, do: 'lower' as const, target_V: 0 },
          { ...bias!, do: 'lower' as const, target_V: 0 },
        ]
        const steps = [...base.steps.slice(0, 3), raise, bias!, ...around, bias!, HT!, ...rest]
        return {
          ...base,
          heaters: base.heaters.map((watch) => ({ ...watch, volts: 110 })),
          rails: {
            ...base.rails,
            LT: { ...LT, max_V: 150, channels: LT.channels.map((part) => ({ ...part, max_V: 150 })) },
          },
          steps: steps.map((step, at) => ({
            ...step,
            index: at + 1,
            hookup: step.hookup?.rail === 'LT' ? { ...step.hookup, ohm_low: 15, ohm_high: 60 } : step.hookup,
          })),
        }
      }),
    )
    const made = rig(plan)
    expect(made.toTheEnd().reason?.text ?? 'none').toBe('none')
    const typed = made.commands.flatMap((command) =>
      command.kind === 'prompt' && command.ask.about === 'bias before HT' ? [command.ask.text] : [],
    )
    expect(typed).toHaveLength(2)
    expect(typed[0]).toContain('answer no: nobody reaches for grid while LT is above 60 V')
  })
})
