import { describe, expect, it } from 'vitest'
import { groundGraph } from '../../src/bench/index.js'
import { planPage } from '../../src/cli/plan-text.js'
import { type Equipment, filamentOf, toNetwork } from '../../src/equipment/index.js'
import { fromText, type Loaded } from '../../src/files/index.js'
import { networkReadings } from '../../src/limits/index.js'
import { createSolver } from '../../src/network/index.js'
import { makePlan } from '../../src/plan/index.js'
import type { Profile } from '../../src/profile/index.js'
import { findTube } from '../../src/tubes/index.js'
import { changed } from '../helpers/files.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/** A battery receiver with its three filaments in series, 5.6 V 50 mA. Invented. */
const portable = `slowglow: equipment 1
name: battery portable
chassis: isolated
modes:
  receive: {}
rails:
  filaments:
    role: heater
    positive: A plus
    negative: chassis
    working: 5.6 V
    max: { value: 6 V, source: invented }
    feeds: { positive_at: battery plug 1, negative_at: battery plug 2 }
    winding_connected: false
  HT:
    role: HT
    positive: B plus
    negative: chassis
    working: 90 V
    max: { value: 100 V, source: invented }
    feeds: { positive_at: battery plug 3, negative_at: battery plug 2 }
parts:
  C1: { kind: capacitor, between: [B plus, chassis], value: 8 µF, rated: 150 V, dielectric: electrolytic }
  R1: { kind: resistor, between: [B plus, v1 plate], value: 4k7 }
  R2: { kind: resistor, between: [B plus, v1 screen], value: 33k }
  R3: { kind: resistor, between: [v1 grid, chassis], value: 1M }
  R4: { kind: resistor, between: [B plus, v2 plate], value: 4k7 }
  R5: { kind: resistor, between: [B plus, v2 screen], value: 33k }
  R6: { kind: resistor, between: [v2 grid, chassis], value: 1M }
  R7: { kind: resistor, between: [B plus, v3 plate], value: 1k }
  R10: { kind: resistor, between: [B plus, v3 screen], value: 33k }
  R8: { kind: resistor, between: [v3 grid, chassis], value: 1M }
tubes:
  V1: { type: 1T4, does: first IF, plate: v1 plate, screen: v1 screen, grid: v1 grid, cathode: chassis }
  V2: { type: 1T4, does: second IF, plate: v2 plate, screen: v2 screen, grid: v2 grid, cathode: chassis }
  V3: { type: 3S4, does: output, plate: v3 plate, screen: v3 screen, grid: v3 grid, cathode: chassis }
heater_chains:
  string: { rail: filaments, series: [V3, V2, V1] }
`
const channel = (feeds: string, role: string, volts: string, amps: string): string => `
        feeds: ${feeds}
        role: ${role}
        max_volts: ${volts}
        max_amps: ${amps}
        resolution_volts: 10 mV
        resolution_amps: 10 µA
        accuracy_volts: { of_reading: 0.1 %, plus: 10 mV }
        accuracy_amps: { of_reading: 0.1 %, plus: 20 µA }
        over_voltage: true
        output_capacitance: 47 µF`
const bench = `slowglow: bench 1
name: two supplies
kind: virtual
equipment: equipment.yaml
seed: 1
supplies:
  high:
    line: { kind: virtual, as: pty }
    isolation: 600 V
    interface_isolated: yes
    channels:
      out:${channel('HT', 'HT', '150 V', '200 mA')}
        bleeder: 22k
  low:
    line: { kind: virtual, as: pty }
    isolation: 250 V
    interface_isolated: yes
    channels:
      out:${channel('filaments', 'heater', '10 V', '2 A')}
`
const profileWith = (stages: string): string => `slowglow: profile 1
name: battery
kind: receive
equipment: equipment.yaml
bench: bench.yaml
mode: receive
stages:
  - { do: hook-up check }
${stages}
  - { do: ramp, rail: HT, to: [45 V, 90 V], slew: 2 V/s, hold: 30 s }
`

