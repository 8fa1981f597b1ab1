import type { RailName } from '../../src/equipment/index.js'

/*
 * What the program reads over its lines while a run goes on, what can become of each of it, and the moments at which that begins.
 */

/** A figure; or a state, with what is answered where it is so and where it is not. */
interface Read {
  readonly port: string
  /** What its question looks like. */
  readonly asks: RegExp
  /** The rail it is of; of what is asked of a whole supply: the first that is proved there. */
  readonly rail: RailName
  readonly says?: { readonly yes: string; readonly no: string }
  /** Read by the bench whose supplies have a status register alone (`signals-bench.ts`). */
  readonly register?: true
}

const on = { yes: '1', no: '0' } as const
const refusal = { yes: '-222,"Data out of range"', no: '0,"No error"' } as const
/** Bits of the register: constant current, constant voltage, over-current tripped. */
export const bits = { current: 1, voltage: 2, over_current: 4 } as const
const limits = { yes: String(bits.current), no: String(bits.voltage) } as const
const fired = { yes: String(bits.voltage + bits.over_current), no: String(bits.voltage) } as const
const status = /STAT:QUES:COND\?/i

const signals = {
  'HT volts': { port: 'high', asks: /MEAS:VOLT/i, rail: 'HT' },
  'HT current': { port: 'high', asks: /MEAS:CURR/i, rail: 'HT' },
  'heater volts': { port: 'low', asks: /NSEL 1;.*MEAS:VOLT/i, rail: 'heaters' },
  'heater current': { port: 'low', asks: /NSEL 1;.*MEAS:CURR/i, rail: 'heaters' },
  'bias volts': { port: 'low', asks: /NSEL 2;.*MEAS:VOLT/i, rail: 'bias' },
  'bias current': { port: 'low', asks: /NSEL 2;.*MEAS:CURR/i, rail: 'bias' },
  'grid return volts': { port: 'grid return meter', asks: /\?/, rail: 'bias' },
  'HT output': { port: 'high', asks: /OUTP\?/i, rail: 'HT', says: on },
  'heater output': { port: 'low', asks: /NSEL 1;.*OUTP\?/i, rail: 'heaters', says: on },
  'bias output': { port: 'low', asks: /NSEL 2;.*OUTP\?/i, rail: 'bias', says: on },
  'HT over-voltage': { port: 'high', asks: /PROT:TRIP\?/i, rail: 'HT', says: on },
  'heater over-voltage': { port: 'low', asks: /NSEL 1;.*PROT:TRIP\?/i, rail: 'heaters', says: on },
  'bias over-voltage': { port: 'low', asks: /NSEL 2;.*PROT:TRIP\?/i, rail: 'bias', says: on },
  'HT over-current': { port: 'high', asks: status, rail: 'HT', says: fired, register: true },
  'HT regulation': { port: 'high', asks: status, rail: 'HT', says: limits, register: true },
  'heater regulation': {
    ...{ port: 'low', asks: /NSEL 1;.*COND\?/i, rail: 'heaters' },
    ...{ says: limits, register: true },
  },
  'bias regulation': {
    ...{ port: 'low', asks: /NSEL 2;.*COND\?/i, rail: 'bias' },
    ...{ says: limits, register: true },
  },
  'HT supply’s errors': { port: 'high', asks: /SYST:ERR\?/i, rail: 'HT', says: refusal },
  'low supply’s errors': { port: 'low', asks: /SYST:ERR\?/i, rail: 'heaters', says: refusal },
} as const satisfies Record<string, Read>

export type Signal = keyof typeof signals
export const signalNames = Object.keys(signals) as Signal[]
export const readOf = (signal: Signal): Read => signals[signal]

/** What can become of a figure. The last two are what a supply says for "no value", and noise. */
export const figureWays = ['off', 'stuck', 'three times', 'a third', 'late', 'not a number', 'noise'] as const
/** And of a state: yes is on, fired, in constant current, an error. */
export const stateWays = ['off', 'stuck', 'says yes', 'says no', 'late', 'not a number', 'noise'] as const
export type FigureWay = (typeof figureWays)[number]
export type StateWay = (typeof stateWays)[number]
export type SignalWay = FigureWay | StateWay
export const waysOf = (signal: Signal): readonly SignalWay[] =>
  readOf(signal).says === undefined ? figureWays : stateWays

/** Moments of a run in which it begins. A question is open under HT where somebody is to turn a control outside the case. */
export const moments = [
  'hook-up check',
  'warm-up',
  'HT rising',
  'HT standing',
  'question open',
  'going off',
] as const
export type Moment = (typeof moments)[number]

/** What is late comes so much later. */
export const late_s = 2
