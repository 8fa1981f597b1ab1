import type { RailPlan, Step } from '../plan/index.js'
import { ask, confirm, readingOf } from './prompts.js'
import type { Draft, RailState, Sample } from './state.js'
import { enter, isHot, offBelow_V, touchOf, typedValid_s, us, without } from './state.js'
import { volts } from './words.js'

/** Watched and hand rails: a person turns the knob, slowglow judges what is measured or typed. */

/** How far a person's knob may stand from what was asked: 5 % and half a volt; at zero, what counts as off. */
function knobWindow(d: Draft, rail: RailPlan, target: number): readonly [number, number] {
  const off_V = offBelow_V(d.s, rail.name)
  return target > 0 ? [target * 0.95 - 0.5, target * 1.05 + 0.5] : [-off_V, off_V]
}

export function askKnob(d: Draft, rail: RailPlan, wants: 'V' | 'A', target: number, text: string): void {
  const [low, high] = wants === 'V' ? knobWindow(d, rail, target) : [0, target]
  const wanted =
    rail.class === 'hand'
      ? readingOf(text, `knob ${rail.name}`, wants, low, high, { rail: rail.name })
      : confirm(text, `knob ${rail.name}`)
  ask(d, { kind: 'knob', rail: rail.name, wants }, wanted)
}

/** Where the figure is read: never by a probe on a terminal that may stand above the touch limit. */
const readAt = (rail: RailPlan, target: number): string =>
  target > touchOf(rail)
    ? 'its own meter shows, or one that was clipped on before: no probe or clip goes on now'
    : 'its own meter or yours shows'

/** Asks for a step's knob to be turned. */
export function askToTurn(d: Draft, step: Step, rail: RailPlan): void {
  const state = d.s.rails[rail.name]
  const highest_V = Math.max(step.target_V, state?.set_V ?? 0)
  const turn = `Turn ${rail.name} slowly ${step.do === 'lower' ? 'down ' : ''}to ${volts(step.target_V)} by its knob, one hand`
  askKnob(
    d,
    rail,
    'V',
    step.target_V,
    rail.class === 'hand'
      ? `${turn}; then type the volts that ${readAt(rail, highest_V)}.`
      : `${turn}, then confirm.`,
  )
  if (rail.class !== 'hand' || !state || step.do === 'lower') return
  // From here on the knob may be up, whatever is typed later: it counts as energised, and HT as having been up.
  state.energised = true
  state.on_us ??= d.s.t_us
  state.set_V = highest_V
  d.s.ever_energised = true
  if (isHot(rail) && step.target_V > touchOf(rail)) d.s.ht_was_up = true
}

/** A typed reading is valid for its step and 15 minutes at most; then it is asked again. */
export function renewHandReadings(d: Draft, step: Step): boolean {
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const state = d.s.rails[name]
    if (rail?.class !== 'hand' || !state?.energised || !state.V) continue
    if (d.s.t_us - state.V.t_us > us(typedValid_s)) {
      // About the volts the limits were computed for: about the last reading, a drift would creep along unseen.
      const [low, high] = knobWindow(d, rail, step.limits[rail.name]?.at_V ?? state.set_V)
      ask(
        d,
        { kind: 'renew', rail: rail.name },
        readingOf(
          `Fifteen minutes have passed: read ${rail.name} again and type the volts that ${readAt(rail, state.set_V)}.`,
          `renew ${rail.name}`,
          'V',
          low,
          high,
          { rail: rail.name },
        ),
      )
      return true
    }
  }
  return false
}

export function renewed(d: Draft, name: string, sample: Sample): void {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (rail && state) takeTyped(d, rail, state, sample)
}

/** Volts a person typed for a hand rail: all that is known of it. */
function takeTyped(d: Draft, rail: RailPlan, state: RailState, sample: Sample): void {
  state.V = sample
  state.set_V = sample.value
  state.set_us = d.s.t_us
  state.energised = sample.value > offBelow_V(d.s, rail.name)
  if (!state.energised) return
  state.on_us ??= d.s.t_us
  d.s.ever_energised = true
  if (isHot(rail) && sample.value > touchOf(rail)) d.s.ht_was_up = true
}

export function knobTurned(
  d: Draft,
  step: Step,
  name: string,
  wants: 'V' | 'A',
  sample: Sample | null,
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
    takeTyped(d, rail, state, sample)
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
      askKnob(
        d,
        rail,
        'A',
        limits.trip_A,
        `Read the current of ${name} on its ammeter, which stays where it is, and type it with its unit.`,
      )
      return
    }
    enter(d, 'hold')
    return
  }
  state.A = sample
  enter(d, 'hold')
}
