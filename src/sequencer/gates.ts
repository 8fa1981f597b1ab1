import type { HeaterWatch, RailLimits, RailPlan, Step } from '../plan/index.js'
import { biasStands } from './bias-gate.js'
import { type Breach, broke } from './breach.js'
import { driveProved } from './judge-drive.js'
import { leastOf, limitsNow } from './in-force.js'
import { leastLoaded_A } from './judge-lost.js'
import { inputsAllow } from './inputs.js'
import { askKnob } from './knob.js'
import { linesWereQuiet } from './line-trouble.js'
import { ask, confirm } from './prompts.js'
import { heatersReady, warmUp_s } from './interlocks.js'
import { heatersLow } from './low-heaters.js'
import type { Draft } from './state.js'
import { touchOf, us } from './state.js'
import { amps, volts } from './words.js'

/** Interlocks of a raise: heaters warm, bias standing, plate before screen, hands clear. Each waits, asks, or ends the run. */

/** Interlocks of a raise. Waits, or asks for what only a person can tell. */
export function gateOpen(d: Draft, step: Step, rail: RailPlan): boolean {
  if (!inputsAllow(d, step)) return false
  if (step.needs_heaters && !handHeatersRead(d, rail)) return false
  if (step.needs_heaters && !heatersReady(d.s)) {
    if (!heatersLow(d, step)) heatersOverdue(d, rail)
    return false
  }
  if (step.needs_bias && !biasStands(d)) return false
  if (!driveProved(d, step)) return false
  if (!linesWereQuiet(d, step, rail)) return false
  if (step.needs_plate !== null) {
    const plate = d.s.rails[step.needs_plate]
    const limits = step.limits[step.needs_plate]
    if (!plate?.energised || !limits || (plate.V?.value ?? 0) < 0.5 * limits.at_V) {
      broke(d, {
        code: 'plate-lost',
        rail: rail.name,
        ...(plate?.V && { measured: plate.V.value }),
        limit: 0.5 * (limits?.at_V ?? 0),
        unit: 'V',
        text: `${rail.name} may not come on: its plate rail ${step.needs_plate} does not stand.`,
      })
      return false
    }
    if (rail.role !== 'screen' && !isLoaded(d, step, rail, step.needs_plate, limits)) return false
  }
  return true
}

/** Modulators stay off until the stage that they modulate draws its plate current: nothing else loads their transformer. */
function isLoaded(d: Draft, step: Step, rail: RailPlan, of: string, limits: RailLimits): boolean {
  const measured = d.s.rails[of]?.A?.value ?? null
  const modulated = step.modulated?.find((each) => each.rail === of && each.by === rail.name)
  const least_A = modulated === undefined ? leastOf(d.s, of, limits) : leastLoaded_A(d, modulated, limits)
  if (measured !== null && measured >= least_A) return true
  broke(d, {
    code: 'plate-lost',
    rail: rail.name,
    ...(measured !== null && { measured }),
    limit: least_A,
    unit: 'A',
    text: `${rail.name} may not come on: the stage that its tubes modulate does not draw its plate current (${of} ${measured === null ? 'is not read' : `draws ${amps(measured)}`}, at least ${amps(least_A)} is due), and a modulation transformer that nothing loads flashes over.`,
  })
  return false
}

/** Heaters that will not come into band are said, not waited for. */
const heatersExtra_s = 120
function heatersOverdue(d: Draft, rail: RailPlan): void {
  const late = d.s.plan.heaters.find(
    (watch) =>
      d.s.plan.rails[watch.rail]?.class !== 'hand' &&
      (d.s.rails[watch.rail]?.good_since_us ?? null) === null &&
      d.s.t_us - d.s.part_us > us(warmUp_s(d.s, watch) + heatersExtra_s),
  )
  if (!late) return
  const state = d.s.rails[late.rail]
  const V = state?.V?.value ?? 0
  const A = state?.A?.value ?? null
  const stand = A === null ? volts(V) : `${volts(V)}, ${amps(A)}`
  broke(d, {
    code: 'heater-lost',
    rail: late.rail,
    ...outOfBand(d, late, V, A),
    text: `${rail.name} may not come on: heater chain ${late.chain} on ${late.rail} is not in its band (${stand}).`,
  })
}

/** The figure that keeps a chain out of its band, and where that ends: its volts, or, where those stand, its current. */
function outOfBand(
  d: Draft,
  { rail, volts: full_V }: HeaterWatch,
  V: number,
  A: number | null,
): Pick<Breach, 'measured' | 'limit' | 'unit'> {
  const limits = limitsNow(d.s, rail)
  if (A === null || limits === null || Math.abs(V - full_V) > 0.1 * full_V)
    return { measured: V, limit: (V < full_V ? 0.9 : 1.1) * full_V, unit: 'V' }
  return { measured: A, limit: A > limits.trip_A ? limits.trip_A : leastOf(d.s, rail, limits), unit: 'A' }
}

/** Heaters on somebody's knob: one reading in band, the warm-up time, then a second. */
function handHeatersRead(d: Draft, waiting: RailPlan): boolean {
  for (const watch of d.s.plan.heaters) {
    const rail = d.s.plan.rails[watch.rail]
    const state = d.s.rails[watch.rail]
    if (rail?.class !== 'hand' || !state) continue
    if (state.good_since_us === null) {
      // Nobody is going to turn that knob any more: said at once, not waited for.
      broke(d, {
        code: 'heater-lost',
        rail: rail.name,
        measured: state.V?.value ?? 0,
        limit: watch.volts,
        unit: 'V',
        text: `${waiting.name} may not come on: heater chain ${watch.chain} on ${rail.name} was not read within a tenth of ${volts(watch.volts)} (${state.V ? `${volts(state.V.value)} was typed` : 'nothing was typed'}).`,
      })
      return false
    }
    const again = d.s.typed[`again:${watch.rail}`]
    if (d.s.t_us - state.good_since_us >= us(warmUp_s(d.s, watch)) && !again) {
      if (!d.s.prompt)
        askKnob(
          d,
          rail,
          'V',
          watch.volts,
          `The heaters have had their warm-up time: read ${rail.name} once more and type its volts.`,
        )
      return false
    }
  }
  return true
}

/** "Hands clear", a sound, five seconds: before anything rises above the touch limit, or may make what does, after a question. */
export function handsAreClear(d: Draft, step: Step): boolean {
  const above_V = touchOf(d.s.plan.rails[step.rail ?? ''])
  if (step.target_V <= above_V || (!step.hands_clear && !d.s.hands_in)) return true
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
