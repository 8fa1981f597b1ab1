import type { RailPlan, Step } from '../plan/index.js'
import { ask, confirm, readingOf } from './prompts.js'
import type { Draft } from './state.js'
import { enter, isHot, touch_V, typedValid_s, us, without } from './state.js'
import { volts } from './words.js'

/** Watched and hand rails: a person turns the knob, slowglow judges what is measured or typed. */

export function askKnob(d: Draft, rail: RailPlan, wants: 'V' | 'A', target: number, text: string): void {
  const low = wants === 'V' ? target * 0.95 - 0.5 : 0
  const high = wants === 'V' ? target * 1.05 + 0.5 : target
  const wanted =
    rail.class === 'hand'
      ? readingOf(text, `knob ${rail.name}`, wants, low, high, { rail: rail.name })
      : confirm(text, `knob ${rail.name}`)
  ask(d, { kind: 'knob', rail: rail.name, wants }, wanted)
}

/** A typed reading is valid for its step and 15 minutes at most; then it is asked again. */
export function renewHandReadings(d: Draft): boolean {
  for (const rail of Object.values(d.s.plan.rails)) {
    const state = d.s.rails[rail.name]
    if (rail.class !== 'hand' || !state?.energised || !state.V) continue
    if (d.s.t_us - state.V.t_us > us(typedValid_s)) {
      ask(
        d,
        { kind: 'renew', rail: rail.name },
        readingOf(
          `Fifteen minutes have passed: read ${rail.name} again and type its volts.`,
          `renew ${rail.name}`,
          'V',
          state.set_V * 0.95 - 0.5,
          state.set_V * 1.05 + 0.5,
          { rail: rail.name },
        ),
      )
      return true
    }
  }
  return false
}

export function knobTurned(
  d: Draft,
  step: Step,
  name: string,
  wants: 'V' | 'A',
  sample: { value: number; t_us: number } | null,
): void {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!rail || !state) return
  if (rail.class === 'watched') {
    const measured = state.V?.value ?? 0
    const near = Math.abs(measured - step.target_V) <= 0.05 * step.target_V + 0.5
    if (!near) {
      askKnob(
        d,
        rail,
        'V',
        step.target_V,
        `${name} reads ${volts(measured)}; turn it to ${volts(step.target_V)}, one hand, then confirm.`,
      )
      return
    }
    state.set_V = measured
    state.set_us = d.s.t_us
    enter(d, 'hold')
    return
  }
  if (!sample) return
  if (wants === 'V') {
    // The second reading after the warm-up comes while another rail waits at its gate; one for its own raise starts anew.
    const again = rail.role === 'heater' && step.rail !== name
    state.V = sample
    state.set_V = sample.value
    state.set_us = d.s.t_us
    state.energised = sample.value > 5
    state.on_us ??= d.s.t_us
    if (state.energised) d.s.ever_energised = true
    if (isHot(rail) && sample.value > touch_V) d.s.ht_was_up = true
    if (rail.role === 'heater') {
      if (again) {
        d.s.typed = { ...d.s.typed, [`again:${name}`]: sample }
        return
      }
      const full_V = Math.max(
        0,
        ...d.s.plan.heaters.filter((watch) => watch.rail === name).map((watch) => watch.volts),
      )
      state.good_since_us = Math.abs(sample.value - full_V) <= 0.1 * full_V ? d.s.t_us : null
      d.s.typed = without(d.s.typed, `again:${name}`)
    }
    const limits = step.limits[name]
    if (limits && limits.expected_A > 0 && rail.amps_meter !== null) {
      askKnob(d, rail, 'A', limits.trip_A, `Read the current of ${name} and type it in amperes.`)
      return
    }
    enter(d, 'hold')
    return
  }
  state.A = sample
  enter(d, 'hold')
}
