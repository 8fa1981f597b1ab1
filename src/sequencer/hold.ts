import type { Step } from '../plan/index.js'
import { heaterFits } from './heater-fits.js'
import { htIsOn, leastOf } from './in-force.js'
import { isStill } from './in-place.js'
import { renewHandReadings } from './knob.js'
import { heatersOpen } from './open-heaters.js'
import { noteOverRating } from './over-rating.js'
import { passOver } from './pass-over.js'
import { ask, confirm } from './prompts.js'
import { reformHold } from './reform.js'
import { record, warn } from './send.js'
import { limitsStand } from './standing.js'
import type { Draft } from './state.js'
import { accuracy, ampsCome, currentStep, enter, isHot, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/** The end of a step: hold by the clock, settle by the current, judge what was measured beside what was expected. */

export function holdAndSettle(d: Draft, step: Step): void {
  if (d.s.prompt) return
  if (renewHandReadings(d, step)) return
  // On the way to taking a part off nothing is to be wider than it stood; the next raise sets its own.
  if (step.aside !== true && !limitsStand(d, step, 'step')) return
  if (step.reform !== undefined) {
    reformHold(d, step, () => {
      nextStep(d, step)
    })
    return
  }
  if (d.s.part === 'hold') {
    if (d.s.t_us - d.s.part_us < us(step.hold_s)) return
    enter(d, 'settle')
  }
  if (d.s.part !== 'settle') return
  const names = step.rail === null ? Object.keys(step.limits) : [step.rail]
  if (step.settle_within_s > 0) {
    const open = names.filter((name) => !isSettled(d, name))
    if (open.length > 0) {
      const first = open[0] ?? ''
      if (d.s.t_us - d.s.part_us >= us(step.settle_within_s) && d.s.unsettled[first] !== step.index) {
        ask(
          d,
          { kind: 'not settled', rail: first },
          confirm(
            `${first} has not settled in ${Math.round(step.hold_s + step.settle_within_s)} s (now ${amps(d.s.rails[first]?.A?.value ?? 0)}). Go on, or stop?`,
            'not settled',
          ),
        )
        return
      }
      if (d.s.unsettled[first] !== step.index) return
    }
  }
  // A rail that was lowered is still under the limits it came from: too little is what was wanted.
  for (const name of step.do === 'lower' ? [] : names) {
    const limits = step.limits[name]
    const state = d.s.rails[name]
    const measured = state?.A?.value
    if (!limits || !state?.energised || measured === undefined || limits.expected_A <= 0) continue
    // A person's "go on" holds for the step in which it was said, and for what was read then.
    const least_A = d.s.weak_in[name] === step.index ? leastOf(d.s, name, limits) : limits.ask_A
    const heaterKnown = d.s.plan.rails[name]?.role === 'heater' && step.rail !== name
    if (measured < (heaterKnown ? leastOf(d.s, name, limits) : least_A)) {
      if (heatersOpen(d, name, measured, limits)) return
      const fits = heaterFits(d, name, measured - limits.expected_A)
      const why =
        d.s.plan.rails[name]?.role === 'heater'
          ? `${fits === '' ? '' : `${fits}. `}Look which do not glow or warm.`
          : 'Tubes long in store read low and rise; an open part reads low and stays.'
      const text = `${name} draws ${amps(measured)} where ${amps(limits.expected_A)} is expected and ${amps(limits.ask_A)} is the least that passes unasked. ${why} Go on, or stop?`
      record(d, 'judgement', text, {
        rail: name,
        data: { measured, ask_A: limits.ask_A, expected_A: limits.expected_A },
      })
      ask(d, { kind: 'weak', rail: name }, confirm(text, `below-ask ${name}`))
      return
    }
  }
  nextStep(d, step)
}

/** The last ten seconds lie within max(2 resolutions, 1 %). */
function isSettled(d: Draft, name: string): boolean {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!rail || !state?.energised || !ampsCome(d.s, rail)) return true
  const step = currentStep(d.s)
  if (step?.in_place !== undefined && step.rail === name) return isStill(d, step, rail)
  const from = d.s.t_us - us(10)
  const window = state.recent.filter((sample) => sample.t_us >= from)
  const first = window[0]
  if (!first || state.set_us > from || first.t_us - from > us(1)) return false
  // Drift, not the last digit's flicker: the means of the two halves are compared.
  const middle_us = from + us(5)
  const early = mean(window.filter((sample) => sample.t_us < middle_us))
  const late = mean(window.filter((sample) => sample.t_us >= middle_us))
  if (early === null || late === null) return false
  return Math.abs(late - early) <= Math.max(2 * resolution(d.s, rail).A, 0.01 * Math.abs(late))
}