function value<T>({ value, problems }: Loaded<T>): T {
  if (value === null) throw new Error(problems.map(({ what, remedy }) => `${what}; ${remedy}`).join('\n'))
  return value
}
const set = (text: string): Equipment => value(fromText(text, 'equipment.yaml', 'equipment'))
const profile = (stages: string): Profile => value(fromText(profileWith(stages), 'profile.yaml', 'profile'))
const table = value(fromText(bench, 'bench.yaml', 'bench'))
const errorsOf = (stages: string): string =>
  makePlan(profile(stages), set(portable), table)
    .problems.filter(({ severity }) => severity === 'error')
    .map(({ what, remedy }) => `${what} ${remedy}`)
    .join('\n')

describe('filaments in series on direct current', () => {
  const equipment = set(portable)
  it('stand above the chassis by what lies below them, and below it when the leads are exchanged', () => {
    const of = (part: string) => filamentOf(equipment, part, 'chassis')
    expect(of('V1')).toMatchObject({ reference: 'negative end', reference_V: 0, exchanged_V: -1.4 })
    expect(of('V2')?.reference_V).toBeCloseTo(1.4)
    expect(of('V2')?.exchanged_V).toBeCloseTo(-2.8)
    expect(of('V3')?.reference_V).toBeCloseTo(2.8)
    expect(of('V3')?.exchanged_V).toBeCloseTo(-5.6)
    expect(of('V1')?.above).toEqual(['V3', 'V2'])
  })
  it('bias the stages: each of two like tubes draws by its place in the string', () => {
    const feeds = { HT: { V: 90, limit_A: 1, ohm: 0.1 } }
    const solve = (exchanged: boolean) =>
      createSolver(
        toNetwork(equipment, 'receive', feeds, { heaters: false, exchanged: () => exchanged }),
      ).solve()
    const plate = (part: string, exchanged = false): number => solve(exchanged).currents[part]?.plate ?? NaN
    expect(plate('V1')).toBeGreaterThan(1.3 * plate('V2'))
    expect(plate('V3', true)).toBeGreaterThan(plate('V3'))
  })
  it('of a set made for batteries ask for no mains plug, but for its batteries out and its chassis earthed as every other', () => {
    const wires = (text: string): string =>
      makePlan(profile('  - { do: ramp, rail: filaments, to: 5.6 V }'), set(text), table)
        .plan?.wires.map((wire) => wire.text)
        .join('\n') ?? ''
    const batteries = portable.replace('chassis: isolated', 'chassis: isolated\npower: battery')
    expect(wires(portable)).toMatch(/mains plug is out/)
    expect(wires(batteries)).toMatch(/own batteries are out/)
    expect(wires(batteries)).toMatch(/protective earth/)
    expect(wires(batteries)).not.toMatch(/mains plug/)
  })
  it('are told in the plan stage by stage, with the plate current both ways', () => {
    const stages = '  - { do: ramp, rail: filaments, to: 5.6 V, slew: 500 mV/s, hold: 30 s }'
    const { plan, problems } = makePlan(profile(stages), equipment, table)
    if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
    expect(plan.filaments?.map(({ part }) => part)).toEqual(['V1', 'V2', 'V3'])
    expect(planPage(plan).replaceAll(/\s+/g, ' ')).toMatch(
      /V2 \(1T4, second IF\): .*negative end of its 1\.4 V filament.* stands 1\.4 V above chassis: 1\.4 V more grid bias.*plate [\d.]+ .A\. With the leads exchanged it stands 2\.8 V below chassis: plate [\d.]+ mA/,
    )
    expect(plan.filaments?.[0]?.text).toMatch(/of V3, V2 returns through it, beside the 50 mA of the chain/)
  })
})

