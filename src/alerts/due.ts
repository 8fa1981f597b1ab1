import type { Severity } from '../bench/index.js'
import { type Plan, stepNumbered } from '../plan/index.js'
import { formatQuantity } from '../quantities/index.js'
import { judgementOf, type RunEnding, type RunEntry, type RunEvent } from '../story/index.js'

/*
 * Which entry of a run is an alert, and how grave: pure. What an alert says is run, set, step, reason and whether outputs were
 * confirmed off; it never says what may be touched.
 */

export type AlertKind =
  | 'trial'
  | 'start'
  | 'step'
  | 'warning'
  | 'stall'
  | 'trip'
  | 'alarm'
  | 'silence'
  | 'finish'
  | 'still there'

export interface Alert {
  readonly kind: AlertKind
  readonly severity: Severity
  /** Everything in one sentence or two. */
  readonly text: string
  readonly run: string
  readonly set: string
  readonly profile: string
  /** Run seconds since the start. */
  readonly run_s: number
  readonly step: number | null
  readonly steps: number
  readonly reason: string | null
  readonly outputs: Outputs
}
/** What is known of the supplies' outputs, a person's own knobs among them; the set's stored charge is another matter. */
export type Outputs = 'in use' | 'going off' | 'confirmed off' | 'not confirmed off' | 'not known'

/** What the alerts of one run speak of. */
export interface Subject {
  readonly run: string
  readonly plan: Plan
}

export interface DueState {
  readonly t_us: number
  readonly step: number | null
  readonly step_us: number
  /** The step of which it was said that it stands still. */
  readonly stalled: number | null
  /** Lifted parts that are waited for in this step: when each is expected to be done at the latest, run µs. */
  readonly expected: Readonly<Record<string, number>>
  /** What was told of lifted parts, for the last words. */
  readonly verdicts: Readonly<Record<string, string>>
  readonly question: { readonly text: string; readonly since_us: number; readonly told: boolean } | null
  /** When an alarm of these words was last passed on. */
  readonly said: Readonly<Record<string, number>>
  readonly reason: string | null
  readonly outputs: Outputs
  readonly phase: 'waiting' | 'running' | 'ended'
}
export type DueInput =
  | { readonly kind: 'told'; readonly entry: RunEntry }
  /** The run's clock goes on. */
  | { readonly kind: 'time'; readonly t_us: number }

/** A question open for so long is one that nobody heard, run seconds (our choice). */
const unheard_s = 180
/** A step that takes half as long again as planned, and this more, stands still (our choice). */
const longer = 1.5
const longer_s = 120
/** An alarm that is sounded again in the same words is passed on again after this, s (our choice). */
const again_s = 300

export function dueBegin(): DueState {
  return {
    t_us: 0,
    step: null,
    step_us: 0,
    stalled: null,
    expected: {},
    verdicts: {},
    question: null,
    said: {},
    reason: null,
    outputs: 'in use',
    phase: 'waiting',
  }
}

export interface Due {
  readonly state: DueState
  readonly alerts: readonly Alert[]
}

export function dueStep(of: Subject, before: DueState, input: DueInput): Due {
  if (before.phase === 'ended') return { state: before, alerts: [] }
  if (input.kind === 'time') return time(of, { ...before, t_us: Math.max(before.t_us, input.t_us) })
  const { entry } = input
  if (entry.entry === 'ending') return ended(of, { ...before, t_us: entry.t_us }, entry.ending)
  if (entry.entry !== 'event') return { state: before, alerts: [] }
  return happened(of, { ...before, t_us: Math.max(before.t_us, entry.event.t_us) }, entry.event)
}

const none = (state: DueState): Due => ({ state, alerts: [] })