function mean(samples: readonly { value: number }[]): number | null {
  if (samples.length === 0) return null
  return samples.reduce((sum, sample) => sum + sample.value, 0) / samples.length
}

export function nextStep(d: Draft, step: Step): void {
  for (const name of Object.keys(step.limits)) judgeAtEnd(d, step, name)
  if (!d.s.done.includes(d.s.step)) d.s.done = [...d.s.done, d.s.step]
  d.s.step += 1
  passOver(d)
  d.s.step_us = d.s.t_us
  d.s.intent = null
  enter(d, 'gate')
  for (const state of Object.values(d.s.rails)) {
    state.breaking = {}
    state.in_window = null
  }
  const next = currentStep(d.s)
  if (next)
    record(d, 'step', `Step ${next.index}: ${next.stage}.`, {
      rail: next.rail,
      step: next.index,
      data: { target_V: next.target_V, mode: next.mode },
    })
}

/** What was measured beside what was expected, kept for every rail at the end of every step. */
function judgeAtEnd(d: Draft, step: Step, name: string): void {
  const limits = step.limits[name]
  const state = d.s.rails[name]
  const rail = d.s.plan.rails[name]
  if (!limits || !state?.energised || !rail || step.do === 'hook-up check') return
  if (step.do === 'lower' && step.rail === name) return
  const measured = state.A?.value ?? null
  if (measured === null) {
    record(d, 'judgement', `${name}: current not measured in this step.`, {
      rail: name,
      data: { volts: state.V?.value ?? null, amps: null },
    })
    if (isHot(rail)) warn(d, `The current of ${name} was never read: a reading never taken is no pass.`, name)
    return
  }
  noteOverRating(d, limits, name, measured)
  if (rail.role === 'bias' && limits.expected_A > 0 && (step.drive === undefined || !htIsOn(d.s)))
    d.s.rest = { ...d.s.rest, [name]: measured / limits.expected_A }
  const inside = measured >= limits.lower_A && measured <= limits.upper_A
  const near = accuracy(d.s, rail, 0, measured).A + resolution(d.s, rail).A
  const marginal = !inside && (measured < limits.lower_A - near || measured > limits.upper_A + near)
  // Beyond what passes unasked is not near the band, whatever a person chose to do about it.
  const word =
    measured < limits.ask_A
      ? 'far below its band'
      : measured > limits.trip_A
        ? 'far above its band'
        : 'marginal'
  const moved = step.rail === name || step.rail === null
  if (moved) {
    record(
      d,
      'judgement',
      `${name} at ${volts(state.V?.value ?? 0)}: ${amps(measured)}, expected ${amps(limits.expected_A)} (${amps(limits.lower_A)} to ${amps(limits.upper_A)})${marginal ? `: ${word}` : ''}.`,
      {
        rail: name,
        data: {
          volts: state.V?.value ?? null,
          amps: measured,
          expected_A: limits.expected_A,
          lower_A: limits.lower_A,
          upper_A: limits.upper_A,
          marginal,
          verdict: marginal ? word : 'in band',
        },
      },
    )
    if (marginal)
      warn(
        d,
        `${name} at ${volts(limits.at_V)} is ${word}: ${amps(measured)}, band ${amps(limits.lower_A)} to ${amps(limits.upper_A)}.`,
        name,
      )
  }
}
