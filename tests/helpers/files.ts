import { expect } from 'vitest'
import type { Problem } from '../../src/files/index.js'

/** A change to a sound file, and the problem it must give. */
export interface Case {
  readonly title: string
  /** Text replaced (first occurrence) and what stands there instead. */
  readonly from: string
  readonly to: string
  /** The problem is told at the first occurrence of `at` in the changed text, plus `plus` characters. */
  readonly at: string
  readonly plus?: number
  readonly says: RegExp
  readonly advises: RegExp
}

export function changed(base: string, { from, to }: Pick<Case, 'from' | 'to'>): string {
  expect(base, `the sound file holds '${from}'`).toContain(from)
  return base.replace(from, () => to)
}

export function positionOf(text: string, at: string, plus = 0): string {
  const offset = text.indexOf(at) + plus
  expect(text.indexOf(at), `'${at}' stands in the changed file`).toBeGreaterThanOrEqual(0)
  const before = text.slice(0, offset).split('\n')
  return `${before.length}:${(before.at(-1)?.length ?? 0) + 1}`
}

/** Exactly this problem is among them, at its place. */
export function expectProblem(problems: readonly Problem[], text: string, wanted: Case): void {
  const shown = problems.map(({ line, column, what, remedy }) => `${line}:${column} ${what} → ${remedy}`)
  const hit = problems.find(({ what, remedy }) => wanted.says.test(what) && wanted.advises.test(remedy))
  expect(hit, `no such problem among:\n${shown.join('\n')}`).toBeDefined()
  expect(`${hit?.line}:${hit?.column}`, shown.join('\n')).toBe(positionOf(text, wanted.at, wanted.plus))
}

/** A small sound level-3 set: one stage, a regulator, heaters in a mixed chain, bias with a preload. */
export const soundSet = `slowglow: equipment 1
name: test set
chassis: isolated
modes:
  receive:
    controls: { send switch: receive }
  transmit: {}
rails:
  heaters:
    role: heater
    positive: heater line
    negative: chassis
    working: 12.6 V
    max: { value: 14 V, source: from memory }
    feeds: { positive_at: terminal A, negative_at: terminal B }
    winding_connected: false
  bias:
    role: bias
    positive: chassis
    negative: bias line
    working: 60 V
    max: { value: 80 V, source: from memory }
    feeds: { positive_at: terminal B, negative_at: terminal C }
    required_bias: { node: grid return, at_least: -50 V, nominal: -59 V, source: computed }
  HT:
    role: HT
    positive: reservoir
    negative: chassis
    working: 250 V
    max: { value: 300 V, source: from memory }
    feeds: { positive_at: socket pin 8, negative_at: terminal B, pull: [V9] }
    totals:
      receive: { at: 250 V, current: 50 mA, source: handbook page 4 }
parts:
  C1: { kind: capacitor, between: [reservoir, chassis], value: 16 µF, rated: 350 V, dielectric: electrolytic }
  L1: { kind: choke, between: [reservoir, HT line], value: 10 H, ohm: 100R, rated: 100 mA }
  C2: { kind: capacitor, between: [HT line, chassis], value: 16 µF, rated: 350 V, dielectric: electrolytic }
  R1: { kind: resistor, between: [HT line, chassis], value: 47k, rated: 5 W, make: wirewound }
  K1: { kind: contact, between: [HT line, stage HT], closed_in: [receive], control: send relay }
  R2: { kind: resistor, between: [stage HT, v1 plate], value: 1k }
  R3: { kind: resistor, between: [stage HT, v1 screen], value: 8k2 }
  R4: { kind: resistor, between: [v1 cathode, chassis], value: 390R, rated: 2 W }
  R5: { kind: resistor, between: [v1 grid, chassis], value: 470k }
  R6: { kind: resistor, between: [bias line, grid return], value: 100R }
  R7: { kind: resistor, between: [grid return, chassis], value: 10k, rated: 2 W }
  R90: { kind: heater resistor, value: 14 Ω, rated: 5 W }
tubes:
  V1: { type: 6V6GT, plate: v1 plate, screen: v1 screen, grid: v1 grid, cathode: v1 cathode }
  V9: { type: 5R4GY, pulled: true, plate: reservoir, cathode: reservoir }
heater_chains:
  A: { rail: heaters, series: [V1, R90] }
test_points:
  grid return: terminal C
`

export const soundBench = `slowglow: bench 1
name: test bench
kind: real
supplies:
  high:
    line: { kind: serial, path: /dev/ttyS0, baud: 9600 }
    isolation: 500 V
    interface_isolated: yes
    identity: INVENTED,HIGH,1,1.0
    channels:
      out:
        feeds: HT
        role: HT
        max_volts: 300 V
        max_amps: 200 mA
        resolution_volts: 100 mV
        resolution_amps: 1 mA
        accuracy_volts: { of_reading: 0.1 %, plus: 100 mV }
        accuracy_amps: { of_reading: 0.1 %, plus: 1 mA }
        output_capacitance: 22 µF
        bleeder: 22k
  low:
    line: { kind: serial, path: /dev/ttyS1, baud: 9600 }
    isolation: 250 V
    interface_isolated: yes
    dialect: { based_on: plain SCPI, name: two channels, select: ":INST:NSEL {n};" }
    identity: INVENTED,LOW,2,1.0
    channels:
      heaters:
        number: 1
        feeds: heaters
        role: heater
        max_volts: 30 V
        max_amps: 5 A
        resolution_volts: 10 mV
        resolution_amps: 1 mA
        accuracy_volts: { of_reading: 0.1 %, plus: 10 mV }
        accuracy_amps: { of_reading: 0.1 %, plus: 5 mA }
        output_capacitance: 470 µF
      bias:
        number: 2
        feeds: bias
        role: bias
        max_volts: 80 V
        max_amps: 100 mA
        resolution_volts: 10 mV
        resolution_amps: 0.1 mA
        accuracy_volts: { of_reading: 0.1 %, plus: 10 mV }
        accuracy_amps: { of_reading: 0.1 %, plus: 0.1 mA }
        output_capacitance: 100 µF
meters:
  clipped:
    line: { kind: serial, path: /dev/ttyS2, baud: 9600 }
    measures: V
    at: grid return
    against: chassis
    resolution_volts: 10 mV
    accuracy_volts: { of_reading: 0.5 %, plus: 10 mV }
    isolation: 300 V
    interface_isolated: yes
`

export const soundProfile = `slowglow: profile 1
name: test profile
kind: receive
equipment: equipment.yaml
bench: bench.yaml
mode: receive
ceiling: { HT: 250 V }
stages:
  - { do: hook-up check }
  - { do: ramp, rail: heaters, to: 12.6 V, hold: 30 s }
  - { do: ramp, rail: HT, to: [100 V, 250 V], slew: 2 V/s, hold: 1 min }
`