it('counts where filaments stand when a handbook chart is held against the circuit', () => {
  const alone = set(portable)
  const chart = (volts: number): Equipment =>
    set(
      `${portable}charts:\n  source: invented\n  ohms_per_volt: 20 kΩ\n  within: 5 %\n  voltages:\n    - { node: v2 screen, mode: receive, volts: ${volts} V }\n`,
    )
  const solved = createSolver(
    toNetwork(alone, 'receive', { HT: { V: 90, limit_A: 1, ohm: 0.1 } }, { heaters: false }),
  ).solve()
  const open_V = solved.volts['v2 screen'] ?? 0
  const [reading] = networkReadings(chart(Math.round(open_V)), 'receive')
  expect(reading?.open_V).toBeCloseTo(open_V, 2)
})

describe('a filament whose sheet counts from its middle', () => {
  const text = changed(
    changed(portable, {
      from: '  V3: { type: 3S4, does: output, plate: v3 plate, screen: v3 screen, grid: v3 grid, cathode: chassis }',
      to: '  V5: { type: 6V6GT, pulled: true, plate: B plus, screen: v3 screen, grid: v3 grid, cathode: chassis }\n  V3: { type: "2A3", plate: v3 plate, grid: v3 grid, cathode: chassis }\n  V4: { type: "2A3", plate: B plus, grid: v3 grid, cathode: v4 return }',
    }),
    {
      from: 'series: [V3, V2, V1] }',
      to: 'series: [V2, V1, D1] }\n  other: { rail: filaments, series: [V4, V3, D2] }',
    },
  )
  const equipment = set(
    changed(text, {
      from: 'parts:\n',
      to: 'parts:\n  D1: { kind: heater resistor, value: 56 Ω }\n  D2: { kind: heater resistor, value: 240 mΩ }\n  R9: { kind: resistor, between: [v4 return, chassis], value: 1k, rated: 2 W }\n',
    }),
  )
  it('stands half its volts above its negative end, and the current is that of a grid and plate so much lower', () => {
    const bias = filamentOf(equipment, 'V3', 'chassis')
    expect(bias?.reference_V).toBeCloseTo(0.6 + 1.25)
    const feeds = { HT: { V: 90, limit_A: 1, ohm: 0.1 } }
    const solver = createSolver(toNetwork(equipment, 'receive', feeds, { heaters: false }))
    const solution = solver.solve()
    const model = findTube('2A3').found?.sections[0]?.model
    if (model?.form !== 'triode') throw new Error('2A3 has no curves')
    const up_V = bias?.reference_V ?? 0
    const lower = createSolver({
      ground: 'chassis',
      elements: [
        {
          kind: 'supply',
          name: 'B',
          a: 'p',
          b: 'chassis',
          V: (solution.volts['v3 plate'] ?? 0) - up_V,
          limit_A: 9,
          ohm: 1e-3,
        },
        { kind: 'supply', name: 'C', a: 'chassis', b: 'g', V: up_V, limit_A: 9, ohm: 1e-3 },
        { kind: 'triode', name: 'V', plate: 'p', grid: 'g', cathode: 'chassis', model, emission: 1, gas: 0 },
      ],
    }).solve()
    expect(solution.currents['V3']?.plate).toBeCloseTo(lower.currents['V']?.plate ?? NaN, 5)
  })
  it('with a return of its own is taken as the middle that return stands for', () => {
    expect(filamentOf(equipment, 'V4', 'v4 return')).toBeNull()
  })
})

