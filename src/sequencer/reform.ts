import type { ReformJudgement, ReformPart, Step } from '../plan/index.js'
import { broke } from './breach.js'
import { ask, readingOf } from './prompts.js'
import { record, warn } from './send.js'
import type { Draft, ReformState, State } from './state.js'
import { currentStep, enter, us } from './state.js'

/**
 * Lifted electrolytics: how far each has come, by what the estimator said of it. Fits are made beside the loop and told as
 * judgements; here they are only compared, so that a replay decides the same from the same entries.
 */

const given = (part: ReformState): boolean => part.verdict !== null

/** Given up and still behind its feed resistor. */
function toTakeOff(s: State): readonly string[] {
  const names: string[] = []
  for (const name in s.reform) if (s.reform[name]?.act === 'give up' && !s.reform[name].off) names.push(name)
  return names
}

function live(s: State): readonly ReformState[] {
  const parts: ReformState[] = []
  for (const name in s.reform) {
    const part = s.reform[name]
    if (part && !given(part)) parts.push(part)
  }
  return parts
}

export function reformJudged(d: Draft, judgement: ReformJudgement): void {
  const before = d.s.reform[judgement.part]
  if (d.s.phase !== 'running' || before === undefined || given(before)) return
  const { part, act, reach_V, verdict, step, code, again_s } = judgement
  const standing = d.s.plan.steps.find(({ index }) => index === step)
  const held_V = act === 'go on' ? (standing?.target_V ?? 0) : 0
  const { volts, leak_A } = judgement.figures
  const atTop = act === 'go on' && standing?.reform?.what === 'top' && leak_A !== null
  d.s.reform = {
    ...d.s.reform,
    [part]: {
      ...before,
      act,
      step,
      reach_V,
      verdict,
      formed_V: Math.max(before.formed_V, held_V),
      ...(again_s !== undefined && { again_s }),
      ...(atTop && { top: { volts, leak_A } }),
    },
  }
  const said = verdict === null ? judgement.text : `${verdict}: ${judgement.text}`
  record(d, 'judgement', `${part}: ${said}.`, {
    rail: d.s.plan.reform?.rail ?? null,
    data: { reform: judgement },
  })
  if (atTop) tellExchange(d, part)
  if (act === 'give up')
    givenUp(d, `${part} ${judgement.text}. Verdict: ${verdict ?? 'not judged'} (${code ?? ''}).`)
  else if (verdict === 'marginal' || verdict === 'replace' || verdict === 'not judged')
    warn(d, `${part} is ${verdict}: ${judgement.text}.`, null)
}

/** Of the last volts: a part that came so far is not brought nearer by hand (our choice). */
const cameTo = 0.95

/**
 * Whether a part is worth its smaller feed resistor: it did not come to its volts behind the first, and what it leaks by now makes no
 * more heat at the last volts than its can may take, all of the can's sections counted alike. Null where there is none to put in.
 */
function smallerFeed(s: State, name: string): 'wanted' | 'not wanted' | 'too hot' | null {
  const { reform } = s.plan
  const part = reform?.parts.find((each) => each.name === name)
  const state = s.reform[name]
  if (reform === undefined || part?.next_feed === undefined || !state || given(state) || !state.top)
    return null
  if (state.top.volts >= cameTo * reform.top_V) return 'not wanted'
  const beside = reform.parts.filter(({ cans }) => cans.some((can) => part.cans.includes(can))).length
  return state.top.leak_A * reform.top_V * Math.max(1, beside) > reform.heat_W ? 'too hot' : 'wanted'
}

function tellExchange(d: Draft, name: string): void {
  const found = smallerFeed(d.s, name)
  const { reform } = d.s.plan
  const top = d.s.reform[name]?.top
  if (found === null || found === 'not wanted' || reform === undefined || !top || d.s.reform[name]?.exchanged)
    return
  const came = `${name} came to ${top.volts.toFixed(0)} V of ${reform.top_V.toFixed(0)} V behind its feed resistor, leaking ${(1e3 * top.leak_A).toFixed(2)} mA`
  record(
    d,
    'judgement',
    found === 'wanted'
      ? `${came}: its smaller one is put in.`
      : `${came}: with more volts its can could take more than ${reform.heat_W.toFixed(2)} W, so its feed resistor stays.`,
    { rail: reform.rail, data: { part: name, exchange: found, ...top } },
  )
}

/** The ohms of the smaller one were typed as it was put in. */
export function feedExchanged(d: Draft, names: readonly string[]): void {
  for (const name of names) {
    const part = d.s.reform[name]
    if (part !== undefined) d.s.reform = { ...d.s.reform, [name]: { ...part, exchanged: true } }
  }
}

/** With nobody there it cannot be taken off, and behind its resistor it would go on: everything goes off. */
function givenUp(d: Draft, text: string): void {
  if (d.s.plan.unattended === undefined) {
    warn(d, text, null)
    return
  }
  const others = live(d.s).length
  broke(d, {
    code: 'given-up',
    rail: d.s.plan.reform?.rail ?? '',
    text: `${text} Nobody is there to take it off, so the run ends.${others === 0 ? '' : ' The others are not finished: with this one off the bench and out of the profile, --continue takes them up.'}`,
  })
}

