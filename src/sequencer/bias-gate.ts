import type { BiasPlan, RailPlan } from '../plan/index.js'
import { broke } from './breach.js'
import { htIsOn, mayNotBeTouched } from './in-force.js'
import { biasStandsAt } from './interlocks.js'
import { ask, readingOf } from './prompts.js'
import type { Draft } from './state.js'
import { touch_V, typedRenew_s, typedValid_s, us, without } from './state.js'
import { volts } from './words.js'

/**
 * Bias before and during HT. A meter on a line is judged all the time; without one a person types what the meter clipped on
 * at the grid return shows, and while HT is up that is asked again before it is too old. HT only holds meanwhile: the meter
 * was clipped on with HT off, so reading it needs no hand inside.
 */

/** Bias at every grid return that needs it; asks where only a person can tell. */
export function biasStands(d: Draft): boolean {
  for (const rail of Object.values(d.s.plan.rails)) {
    const bias = rail.bias
    if (!bias || biasStandsAt(d.s, bias)) continue
    if (bias.meter !== null) {
      const sample = d.s.meters[bias.meter]
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
    if (!d.s.prompt) {
      if (htIsOn(d.s)) askAgain(d, rail, bias)
      else askFirst(d, rail, bias)
    }
    return false
  }
  return true
}

/** True while a typed bias is being asked for again under HT: the step waits, and nothing rises. */
export function renewsTypedBias(d: Draft): boolean {
  if (!htIsOn(d.s)) return false
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const bias = rail?.bias
    const typed = bias?.meter === null ? d.s.typed[`node:${bias.node}`] : undefined
    if (!rail || !bias || !typed || d.s.t_us - typed.t_us < us(typedValid_s - typedRenew_s)) continue
    askAgain(d, rail, bias)
    return true
  }
  return false
}

/** A bias that is taken down, so that hands may go in, is read anew before HT: what was typed of it before tells nothing. */
export function forgetTypedBias(d: Draft, { bias }: RailPlan): void {
  if (bias === null || bias.meter !== null) return
  const key = `node:${bias.node}`
  if (d.s.typed[key] !== undefined) d.s.typed = without(d.s.typed, key)
}

function askFirst(d: Draft, rail: RailPlan, bias: BiasPlan): void {
  const { node } = bias
  // A grid return above the touch limit had its meter clipped on before the bias came up (hook-up sheet), or not at all.
  const above = Object.values(d.s.plan.rails).find((each) => mayNotBeTouched(d.s, each))
  const stands = bias.nominal_V > touch_V ? 'the bias stands' : above && `${above.name} is above ${touch_V} V`
  const clip =
    stands !== undefined
      ? `If no meter is clipped on there, answer no: nobody reaches for ${node} while ${stands}.`
      : `If no meter is clipped on there yet, clip one on now, while HT is off.`
  const text = `Before HT: type what the meter at ${node} shows against chassis (red lead on ${node}), with its sign. ${clip} Leave it clipped on: it is read again while HT is up.`
  ask(d, { kind: 'bias', node, rail: rail.name }, wanted(bias, text, 'bias before HT', 0))
}

function askAgain(d: Draft, rail: RailPlan, bias: BiasPlan): void {
  const { node } = bias
  const age_min = Math.round((d.s.t_us - (d.s.typed[`node:${node}`]?.t_us ?? 0)) / 60e6)
  const text = `The bias typed for ${node} is ${age_min} min old. HT holds and does not rise. Look at the meter that is clipped on at ${node} and type what it shows, with its sign; no hand, probe or clip goes inside. If it is not clipped on, answer no. Without an answer in ${typedRenew_s / 60} min HT is taken down and the run stops.`
  const timeout_s = Math.min(typedRenew_s, d.s.plan.prompt_timeout_s)
  ask(d, { kind: 'bias', node, rail: rail.name }, wanted(bias, text, 'bias under HT', timeout_s))
}

function wanted(
  bias: BiasPlan,
  text: string,
  about: string,
  timeout_s: number,
): ReturnType<typeof readingOf> {
  const far = bias.sign * 2 * bias.nominal_V
  const near = bias.sign * bias.at_least_V
  const reading = readingOf(text, about, 'V', Math.min(near, far), Math.max(near, far), { node: bias.node })
  return { ...reading, timeout_s }
}
