import type { Plan } from '../../src/plan/index.js'
import type { State } from '../../src/sequencer/index.js'
import { Rig } from './rig.js'
import { smallPlan } from './small-plan.js'

/* A run taken quickly to where a test begins, so that the test is of that place and not of the way there. */

const quick_us = 800_000
const usual_us = 50_000

/** Goes there in long periods, then in usual ones again. */
export function quickly(rig: Rig, what: string, condition: () => boolean): Rig {
  rig.period_us = quick_us
  rig.until(what, condition)
  rig.period_us = usual_us
  return rig
}

/** A part of a step, by the step's place in the plan from 0. */
export const partOf = (rig: Rig, step: number, part: State['part']): Rig =>
  quickly(rig, `${part} of step ${step}`, () => rig.state.step === step && rig.state.part === part)

/** HT standing at 250 V in the last hold. */
export const standing = (change?: (plan: Plan) => Plan): Rig =>
  partOf(new Rig(smallPlan(change)).start(), 7, 'hold')

/** What is known of the run, changed. */
export function known(rig: Rig, change: Partial<State>): Rig {
  rig.state = { ...rig.state, ...change }
  return rig
}

/** What is known of one rail, changed. */
export function knownOf(rig: Rig, name: string, change: Partial<State['rails'][string]>): Rig {
  const before = rig.state.rails[name]
  if (before === undefined) throw new Error(`no rail ${name}`)
  return known(rig, { rails: { ...rig.state.rails, [name]: { ...before, ...change } } })
}

/** Usual periods for so long, or until it goes off. */
export function ran(rig: Rig, seconds: number): Rig {
  const until_us = rig.t_us + seconds * 1e6
  while (rig.t_us < until_us && rig.state.phase === 'running') rig.tick()
  return rig
}

export const reason = (rig: Rig) => rig.state.off?.reason

/** Every step of the plan, changed. */
export const steps =
  (change: (step: Plan['steps'][number]) => Plan['steps'][number]) =>
  (plan: Plan): Plan => ({ ...plan, steps: plan.steps.map(change) })