/** A part that was given up comes off before anything else happens; true where the run has turned to that. */
export function turnsAside(d: Draft): boolean {
  const step = currentStep(d.s)
  if (d.s.plan.reform === undefined || step === null || step.aside === true) return false
  if (toTakeOff(d.s).length === 0) return false
  // Nothing is left to be formed: the run goes down anyway.
  if (live(d.s).length === 0) {
    goTo(d, d.s.plan.steps.length)
    return true
  }
  if (d.s.prompt !== null || Object.keys(d.s.pending).length > 0) return true
  const aside = d.s.plan.steps.findIndex((each) => each.aside === true)
  if (d.s.step < aside) return false
  if (aside < 0) {
    goTo(d, d.s.plan.steps.length)
    return true
  }
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

/** Not called for: asides with nothing to take off, feed resistors that nothing is gained by exchanging, rungs that every part may be taken past. */
export function reformPasses(s: State, step: Step): boolean {
  const { reform } = s.plan
  if (reform === undefined) return false
  if (step.aside === true) return toTakeOff(s).length === 0
  if (step.exchange !== undefined)
    return !step.exchange.some(
      (name) =>
        smallerFeed(s, name) === 'wanted' && !(step.do === 'ask' && s.reform[name]?.exchanged === true),
    )
  if (step.reform?.what !== 'rung') return false
  // The lowest is done in every climb, as a check.
  const lowest = s.plan.steps.find((each) => each.reform !== undefined)
  if (lowest?.index === step.index) return false
  const parts = live(s)
  const reach_V = Math.min(...parts.map((part) => Math.max(part.reach_V, part.formed_V)))
  return parts.length > 0 && step.target_V < reach_V - 0.5 * reform.rung_V
}

/** First looked at where a step is long, s: a leakage that does not fall shows by then (our choice). */
const firstLook_s = 600

/** What was typed is judged at once; where nothing comes of it, it is asked for again after this, s (our choice). */
const unjudged_s = 120

/** A part that a person reads is asked about: once charging is over and its time held, then when the estimator wants it again. */
function readingDue(s: State, step: Step): (ReformPart & { typed: NonNullable<ReformPart['typed']> }) | null {
  const held_us = s.t_us - s.part_us
  for (const part of s.plan.reform?.parts ?? []) {
    const { typed, name, limit } = part
    const state = s.reform[name]
    if (typed === undefined || state === undefined || given(state)) continue
    if (state.act === 'go on' && state.step === step.index) continue
    const last = s.typed[`node:${typed.node}`]
    const least_s = step.reform?.what === 're-test' ? limit.after_s : (step.reform?.least_s ?? 0)
    const due =
      last !== undefined && last.t_us >= s.part_us
        ? s.t_us - last.t_us >= us(state.step === step.index ? (state.again_s ?? unjudged_s) : unjudged_s)
        : held_us >= us(typed.settle_s + Math.min(least_s, firstLook_s))
    if (due) return { ...part, typed }
  }
  return null
}

/** True while a person is asked what a meter shows. Looking is all that is wanted: nothing is touched at volts. */
function asksToRead(d: Draft, step: Step): boolean {
  const part = readingDue(d.s, step)
  if (part === null) return false
  const { name, across, meter, typed } = part
  const at_V = d.s.rails[step.rail ?? '']?.V?.value ?? step.target_V
  ask(
    d,
    { kind: 'read', part: name, node: typed.node },
    readingOf(
      `Read ${meter}, ${across === 'part' ? `across ${name}` : `across the feed resistor of ${name}`}, without reaching in: ${at_V.toFixed(0)} V stand on the feed resistors. Its volts, with their sign?`,
      `read ${name}`,
      'V',
      -0.1 * at_V - 5,
      1.05 * at_V + 5,
      { node: typed.node },
    ),
  )
  return true
}

/** The end of a step of a reform: every part that is still being formed says so of this very step. */
export function reformHold(d: Draft, step: Step, next: () => void): void {
  const least = d.s.t_us - d.s.part_us >= us(step.reform?.least_s ?? 0)
  const left = leftIn(d.s, step)
  if (left === 'no part') {
    if (toTakeOff(d.s).length === 0) next()
    return
  }
  if (least && left === 'nothing') next()
  else asksToRead(d, step)
}

/** Whether a part that is still being formed has not said "go on" of this step. Asked at every reading: no list is made for it. */
function leftIn(s: State, step: Step): 'no part' | 'nothing' | 'some' {
  let left: 'no part' | 'nothing' = 'no part'
  for (const name in s.reform) {
    const part = s.reform[name]
    if (!part || given(part)) continue
    if (part.act !== 'go on' || part.step !== step.index) return 'some'
    left = 'nothing'
  }
  return left
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
