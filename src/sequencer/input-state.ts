import { formatShort } from '../quantities/index.js'
import type { InputLimit, Measures, MeterPlan, Step } from '../plan/index.js'
import type { State } from './state.js'
import { touch_V, us } from './state.js'

/** Watched inputs as plain questions: gates wait by them, the door to the line refuses by them, screens show them. */

/** Why nothing may rise to this step's volts now: an input beyond its limit, or (`limit` null) not read lately. */
export function inputObjection(
  s: State,
  step: Step,
): { readonly meter: MeterPlan; readonly limit: InputLimit | null } | null {
  for (const meter of Object.values(s.plan.meters)) {
    const { watch } = meter
    if (watch?.needed !== true || watch.limits.length === 0) continue
    const sample = s.meters[meter.name]
    if (!sample || s.t_us - sample.t_us > us(watch.stale_s)) return { meter, limit: null }
    const limit = watch.limits.find(
      (each) => each.act === 'trip' && isBeyond(each, sample.value) && gates(meter, each, step),
    )
    if (limit !== undefined) return { meter, limit }
  }
  return null
}

/** In words, for what is being waited for. */
export function inputWaited(s: State, step: Step): string | null {
  const found = inputObjection(s, step)
  if (found === null) return null
  return found.limit === null
    ? `${found.meter.name} to be read`
    : `${found.meter.name} (${state(found.meter, s)})`
}

const state = (meter: MeterPlan, s: State): string => {
  const sample = s.meters[meter.name]
  return sample ? inputValue(meter.measures, sample.value) : 'not read'
}

/** A value as people read it: `312 V`, `41 °C`, `open`. */
export function inputValue(measures: Measures, value: number): string {
  return measures === 'contact' ? (value === 1 ? 'closed' : 'open') : formatShort(value, measures)
}

export function isBeyond(limit: InputLimit, value: number): boolean {
  switch (limit.when) {
    case 'above':
      return value > (limit.at ?? Infinity)
    case 'below':
      return value < (limit.at ?? -Infinity)
    case 'open':
      return value !== 1
    case 'closed':
      return value === 1
  }
}

function gates(meter: MeterPlan, limit: InputLimit, step: Step): boolean {
  if (meter.measures === 'contact') return step.target_V > touch_V
  return limit.when !== 'below' || meter.measures === '°C'
}
