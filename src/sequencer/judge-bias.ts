import { healthyLeast_A, leadOn_A, openLead_A, type RailLimits, type RailPlan } from '../plan/index.js'
import { type Breach, broke, inWords, lasting } from './breach.js'
import { due_V, htIsOn, limitsNow } from './in-force.js'
import type { Draft, RailState } from './state.js'
import { currentStep, isHot, resolution } from './state.js'
import { amps, volts } from './words.js'

/**
 * Bias lost under HT: by a meter at the grid return, by the bias supply's own volts, by its current. Any of them is believed
 * after a few samples, or at once when HT draws too much at the same moment: then bias is the cause, HT only what shows it.
 */

type Seen = 'meter' | 'volts' | 'preload'
/** Each kind of reading has its own count of samples in a row. */
const seenBy: Readonly<Record<Seen, string>> = { meter: ' by meter', volts: ' by volts', preload: '' }

/** Judged when the meter at a grid return answered. */
export function judgeBiasMeter(d: Draft, meter: string): void {
  if (!htIsOn(d.s)) return
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    if (rail?.bias?.meter === meter) judge(d, rail, 'meter')
  }
}

/** Judged when volts or current of a bias rail arrived and HT is on. */
export function judgeBiasReading(d: Draft, rail: RailPlan, by: 'V' | 'A'): void {
  judge(d, rail, by === 'V' ? 'volts' : 'preload')
}

function judge(d: Draft, rail: RailPlan, seen: Seen): void {
  const state = d.s.rails[rail.name]
  if (!state) return
  const low = tooLow(d, rail, state, seen)
  if (lasting(d, state, 'bias-low', low !== null, seenBy[seen]) && low !== null) broke(d, low)
}

const tooMuch: ReadonlySet<string> = new Set(['over-ceiling', 'over-trip', 'rising', 'current-limit'])

/** HT is about to go off for drawing too much: a bias that reads low at the same moment is why, and said as why. */
export function biasBehind(d: Draft): void {
  const hot = d.broken.find(({ code, rail, unit }) => {
    const plan = rail === null ? undefined : d.s.plan.rails[rail]
    return tooMuch.has(code) && unit === 'A' && plan !== undefined && isHot(plan)
  })
  if (hot === undefined || !htIsOn(d.s)) return
  for (const rail of Object.values(d.s.plan.rails)) {
    const state = d.s.rails[rail.name]
    if (rail.role !== 'bias' || !state) continue
    for (const seen of ['meter', 'volts', 'preload'] as const) {
      // Only what its newest sample says: a count that a good one ended is gone.
      if (state.breaking[`bias-low${seenBy[seen]}`] === undefined) continue
      const low = tooLow(d, rail, state, seen)
      if (low === null) continue
      const drew = `${hot.rail ?? ''} drew ${amps(hot.measured ?? 0)} at the same moment`
      broke(d, { ...low, text: () => `${inWords(low.text)} ${drew}.` })
      return
    }
  }
}

function tooLow(d: Draft, rail: RailPlan, state: RailState, seen: Seen): Breach | null {
  const limits = limitsNow(d.s, rail.name)
  switch (seen) {
    case 'meter':
      return lowByMeter(d, rail)
    case 'volts':
      return limits === null ? null : lowByVolts(d, rail, state, limits)
    case 'preload':
      return limits === null ? null : lowByPreload(d, rail, state, limits)
  }
}

function lowByMeter(d: Draft, rail: RailPlan): Breach | null {
  const { bias } = rail
  const sample = bias?.meter == null ? undefined : d.s.meters[bias.meter]
  if (!bias || !sample || bias.sign * sample.value >= bias.at_least_V) return null
  const limit = bias.sign * bias.at_least_V
  return {
    code: 'bias-low',
    rail: rail.name,
    measured: sample.value,
    limit,
    unit: 'V',
    text: `Bias at ${bias.node} is ${volts(sample.value)}; the set needs at least ${volts(limit)} there while HT is on. ${bias.source}`,
  }
}

const told = (rail: RailPlan, state: RailState): string =>
  `${rail.name} stands at ${volts(state.V?.value ?? 0)}${state.A === null ? '' : ` and draws ${amps(state.A.value)}`}`

function lowByVolts(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits): Breach | null {
  const step = currentStep(d.s)
  const measured = state.V?.value ?? 0
  const least_V = step ? 0.9 * due_V(d.s, step, rail, state, limits) : 0
  if (measured >= least_V) return null
  return {
    code: 'bias-low',
    rail: rail.name,
    measured,
    limit: least_V,
    unit: 'V',
    text: `${told(rail, state)} while HT is on, below ${volts(least_V)}: the grids are losing their bias.`,
  }
}

/**
 * With its lead off the supply feeds its own bleeder and nothing else. Grid current of a driven stage takes from what it
 * gives, so the line lies half way to what is left then, not at a part of the preload, of which grid current may leave
 * less than that. Where the two lie too near each other a meter at the grid return tells instead: the plan wants one.
 */
function lowByPreload(d: Draft, rail: RailPlan, state: RailState, limits: RailLimits): Breach | null {
  const { bias } = rail
  if (bias === null || bias.preload_A === null) return null
  const open_A = openLead_A(bias, limits.at_V)
  if (healthyLeast_A(limits) - open_A < 3 * resolution(d.s, rail).A) return null
  const measured = state.A?.value ?? 0
  const least_A = leadOn_A(bias, limits)
  if (measured >= least_A) return null
  return {
    code: 'bias-low',
    rail: rail.name,
    measured,
    limit: least_A,
    unit: 'A',
    text: `${told(rail, state)}; with its preload of ${amps(bias.preload_A)} at the grid return it should draw ${amps(limits.expected_A)}${open_A === 0 ? '' : `, and ${amps(open_A)} is what the bleeder at its terminals takes alone`}. The bias lead is off or open, so the grids may have no bias.`,
  }
}
