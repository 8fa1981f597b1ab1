import type { ReformJudgement, Step } from '../plan/index.js'
import { record, warn } from './send.js'
import type { Draft, ReformState, State } from './state.js'
import { currentStep, enter, us } from './state.js'

/**
 * Lifted electrolytics: how far each has come, by what the estimator said of it. Fits are made beside the loop and told as
 * judgements; here they are only compared, so that a replay decides the same from the same entries.
 */

const given = (part: ReformState): boolean => part.verdict !== null

/** Given up and still behind its feed resistor. */
const toTakeOff = (s: State): readonly string[] =>
  Object.entries(s.reform).flatMap(([name, part]) => (part.act === 'give up' && !part.off ? [name] : []))

const live = (s: State): readonly ReformState[] => Object.values(s.reform).filter((part) => !given(part))

export function reformJudged(d: Draft, judgement: ReformJudgement): void {
  const before = d.s.reform[judgement.part]
  if (d.s.phase !== 'running' || before === undefined || given(before)) return
  const { part, act, reach_V, verdict, step, code } = judgement
  const standing = d.s.plan.steps.find(({ index }) => index === step)
  const held_V = act === 'go on' ? (standing?.target_V ?? 0) : 0
  d.s.reform = {
    ...d.s.reform,
    [part]: { ...before, act, step, reach_V, verdict, formed_V: Math.max(before.formed_V, held_V) },
  }
  const said = verdict === null ? judgement.text : `${verdict}: ${judgement.text}`
  record(d, 'judgement', `${part}: ${said}.`, {
    rail: d.s.plan.reform?.rail ?? null,
    data: { reform: judgement },
  })
  if (act === 'give up')
    warn(d, `${part} ${judgement.text}. Verdict: ${verdict ?? 'not judged'} (${code ?? ''}).`, null)
  else if (verdict === 'marginal' || verdict === 'replace' || verdict === 'not judged')
    warn(d, `${part} is ${verdict}: ${judgement.text}.`, null)
}

/** A part that was given up comes off before anything else happens; true where the run has turned to that. */
export function turnsAside(d: Draft): boolean {
  const step = currentStep(d.s)
  if (d.s.plan.reform === undefined || step === null || step.aside === true || toTakeOff(d.s).length === 0)
    return false
  // Nothing is left to be formed: the run goes down anyway.
  if (live(d.s).length === 0) {
    goTo(d, d.s.plan.steps.length)
    return true
  }
  if (d.s.prompt !== null || Object.keys(d.s.pending).length > 0) return true
  const aside = d.s.plan.steps.findIndex((each) => each.aside === true)
  if (aside < 0 || d.s.step < aside) return false
  goTo(d, aside)
  return true
}

function goTo(d: Draft, at: number): void {
  d.s.step = at
  d.s.step_us = d.s.t_us
  d.s.intent = null
  for (const state of Object.values(d.s.rails)) {
    state.breaking = {}
    state.in_window = null
  }
  enter(d, 'gate')
  const step = currentStep(d.s)
  if (step)
    record(d, 'step', `Step ${step.index}: ${step.stage} (${toTakeOff(d.s).join(', ')}).`, {
      rail: step.rail,
      step: step.index,
    })
}

/** Which parts come off, for the question; its answer says that they are. */
export function asideAsk(s: State, step: Step): Step['ask'] {
  if (step.aside !== true || step.ask === null) return step.ask
  const names = toTakeOff(s).join(', ')
  return { ...step.ask, text: `${names} given up. ${step.ask.text}`, about: `lift ${names}` }
}

export function takenOff(d: Draft): void {
  const names = toTakeOff(d.s)
  d.s.reform = Object.fromEntries(
    Object.entries(d.s.reform).map(([name, part]) => [
      name,
      names.includes(name) ? { ...part, off: true } : part,
    ]),
  )
}

/** Not called for: asides with nothing to take off, rungs that every part may be taken past. */
export function reformPasses(s: State, step: Step): boolean {
  const { reform } = s.plan
  if (reform === undefined) return false
  if (step.aside === true) return toTakeOff(s).length === 0
  if (step.reform?.what !== 'rung') return false
  // The lowest is done in every climb, as a check.
  const lowest = s.plan.steps.find((each) => each.reform !== undefined)
  if (lowest?.index === step.index) return false
  const parts = live(s)
  const reach_V = Math.min(...parts.map((part) => Math.max(part.reach_V, part.formed_V)))
  return parts.length > 0 && step.target_V < reach_V - 0.5 * reform.rung_V
}

/** The end of a step of a reform: every part that is still being formed says so of this very step. */
export function reformHold(d: Draft, step: Step, next: () => void): void {
  const parts = live(d.s)
  const least = d.s.t_us - d.s.part_us >= us(step.reform?.least_s ?? 0)
  if (parts.length === 0) {
    if (toTakeOff(d.s).length === 0) next()
    return
  }
  if (least && parts.every(({ act, step: of }) => act === 'go on' && of === step.index)) next()
}

/** For whoever watches: what each part is at. */
export function reformWords(s: State): string | null {
  const step = currentStep(s)
  if (step?.reform === undefined || s.part !== 'hold') return null
  const open = Object.entries(s.reform).filter(
    ([, part]) => !given(part) && !(part.act === 'go on' && part.step === step.index),
  )
  return open.length === 0 ? null : `${open.map(([name]) => name).join(', ')} to leak less`
}
