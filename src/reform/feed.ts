import type { ReformPart, ReformPlan } from '../plan/index.js'

/* The feed resistor: what it lets through, what it burns, what it lets us see. */

/** Through a shorted part. */
export const short_A = (V: number, ohm: number): number => V / ohm
export const short_W = (V: number, ohm: number): number => (V * V) / ohm
/** Most that can go into the part: at half the volts. */
export const worstInPart_W = (V: number, ohm: number): number => (V * V) / (4 * ohm)
/** Leakage from the drop across it. */
export const fromDrop_A = (drop_V: number, ohm: number): number => drop_V / ohm
/** Heat of a leakage with `V` across it. */
export const leak_W = (V: number, leak_A: number): number => V * leak_A
/** Charging or letting down through a resistor until `left` of the volts is left. */
export const chargeThrough_s = (ohm: number, F: number, left: number): number => -ohm * F * Math.log(left)
/** Taken by a capacitance as its volts rise. */
export const charging_A = (F: number, V_per_s: number): number => F * V_per_s
/** Five time constants of the feed and half as much capacitance again, and two seconds: charging is over. */
export const settling_s = ({ feed_ohm, F }: Pick<ReformPart, 'feed_ohm' | 'F'>): number =>
  2 + 7.5 * feed_ohm * F
/** 5 min and one more for every month of storage (surplus trade, second-hand), s. */
export const storage_s = (years: number): number => 60 * (5 + 12 * years)
/** Largest resistor across each of `n` parts in series that keeps them level: (n·U − bus) / leakage, ohm (a maker's application note). */
export const balance_ohm = (n: number, rated_V: number, bus_V: number, leak_A: number): number =>
  (n * rated_V - bus_V) / leak_A

/** Resistance of the meter itself and of the feed may be off; a meter's input is stated to a percent (common practice, no source). */
const meterInput_error = 0.01

type Errors = Pick<ReformPart, 'across' | 'feed_ohm' | 'feed_error' | 'meter_ohm' | 'meter_error'>

/**
 * Smallest leakage told apart from none with `V` across the part while `leak_A` flows: errors of both instruments, of the feed
 * resistor and of the meter's own current, all at their worst at once.
 */
export function resolves_A(part: Errors, supply: ReformPlan['supply'], V: number, leak_A: number): number {
  const { meter_error: own } = part
  const ohm = feedWith_ohm(part)
  const resistor = part.feed_error * Math.abs(leak_A)
  if (part.across === 'feed') {
    const drop_V = leak_A * ohm
    return (own.of_reading * drop_V + own.plus + own.resolution / 2) / ohm + resistor
  }
  const ours_V = own.of_reading * V + own.plus + own.resolution / 2
  const its_V = supply.of_reading * V + supply.plus + supply.resolution / 2
  return (ours_V + its_V) / ohm + resistor + (meterInput_error * V) / part.meter_ohm
}

/** Feed resistor as the current sees it: a meter across it takes its share. */
export function feedWith_ohm({
  across,
  feed_ohm,
  meter_ohm,
}: Pick<Errors, 'across' | 'feed_ohm' | 'meter_ohm'>): number {
  return across === 'feed' ? 1 / (1 / feed_ohm + 1 / meter_ohm) : feed_ohm
}

/** Values as sold in fives and tens: E6 from 1 kΩ to 1 MΩ. */
const sold_ohm = [1, 1.5, 2.2, 3.3, 4.7, 6.8]
  .flatMap((n) => [n * 1e3, n * 1e4, n * 1e5])
  .sort((a, b) => a - b)

/** The smallest sold that keeps a can below its heat at the worst. */
export function feedFor_ohm(V: number, heat_W: number): number {
  return sold_ohm.find((ohm) => worstInPart_W(V, ohm) <= heat_W) ?? 1e6
}

/** The smallest sold with which a leakage of `want_A` stands out; null where none does. */
export function feedToSee_ohm(
  part: Errors,
  supply: ReformPlan['supply'],
  V: number,
  want_A: number,
): number | null {
  return (
    sold_ohm.find((feed_ohm) => {
      // What it drops at the limit must leave most of the volts for the part.
      const drops = want_A * feed_ohm > 0.5 * V
      return !drops && resolves_A({ ...part, feed_ohm }, supply, V, want_A) <= want_A
    }) ?? null
  )
}
