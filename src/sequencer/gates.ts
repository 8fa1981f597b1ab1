import type { RailPlan, Step } from '../plan/index.js'
import { broke } from './breach.js'
import { htIsOn, limitsNow } from './in-force.js'
import { askKnob } from './knob.js'
import { ask, confirm, readingOf } from './prompts.js'
import { heatersReady } from './send.js'
import type { Draft } from './state.js'
import { touch_V, typedValid_s, us } from './state.js'
import { amps, volts } from './words.js'

/** Interlocks of a raise: heaters warm, bias standing, plate before screen, hands clear. Each waits, asks, or ends the run. */

/** Interlocks of a raise. Waits, or asks for what only a person can tell. */
export function gateOpen(d: Draft, step: Step, rail: RailPlan): boolean {
  if (step.needs_heaters && !handHeatersRead(d)) return false
  if (step.needs_heaters && !heatersReady(d.s)) {
    heatersOverdue(d, rail)
    return false
  }
  if (step.needs_bias && !biasStands(d)) return false
  if (step.needs_plate !== null) {
    const plate = d.s.rails[step.needs_plate]
    const limits = step.limits[step.needs_plate]
    if (!plate?.energised || !limits || (plate.V?.value ?? 0) < 0.5 * limits.at_V) {
      broke(d, {
        code: 'plate-lost',
        rail: rail.name,
        measured: plate?.V?.value ?? 0,
        limit: 0.5 * (limits?.at_V ?? 0),
        unit: 'V',
        text: `${rail.name} may not come on: its plate rail ${step.needs_plate} does not stand.`,
      })
      return false
    }
  }
  return true
}

/** Heaters that will not come into band are said, not waited for. */
const heatersExtra_s = 120
function heatersOverdue(d: Draft, rail: RailPlan): void {
  const late = d.s.plan.heaters.find(
    (watch) =>
      d.s.plan.rails[watch.rail]?.class !== 'hand' &&
      (d.s.rails[watch.rail]?.good_since_us ?? null) === null &&
      d.s.t_us - d.s.part_us > us(watch.warm_up_s + heatersExtra_s),
  )
  if (!late) return
  const state = d.s.rails[late.rail]
  broke(d, {
    code: 'heater-lost',
    rail: late.rail,
    measured: state?.A?.value ?? 0,
    limit: limitsNow(d.s, late.rail)?.ask_A ?? 0,
    unit: 'A',
    text: `${rail.name} may not come on: heater chain ${late.chain} on ${late.rail} is not in its band (${volts(state?.V?.value ?? 0)}, ${amps(state?.A?.value ?? 0)}).`,
  })
}

function biasStands(d: Draft): boolean {
  for (const rail of Object.values(d.s.plan.rails)) {
    const bias = rail.bias
    if (!bias) continue
    if (bias.meter !== null) {
      const sample = d.s.meters[bias.meter]
      const fresh = sample && d.s.t_us - sample.t_us <= us(d.s.plan.stale_s)
      if (fresh && bias.sign * sample.value >= bias.at_least_V) continue
      if (d.s.t_us - d.s.part_us > us(20)) {
        broke(d, {
          code: 'bias-low',
          rail: rail.name,
          measured: sample?.value ?? 0,
          limit: bias.sign * bias.at_least_V,
          unit: 'V',
          text: `HT may not come on: bias at ${bias.node} reads ${sample ? volts(sample.value) : 'nothing'}, the set needs at least ${volts(bias.sign * bias.at_least_V)}. ${bias.source}`,
        })
      }
      return false
    }
    const typed = d.s.typed[`node:${bias.node}`]
    if (typed && d.s.t_us - typed.t_us <= us(typedValid_s) && bias.sign * typed.value >= bias.at_least_V)
      continue
    if (htIsOn(d.s)) {
      // Nobody is asked to put a probe on a grid with HT up: the reading ran out, so the run does too.
      broke(d, {
        code: 'prompt-timeout',
        rail: rail.name,
        text: `The typed bias at ${bias.node} is older than ${typedValid_s / 60} min and HT is up. Start again, or put a meter on a line there.`,
      })
      return false
    }
    if (!d.s.prompt) {
      const far = bias.sign * 2 * bias.nominal_V
      const near = bias.sign * bias.at_least_V
      ask(
        d,
        { kind: 'bias', node: bias.node },
        readingOf(
          `Before HT: read the bias at ${bias.node} against chassis, red lead on ${bias.node}, and type it with its sign.`,
          'bias before HT',
          'V',
          Math.min(near, far),
          Math.max(near, far),
          { node: bias.node },
        ),
      )
    }
    return false
  }
  return true
}

/** Heaters on somebody's knob: one reading in band, the warm-up time, then a second. */
function handHeatersRead(d: Draft): boolean {
  for (const watch of d.s.plan.heaters) {
    const rail = d.s.plan.rails[watch.rail]
    const state = d.s.rails[watch.rail]
    if (rail?.class !== 'hand' || !state) continue
    if (state.good_since_us === null) return false
    const again = d.s.typed[`again:${watch.rail}`]
    if (d.s.t_us - state.good_since_us >= us(watch.warm_up_s) && !again) {
      if (!d.s.prompt)
        askKnob(
          d,
          rail,
          'V',
          watch.volts,
          `Heaters are warm now: read ${rail.name} once more and type its volts.`,
        )
      return false
    }
  }
  return true
}

/** "Hands clear", a sound, five seconds: before anything rises above 60 V after a question. */
export function handsAreClear(d: Draft, step: Step): boolean {
  if (step.target_V <= touch_V || (!step.hands_clear && !d.s.hands_in)) return true
  if (d.s.hands_clear_until_us !== null) {
    if (d.s.t_us < d.s.hands_clear_until_us) return false
    d.s.hands_clear_until_us = null
    d.s.hands_in = false
    return true
  }
  d.s.hands_in = true
  if (!d.s.prompt)
    ask(
      d,
      { kind: 'hands clear' },
      confirm(
        `Hands clear? ${step.rail ?? 'A rail'} goes to ${volts(step.target_V)} next. Nobody touches the set or its leads.`,
        'hands clear',
      ),
    )
  return false
}