function happened(of: Subject, state: DueState, event: RunEvent): Due {
  const one = (next: DueState, kind: AlertKind, severity: Severity, text: string): Due => ({
    state: next,
    alerts: [alert(of, next, kind, severity, text)],
  })
  if (event.from === 'supervisor') {
    if (event.what === notAwake) return one(state, 'warning', 'attention', event.text)
    if (event.what !== 'take-over') return none(state)
    const next = { ...state, reason: event.text, outputs: 'going off' as const, question: null }
    return one(next, 'silence', 'alarm', event.text)
  }
  switch (event.what) {
    case 'begin': {
      const { steps } = of.plan
      const next = { ...state, phase: 'running' as const, step: steps[0]?.index ?? null, step_us: state.t_us }
      const long = formatQuantity(of.plan.expected_s, 's')
      return one(
        next,
        'start',
        'news',
        `The run began: ${stepCount(of.plan)} steps, some ${long} as planned.`,
      )
    }
    case 'step': {
      if (event.step === null || event.step === state.step) return none(state)
      const next = { ...state, step: event.step, step_us: state.t_us, question: null, expected: {} }
      return one(next, 'step', 'news', stepWords(of.plan, event.step))
    }
    case 'prompt':
      return none({ ...state, question: { text: event.text, since_us: state.t_us, told: false } })
    case 'answer':
      // What a person took is no time that a step stood still.
      return none({ ...state, question: null, step_us: state.t_us })
    case 'judgement':
      return none(judged(of, state, event))
    case 'warning':
      return one(state, 'warning', 'attention', event.text)
    case 'trip': {
      const next = { ...state, reason: event.text, outputs: 'going off' as const, question: null }
      // A person's own stop, and what only runs down, is nobody's emergency.
      const calm = event.data['how'] === 'run down' || event.data['code'] === 'operator'
      return one(next, 'trip', calm ? 'attention' : 'alarm', `Outputs are going off: ${event.text}`)
    }
    case 'alarm': {
      const said_us = state.said[event.text]
      if (said_us !== undefined && state.t_us - said_us < again_s * 1e6) return none(state)
      const next = { ...state, said: { ...state.said, [event.text]: state.t_us } }
      return one(next, 'alarm', 'alarm', event.text)
    }
    default:
      return none(state)
  }
}

/** Whoever looks after the computer's sleep tells under this name that it is not kept from it any more. */
export const notAwake = 'not kept awake'

/** Of a lifted part: its verdict, or until when it is expected to take its time. */
function judged({ plan }: Subject, state: DueState, { data, t_us }: RunEvent): DueState {
  const judgement = judgementOf(data['reform'])
  if (judgement === null) return state
  const { part, act, verdict, code, figures } = judgement
  const others = Object.fromEntries(Object.entries(state.expected).filter(([name]) => name !== part))
  if (verdict !== null) {
    const said = `${verdict}${code === null ? '' : ` (${code})`}`
    return { ...state, expected: others, verdicts: { ...state.verdicts, [part]: said } }
  }
  if (act !== 'wait' || figures.latest_s === null) return { ...state, expected: others }
  const rest_s = Math.min(plan.time_budget_s, Math.max(0, figures.latest_s - figures.held_s))
  return { ...state, expected: { ...others, [part]: t_us + 1e6 * rest_s } }
}

function time(of: Subject, state: DueState): Due {
  if (state.phase !== 'running' || state.outputs !== 'in use') return none(state)
  const { question } = state
  if (question !== null) {
    // People answer in real time, however fast a virtual bench goes.
    const patience_us = unheard_s * 1e6 * (of.plan.pace ?? 1)
    if (question.told || state.t_us - question.since_us < patience_us) return none(state)
    const next = { ...state, question: { ...question, told: true } }
    const text = `A question has waited for ${unheard_s / 60} min and nobody answers: ${question.text}`
    return { state: next, alerts: [alert(of, next, 'stall', 'attention', text)] }
  }
  const planned = state.step === null ? null : stepNumbered(of.plan, state.step)
  if (planned === null || state.stalled === state.step) return none(state)
  const spent_s = (state.t_us - state.step_us) / 1e6
  if (spent_s < longer * planned.expected_s + longer_s) return none(state)
  // What is expected by what was measured stands before what was planned.
  if (Object.values(state.expected).some((until_us) => state.t_us < until_us)) return none(state)
  const next = { ...state, stalled: state.step }
  const text = `${stepWords(of.plan, planned.index)} It has gone on for ${formatQuantity(spent_s, 's')}, planned were ${formatQuantity(planned.expected_s, 's')}.`
  return { state: next, alerts: [alert(of, next, 'stall', 'attention', text)] }
}

