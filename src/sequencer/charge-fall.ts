import type { MeterPlan } from '../plan/index.js'
import { record, warn } from './send.js'
import type { Draft, State } from './state.js'
import { volts } from './words.js'

/**
 * The set's own charge watched down after OFF by a meter at its node: what it fell from, to, in what time, and whether that is
 * what the circuit should do. Said, never acted on: going off has its own rules.
 */

/** Less than this says nothing: tubes still conduct and supplies let go. */
const least_s = 2
/** Faster than this part of what the tubes' own current would take, and slower than this many times the path alone (our choice). */
const fast = 0.4
const slow = 2

/** A meter's reading while going off. */
export function noteFall(d: Draft, name: string): void {
  const meter = d.s.plan.meters[name]
  const sample = d.s.meters[name]
  const known = d.s.inputs[name]
  if (!d.s.off || !sample || !known || !meter?.watch || meter.at === null || meter.measures !== 'V') return
  const rail = railOf(d.s, meter)
  const down_us = rail === null ? null : (d.s.off.rails[rail]?.down_us ?? null)
  if (rail === null || down_us === null || sample.t_us < down_us) return
  const rose = known.fall !== null && Math.abs(sample.value) > Math.abs(known.fall.from.value)
  const fall =
    known.fall === null || rose
      ? { from: sample, amps: Math.abs(d.s.off.amps[rail] ?? 0), now: sample }
      : { ...known.fall, now: sample }
  d.s.inputs = { ...d.s.inputs, [name]: { ...known, fall } }
}

/** At the end: each watched node's fall in words, and as a warning where it is not what the circuit should do. */
export function sayFalls(d: Draft): void {
  for (const meter of Object.values(d.s.plan.meters)) {
    const said = fallOf(d.s, meter)
    if (said === null) continue
    if (said.odd) warn(d, said.text, null)
    else record(d, 'off', said.text)
  }
}

/** Null where nothing was watched down. */
export function fallOf(s: State, meter: MeterPlan): { readonly text: string; readonly odd: boolean } | null {
  const fall = s.inputs[meter.name]?.fall
  if (!fall || meter.at === null) return null
  const from_V = Math.abs(fall.from.value)
  const now_V = Math.abs(fall.now.value)
  const took_s = (fall.now.t_us - fall.from.t_us) / 1e6
  const fell = `${meter.at} fell from ${volts(from_V)} to ${volts(now_V)} in ${took_s.toFixed(1)} s by ${meter.name}`
  const seen_V = Math.max(10 * meter.resolution, 5)
  // Nothing stood there when OFF was given: a shorted reservoir, a bring-up that never came so far. That is no fall.
  if (from_V <= seen_V) return null
  const path = meter.watch?.falls ?? null
  if (path === null || took_s < least_s || from_V < 4 * seen_V) return { text: `${fell}.`, odd: false }
  const slowest_s = path.ohm * path.F
  // With tubes still conducting it goes as the last current says; that current includes the path.
  const fastest_s = Math.min(slowest_s, fall.amps > 0 ? (from_V / fall.amps) * path.F : slowest_s)
  const passed = Math.log(from_V / Math.max(now_V, seen_V))
  if (now_V > from_V * Math.exp(-took_s / (slow * slowest_s)) + seen_V)
    return {
      text: `${fell}, slower than its discharge path (${Math.round(path.ohm / 100) / 10} kΩ) should take it: a bleeder may be open, or something still feeds it. Measure before touching.`,
      odd: true,
    }
  if (took_s < fast * fastest_s * passed)
    return {
      text: `${fell}, faster than its capacitors should let it: one may have lost its capacitance or its connection, or something else draws on it.`,
      odd: true,
    }
  return { text: `${fell}, as its circuit should.`, odd: false }
}

/** The plate or screen rail whose own node the meter stands at. */
function railOf(s: State, { at }: MeterPlan): string | null {
  const rail = Object.values(s.plan.rails).find(
    ({ positive, role }) => positive === at && role !== 'heater' && role !== 'bias',
  )
  return rail?.name ?? null
}
