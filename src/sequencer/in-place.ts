import type { RailPlan, Step } from '../plan/index.js'
import { broke } from './breach.js'
import type { Draft, RailState } from './state.js'
import { resolution, us } from './state.js'
import { amps } from './words.js'

/**
 * Electrolytics formed in the circuit: bleeder and dividers draw through the same rail, so that no leakage is judged. What the rail
 * draws still tells two things at volts that stand: whether it goes on falling, and whether it rises after it had fallen.
 */

/** Means are taken over this, the first of them this long after the set-point moved: charging is over by then, s (our choice). */
const mean_s = 60
/** Two stretches of so many means are held against each other. */
const stretch = 5
/** Means in a row that must say the same. */
const inARow = 2

/** A reading of the rail's own current. */
export function seeInPlace(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  const { in_place } = step
  if (in_place === undefined || step.rail !== rail.name || state.A === null) return
  if (d.s.part !== 'hold' && d.s.part !== 'settle') return
  const since_us = state.set_us + us(mean_s)
  if (d.s.t_us < since_us) return
  const before = d.s.in_place
  const seen =
    before?.step === step.index && before.set_us === state.set_us
      ? before
      : {
          ...{ step: step.index, set_us: state.set_us, from_us: since_us },
          ...{ sum_A: 0, count: 0, means_A: [], lowest_A: null, above: 0 },
        }
  const sum_A = seen.sum_A + state.A.value
  const count = seen.count + 1
  if (d.s.t_us - seen.from_us < us(mean_s)) {
    d.s.in_place = { ...seen, sum_A, count }
    return
  }
  const mean_A = sum_A / count
  const lowest_A = Math.min(seen.lowest_A ?? mean_A, mean_A)
  const most_A = lowest_A + Math.max(3 * resolution(d.s, rail).A, in_place.rise * Math.abs(lowest_A))
  const above = mean_A > most_A ? seen.above + 1 : 0
  d.s.in_place = {
    ...{ step: seen.step, set_us: seen.set_us, from_us: d.s.t_us, sum_A: 0, count: 0 },
    ...{ means_A: [...seen.means_A, mean_A].slice(-2 * stretch), lowest_A, above },
  }
  if (above < inARow) return
  broke(d, {
    code: 'rising',
    rail: rail.name,
    measured: mean_A,
    limit: most_A,
    unit: 'A',
    text: () =>
      `${rail.name} had come down to ${amps(lowest_A)} and draws ${amps(mean_A)} (mean of a minute) with its set-point unchanged; up to ${amps(most_A)} may be the bleeder and the last digits. An electrolytic is breaking down: lift them, and form each behind a feed resistor of its own.`,
  })
}

/** The last five minutes draw no less than the five before: longer at these volts brings little. */
export function isStill(d: Draft, step: Step, rail: RailPlan): boolean {
  const seen = d.s.in_place
  if (step.in_place === undefined || seen?.step !== step.index || seen.means_A.length < 2 * stretch)
    return false
  const early = mean(seen.means_A.slice(0, stretch))
  const late = mean(seen.means_A.slice(stretch))
  return Math.abs(late - early) <= Math.max(2 * resolution(d.s, rail).A, step.in_place.still * Math.abs(late))
}

const mean = (list: readonly number[]): number => list.reduce((sum, each) => sum + each, 0) / list.length