const outcomes = {
  completed: 'All steps are done',
  tripped: 'Tripped',
  stopped: 'Stopped',
  failed: 'The rig failed',
} as const

function ended(of: Subject, state: DueState, ending: RunEnding): Due {
  // Whoever is told from afar hears of one thing only: a knob that nobody read leaves all of it open.
  const hands = Object.entries(ending.hand_rails).flatMap(([rail, left]) =>
    typeof left === 'number' ? [] : [rail],
  )
  const measured = ending.outputs_off === 'confirmed'
  const confirmed = measured && hands.length === 0
  const next: DueState = {
    ...state,
    phase: 'ended',
    reason: ending.reason?.text ?? null,
    outputs: confirmed ? 'confirmed off' : 'not confirmed off',
  }
  const nothing = ending.details['nothing_to_confirm'] === true
  const knobs = hands.map(
    (rail) => `${rail}, on a knob of its own, NOT confirmed off by anybody: take it as on. `,
  )
  const off = measured
    ? `${hands.length === 0 ? 'Outputs' : 'What slowglow switches'} confirmed off, measured at the supplies; the set may be charged.`
    : nothing
      ? 'No output was slowglow’s to switch or to measure: take them as on.'
      : 'OUTPUTS NOT CONFIRMED OFF: cut the mains of the HT sources, not of the bias.'
  const grave = !confirmed || ending.outcome === 'tripped' || ending.outcome === 'failed'
  const calm = ending.outcome === 'completed' && ending.warnings.length === 0
  const severity = grave ? 'alarm' : calm ? 'news' : 'attention'
  const why = ending.reason === null ? '.' : `: ${ending.reason.text}`
  const warned = ending.warnings.length === 0 ? '' : ` Warnings: ${ending.warnings.length}.`
  const parts = (of.plan.reform?.parts ?? []).map(
    ({ name }) => `${name} ${state.verdicts[name] ?? 'not finished'}`,
  )
  const formed = parts.length === 0 ? '' : ` Electrolytics: ${parts.join(', ')}.`
  const text = `${outcomes[ending.outcome]}${why} ${knobs.join('')}${off}${formed}${warned}`
  return { state: next, alerts: [alert(of, next, 'finish', severity, text)] }
}

/** What must arrive before a run that nobody stays with may begin. */
export function trial(of: Subject): Alert {
  const text =
    'A run that nobody stays with is about to begin. Nothing is energised yet, and nothing will be unless this arrives.'
  return alert(of, dueBegin(), 'trial', 'news', text)
}

/** That the run goes on; null where it does not. */
export function stillThere(of: Subject, state: DueState): Alert | null {
  if (state.phase !== 'running') return null
  const where = state.step === null ? '' : ` ${stepWords(of.plan, state.step)}`
  return alert(of, state, 'still there', 'news', `The run goes on.${where}`)
}

/** What a broker tells by itself once nothing is heard of us any more. */
export function silence(of: Subject): Alert {
  const text =
    'Nothing is heard any more from the computer that watches this run. What its outputs do is not known: take them as on and the set as charged.'
  const next = { ...dueBegin(), outputs: 'not known' as const }
  return alert(of, next, 'silence', 'alarm', text)
}

function alert(of: Subject, state: DueState, kind: AlertKind, severity: Severity, text: string): Alert {
  return {
    kind,
    severity,
    text: `${of.plan.equipment}: ${text}`,
    run: of.run,
    set: of.plan.equipment,
    profile: of.plan.profile,
    run_s: state.t_us / 1e6,
    step: state.step,
    steps: stepCount(of.plan),
    reason: state.reason,
    outputs: state.outputs,
  }
}

/** Those that are done whatever is read. */
const stepCount = (plan: Plan): number => plan.steps.filter(({ only_if }) => only_if === undefined).length

function stepWords(plan: Plan, index: number): string {
  const step = stepNumbered(plan, index)
  if (step === null) return `Step ${index}.`
  const moves =
    step.rail !== null && (step.do === 'raise' || step.do === 'lower')
      ? `, ${step.rail} to ${formatQuantity(step.target_V, 'V')}`
      : ''
  return `Step ${index} of ${Math.max(index, stepCount(plan))}: ${step.stage}${moves}.`
}
