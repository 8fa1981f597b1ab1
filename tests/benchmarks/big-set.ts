import type { Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { fromText, type Loaded } from '../../src/files/index.js'
import type { Profile } from '../../src/profile/index.js'

/**
 * A set of as many tubes as wanted, to see how planning grows: resistance-coupled pentodes, five to a decoupled branch,
 * heaters in parallel. Invented for this measurement; no such set exists.
 */
export function bigSet(tubes: number): {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
} {
  const stages = Array.from({ length: tubes }, (_, at) => at + 1)
  const branches = Array.from({ length: Math.ceil(tubes / 5) }, (_, at) => at + 1)
  const branchOf = (stage: number): string => `branch ${Math.ceil(stage / 5)}`
  const equipment = `slowglow: equipment 1
name: set of ${tubes} tubes
chassis: isolated
modes:
  receive: { controls: { gain: full } }
rails:
  heaters:
    role: heater
    positive: heater line
    negative: chassis
    working: 6.3 V
    max: { value: 6.9 V, source: invented }
    feeds: { positive_at: terminal A, negative_at: terminal B }
    winding_connected: false
  HT:
    role: HT
    positive: reservoir
    negative: chassis
    working: 250 V
    max: { value: 300 V, source: invented }
    feeds: { positive_at: terminal C, negative_at: terminal B }
parts:
  C1: { kind: capacitor, between: [reservoir, chassis], value: 32 µF, rated: 450 V, dielectric: electrolytic }
  RB: { kind: resistor, between: [reservoir, chassis], value: 47k, rated: 10 W }
${branches
  .map(
    (
      branch,
    ) => `  RD${branch}: { kind: resistor, between: [reservoir, branch ${branch}], value: 1k, rated: 5 W }
  CD${branch}: { kind: capacitor, between: [branch ${branch}, chassis], value: 8 µF, rated: 450 V, dielectric: electrolytic }`,
  )
  .join('\n')}
${stages
  .map(
    (
      stage,
    ) => `  RP${stage}: { kind: resistor, between: [${branchOf(stage)}, plate ${stage}], value: 22k, rated: 2 W }
  RS${stage}: { kind: resistor, between: [${branchOf(stage)}, screen ${stage}], value: 68k, rated: 1 W }
  RK${stage}: { kind: resistor, between: [cathode ${stage}, chassis], value: 470R, rated: 1 W }
  RG${stage}: { kind: resistor, between: [grid ${stage}, chassis], value: 470k }
  CS${stage}: { kind: capacitor, between: [screen ${stage}, chassis], value: 0.1 µF, rated: 400 V, dielectric: paper }`,
  )
  .join('\n')}
tubes:
${stages
  .map(
    (stage) =>
      `  V${stage}: { type: 6SK7, plate: plate ${stage}, screen: screen ${stage}, grid: grid ${stage}, cathode: cathode ${stage} }`,
  )
  .join('\n')}
heater_chains:
${stages.map((stage) => `  H${stage}: { rail: heaters, series: [V${stage}] }`).join('\n')}
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
        over_voltage_margin: 1 V
        output_capacitance: 47 µF`
  const bench = `slowglow: bench 1
name: bench for many tubes
kind: virtual
equipment: equipment.yaml
seed: 1
supplies:
  high:
    line: { kind: virtual, as: pty }
    isolation: 600 V
    interface_isolated: yes
    channels:
      out:${channel('HT', 'HT', '420 V', '3 A')}
        bleeder: 22k
  low:
    line: { kind: virtual, as: pty }
    isolation: 250 V
    interface_isolated: yes
    channels:
      out:${channel('heaters', 'heater', '10 V', '60 A')}
`
  const profile = `slowglow: profile 1
name: thirty steps
kind: receive
equipment: equipment.yaml
bench: bench.yaml
mode: receive
stages:
  - { do: hook-up check }
  - { do: mode, mode: receive }
  - { do: ramp, rail: heaters, to: 6.3 V, slew: 500 mV/s, hold: 60 s }
  - { do: ramp, rail: HT, to: [${Array.from({ length: 27 }, (_, at) => `${Math.round(20 + (230 * at) / 26)} V`).join(', ')}], slew: 2 V/s, hold: 30 s }
`
  return {
    equipment: sound(fromText(equipment, 'equipment.yaml', 'equipment')),
    bench: sound(fromText(bench, 'bench.yaml', 'bench')),
    profile: sound(fromText(profile, 'profile.yaml', 'profile')),
  }
}

function sound<T>({ value, problems }: Loaded<T>): T {
  const errors = problems.filter(({ severity }) => severity === 'error')
  if (value !== null && errors.length === 0) return value
  throw new Error(
    errors.map(({ file, line, what, remedy }) => `${file}:${line}: ${what}; ${remedy}`).join('\n'),
  )
}