describe('a filament below its volts', () => {
  it('may not be held there for more than two minutes', () => {
    expect(
      errorsOf('  - { do: ramp, rail: filaments, to: [3 V, 5.6 V], slew: 500 mV/s, hold: 3 min }'),
    ).toMatch(/keeps 3 V on filaments, 54 % of the 5\.6 V .* 2 min at most/)
  })
  it('is stepped through with what the plan fills in, inside those two minutes', () => {
    const stages = '  - { do: ramp, rail: filaments, to: [3 V, 5.6 V], slew: 500 mV/s, hold: 30 s }'
    const { plan } = makePlan(profile(stages), set(portable), table)
    const step = plan?.steps.find(({ do: what, target_V }) => what === 'raise' && target_V === 3)
    expect(step?.filaments_low).toBe(true)
    expect((step?.hold_s ?? 0) + (step?.settle_within_s ?? 0)).toBeLessThanOrEqual(120)
  })
  it('is not crept up to, asked about, or given HT', () => {
    expect(errorsOf('  - { do: ramp, rail: filaments, to: 5.6 V, slew: 10 mV/s, hold: 30 s }')).toMatch(
      /takes 7\.467 min to bring the filaments on filaments to 80 %/,
    )
    expect(
      errorsOf(
        '  - { do: ramp, rail: filaments, to: 3 V, slew: 500 mV/s, hold: 30 s }\n  - { do: ask, name: glow, text: "Does V1 glow?" }',
      ),
    ).toMatch(/asks a question with 3 V on filaments/)
    expect(errorsOf('  - { do: ramp, rail: filaments, to: 3 V, slew: 500 mV/s, hold: 30 s }')).toMatch(
      /raises HT with 3 V on filaments/,
    )
  })
  it('is not kept there by a question that nobody answers: two minutes, not ten', () => {
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        prompt_timeout_s: 600,
        steps: plan.steps.map((step) =>
          step.stage === 'heaters'
            ? { ...step, filaments_low: true, limits: { LT: limitsAt(12, 5, { ask_A: 4.5 }) } }
            : step,
        ),
      })),
    )
    rig.unanswered = /below-ask/
    rig.start().until('the question', () => rig.state.prompt?.purpose.kind === 'weak')
    const asked_us = rig.t_us
    rig.toTheEnd()
    expect(rig.ending?.reason?.code).toBe('prompt-timeout')
    expect((rig.t_us - asked_us) / 1e6).toBeLessThan(200)
  })
})

describe('a heater rail whose middle is at chassis', () => {
  const middle = changed(
    changed(portable, {
      from: 'positive: A plus\n    negative: chassis',
      to: 'positive: A plus\n    negative: A minus',
    }),
    {
      from: 'battery plug 2 }\n    winding_connected: false',
      to: 'battery plug 2 }\n    winding_connected: false\n    earthed_at: centre tap',
    },
  )
  const joined = middle.replaceAll('cathode: chassis', 'cathode: A minus')
  it('refuses a supply whose negative is earthed, and says what to do', () => {
    const earthed = value(
      fromText(
        changed(bench, {
          from: '  low:\n    line: { kind: virtual, as: pty }',
          to: '  low:\n    line: { kind: virtual, as: pty }\n    earthed_negative: true',
        }),
        'bench.yaml',
        'bench',
      ),
    )
    const equipment = set(joined)
    const told = groundGraph(equipment, earthed).map(({ what, remedy }) => `${what} ${remedy}`)
    expect(told.join('\n')).toMatch(
      /negative of low\.out is joined to earth, and its centre tap joins the middle of rail filaments to chassis.*half of it.*lift the earth link of low/,
    )
    expect(groundGraph(equipment, table).filter(({ what }) => what.includes('centre tap'))).toEqual([])
  })
  it('refuses one side at chassis, by a stated centre tap or a hum potentiometer of the file', () => {
    const stated = changed(portable, {
      from: 'winding_connected: false\n  HT',
      to: 'winding_connected: false\n    earthed_at: centre tap\n  HT',
    })
    const pot = changed(portable, {
      from: 'parts:\n',
      to: 'parts:\n  P1: { kind: potentiometer, ends: [A plus, chassis], wiper: chassis, value: 50R, position: 50 % }\n',
    })
    for (const text of [stated, pot]) {
      const { problems } = fromText(text, 'equipment.yaml', 'equipment')
      expect(problems.map(({ what }) => what).join('\n')).toMatch(
        /one side of rail filaments is the chassis, and (its centre tap|hum potentiometer P1) joins its middle/,
      )
    }
  })
})
