import type { RailLimits, RailPlan, Step } from '../plan/index.js'
import type { RailState, State, StepPart } from './state.js'
import { currentStep, isHot, off_V, resolution, touch_V, touchOf, us } from './state.js'
import { amps, volts } from './words.js'

/** What is in force now: limits of the moment, and the states that change what a reading means. */

/** Parts of a raise in which nothing has moved yet: what stands, stands as the step before left it. */
const beforeRise: ReadonlySet<StepPart> = new Set(['gate', 'hands', 'intent', 'first set', 'limits'])

const isAwaited = (s: State, step: Step): boolean => step.do === 'raise' && beforeRise.has(s.part)

/** A rail on its way between two steps: their limits, and how far its set-point has come. */
interface Way {
  readonly from: Step
  readonly before: RailLimits
  readonly now: RailLimits
  readonly part: number
}

/** Null where the rail is not to be raised, or nothing lower stood before: the step's own limits hold then. */
function wayOf(s: State, step: Step, rail: string): Way | null {
  const now = step.limits[rail]
  const state = s.rails[rail]
  if (!now || !state || step.rail !== rail || !(isAwaited(s, step) || isRising(s, step))) return null
  const from = s.plan.steps.findLast(
    (earlier, at) => at < s.step && earlier.limits[rail] !== undefined && earlier.do !== 'hook-up check',
  )
  const before = from?.limits[rail]
  if (!from || !before || before.at_V >= now.at_V) return null
  const part = Math.min(1, Math.max(0, (state.set_V - before.at_V) / (now.at_V - before.at_V)))
  return { from, before, now, part }
}

function between(way: Way, of: (limits: RailLimits) => number): number {
  return of(way.before) + (of(way.now) - of(way.before)) * way.part
}

/** As `between`, and never below what already held: a limit does not tighten because the rail moved. */
function atLeastBefore(way: Way, of: (limits: RailLimits) => number): number {
  return Math.max(of(way.before), between(way, of))
}

/** At its gate a step's rail stands where it stood: nothing of the next step's room is its own yet. */
const isStillBefore = (s: State, step: Step, way: Way): boolean => way.part === 0 && isAwaited(s, step)

/**
 * Limits a rail is held to now: those of the step, or, while it is being raised, between the last step's and these. Until the raise
 * begins, however long interlocks, hands and the record take, they are the last step's.
 */
export function limitsNow(s: State, rail: string): RailLimits | null {
  const step = currentStep(s)
  if (!step) return null
  const way = wayOf(s, step, rail)
  if (!way) return besides(s, step, rail) ?? step.limits[rail] ?? null
  if (isStillBefore(s, step, way)) return way.before
  return {
    ...way.now,
    expected_A: between(way, (limits) => limits.expected_A),
    lower_A: between(way, (limits) => limits.lower_A),
    upper_A: between(way, (limits) => limits.upper_A),
    trip_A: atLeastBefore(way, (limits) => limits.trip_A),
    ceiling_A: atLeastBefore(way, (limits) => limits.ceiling_A),
  }
}

/** What a rail's current is held against at a moment, for who draws it: nothing is decided by it. */
export interface InForce {
  /** As `limitsNow`. */
  readonly limits: RailLimits
  /** Allowed on top of trip and ceiling while its capacitors charge. */
  readonly charge_A: number
  /** On its way down trip and ceiling hold; what was expected where it came from is no yardstick. */
  readonly lowering: boolean
}

/** Null where nothing of a step's limits is in force: the rail is off, its wiring is being proved, its heaters are cold. */
export function inForceNow(s: State, name: string): InForce | null {
  const step = currentStep(s)
  const rail = s.plan.rails[name]
  const state = s.rails[name]
  if (s.phase !== 'running' || !step || !rail || !state || step.do === 'hook-up check') return null
  if (!isUp(s, rail) || inSoftStart(s, step, name, state)) return null
  const limits = limitsNow(s, name)
  if (limits === null) return null
  return {
    limits,
    charge_A: isCharging(s, step, rail, state) ? limits.charge_A : 0,
    lowering: step.do === 'lower' && step.rail === name && limits.at_V > step.target_V,
  }
}

/**
 * A rail that stands while another is on its way draws what it drew before, or what it will, or anything between: bias, for
 * one, while grid current sets in. Null where both steps expect the same, or nothing moves.
 */
function besides(s: State, step: Step, rail: string): RailLimits | null {
  const now = step.limits[rail]
  const before = s.plan.steps[s.step - 1]?.limits[rail]
  const moving = step.do === 'raise' && step.rail !== rail && s.part !== 'hold' && s.part !== 'settle'
  if (!moving || !now || !before || before.at_V !== now.at_V || before.expected_A === now.expected_A)
    return null
  if (hasNotMoved(s, step)) return before
  return {
    ...now,
    expected_A: Math.min(before.expected_A, now.expected_A),
    lower_A: Math.min(before.lower_A, now.lower_A),
    ask_A: Math.min(before.ask_A, now.ask_A),
    upper_A: Math.max(before.upper_A, now.upper_A),
    trip_A: Math.max(before.trip_A, now.trip_A),
    ceiling_A: Math.max(before.ceiling_A, now.ceiling_A),
  }
}

/** The step's own rail waits at its gate, not held up half way by a question. */
function hasNotMoved(s: State, step: Step): boolean {
  if (step.rail === null || !isAwaited(s, step)) return false
  const way = wayOf(s, step, step.rail)
  return way === null ? (s.rails[step.rail]?.set_V ?? 0) <= off_V : way.part === 0
}

/** Least current a rail may draw unasked: its ask, or nine tenths of what a person accepted as weak. */
export function leastOf(s: State, rail: string, limits: RailLimits): number {
  const accepted = s.weak[rail]
  return accepted === undefined ? limits.ask_A : Math.min(limits.ask_A, 0.9 * accepted * limits.expected_A)
}

export function isRising(s: State, step: Step): boolean {
  return step.do === 'raise' && (s.part === 'on' || s.part === 'ramp' || s.part === 'arrive')
}

/** While, and just after, a rail rises: by its set-point, or by its knob. */
export function isCharging(s: State, step: Step, rail: RailPlan, state: RailState): boolean {
  const own = step.rail === rail.name
  const turned = own && rail.class === 'watched' && s.part === 'asking'
  // A current limit given back after its proof charges the output capacitor again.
  const back = own && s.part === 'prove back'
  return (own && isRising(s, step)) || turned || back || s.t_us - state.set_us < us(2)
}

export function inSoftStart(s: State, step: Step, rail: string, state: RailState): boolean {
  return (
    step.soft_start_s > 0 &&
    step.rail === rail &&
    s.t_us - Math.max(state.on_us ?? 0, s.step_us) <= us(step.soft_start_s) &&
    isRising(s, step)
  )
}

/**
 * What no current of a rail may pass now. Cold heaters draw what the supply allows, and the supply's own limit is that ceiling;
 * charge for reservoirs does not pass the tubes, so it is allowed on top.
 */
export function ceilingNow_A(
  s: State,
  step: Step,
  rail: RailPlan,
  state: RailState,
  limits: RailLimits,
): number {
  if (inSoftStart(s, step, rail.name, state)) return Math.max(limits.ceiling_A, coldCeiling_A(limits))
  return limits.ceiling_A + (isCharging(s, step, rail, state) ? limits.charge_A : 0)
}
export const coldCeiling_A = (limits: RailLimits): number => limits.supply_limit_A * 1.02

/**
 * The supply holds its current limit: as it says itself, or by a current at the limit. While reservoirs charge, step by step,
 * it does so for moments; what it says is asked seldom and outlasts them, so that only the current counts then.
 */
export function isLimiting(
  s: State,
  rail: RailPlan,
  measured_A: number,
  limits: RailLimits,
  charging: boolean,
): boolean {
  if (rail.class !== 'programmed') return false
  // While a supply is being qualified, what it says of its own regulation is what is to be proved.
  const believed = s.plan.kind !== 'qualify'
  const told =
    believed && !charging && rail.channels.some((part) => s.channels[part.channel]?.regulation === 'current')
  const near =
    measured_A >= limits.supply_limit_A - Math.max(2 * resolution(s, rail).A, 0.01 * limits.supply_limit_A)
  return told || near
}

/** Volts that should stand there now: while it is moved no more than it was set to, else those the limits were computed for. */
export function due_V(s: State, step: Step, rail: RailPlan, state: RailState, limits: RailLimits): number {
  if (step.rail !== rail.name) return limits.at_V
  if (step.do === 'lower') return Math.min(limits.at_V, step.target_V)
  return isRising(s, step) || isAwaited(s, step) ? Math.min(limits.at_V, state.set_V) : limits.at_V
}

/** A charged reservoir stands above a set-point that was lowered until its bleeder has drained it. */
export function comesDown(s: State, state: RailState): boolean {
  return (
    state.lowered_us !== null && (state.V?.value ?? 0) > state.set_V && s.t_us - state.lowered_us < us(120)
  )
}

/**
 * Any rail that may feed a plate or a screen (drive feeds grids) above the touch limit, or set to be. A watched one counts by the volts it was brought to, too: with
 * its meter dead it may still be up.
 */
export function htIsOn(s: State): boolean {
  // Asked several times at every reading: no list is made for it.
  for (const name in s.plan.rails) {
    const rail = s.plan.rails[name]
    const state = s.rails[name]
    if (!rail || !isHot(rail) || rail.role === 'drive' || !state) continue
    const above_V = touchOf(rail)
    if (state.energised && (state.V?.value ?? 0) > above_V) return true
    if ((state.energised || rail.class === 'watched') && state.set_V > above_V) return true
  }
  return false
}

/**
 * Whether a rail counts as up: switched on, measured to be up, or (watched) brought up by its knob in a step before and
 * counted on since. A dead rail measures nothing, and that is what must be judged. Its own knob being turned is no loss.
 */
export function isUp(s: State, rail: RailPlan): boolean {
  const state = s.rails[rail.name]
  const step = currentStep(s)
  // Also when all steps are done and it runs down: it is up until it is confirmed off.
  if (state?.energised === true) return true
  if (!state || !step) return false
  const turning = step.rail === rail.name && s.part === 'asking'
  return rail.class === 'watched' && state.set_V > off_V && step.limits[rail.name] !== undefined && !turning
}

/** A rail that is set to the touch limit reads a little more or less. */
const readsAbove_V = 1.05 * touch_V

/** What hands are kept from, by a question, a lid or an emergency contact: anything above the touch limit, whatever its role. */
export function mayNotBeTouched(s: State, rail: RailPlan): boolean {
  const known = s.rails[rail.name]
  if (known === undefined || !isUp(s, rail)) return false
  // Told OFF already: what it was set to says nothing any more, what is read does.
  if (s.off !== null && known.V !== null) return known.V.value > readsAbove_V
  return known.set_V > touch_V || (known.V?.value ?? 0) > readsAbove_V
}

/** Set-point of a rail, with those of its channels that are on their way. */
export function asked_V(s: State, rail: RailPlan, state: RailState): number {
  const asked = rail.channels.reduce((sum, part) => {
    const channel = s.channels[part.channel]
    return sum + Math.max(channel?.setting ?? 0, channel?.set_V ?? 0)
  }, 0)
  return Math.max(state.set_V, asked)
}

const figure = {
  trip: (limits: RailLimits): number => limits.trip_A,
  ceiling: (limits: RailLimits): number => limits.ceiling_A,
}

/**
 * Why a limit is what it is at this moment, with the figure that is in force: between two steps it belongs to neither, so
 * both are named. `charge_A` is what is allowed on top of it now.
 */
export function reasonText(s: State, rail: string, limit: 'trip' | 'ceiling', charge_A: number): string {
  const step = currentStep(s)
  const limits = limitsNow(s, rail)
  if (!step || !limits) return ''
  const of = figure[limit]
  const way = wayOf(s, step, rail)
  const whole_A = of(limits) + charge_A
  const charge = charge_A > 0 ? `, ${amps(charge_A)} of it to charge capacitors` : ''
  const name = `${limit === 'trip' ? 'Trip' : 'Ceiling'} ${amps(whole_A)}`
  const held = way ? null : heldFrom(s, step, rail, of)
  if (held)
    return sentence(`${name} at ${volts(limits.at_V)}${charge}, still that of step ${held.index}`, [
      whyOf(held, rail, limit),
    ])
  if (way && isStillBefore(s, step, way))
    return sentence(`${name} at ${volts(way.before.at_V)}${charge}, that of step ${way.from.index}`, [
      whyOf(way.from, rail, limit),
    ])
  const end = whyOf(step, rail, limit)
  if (!way || way.part >= 1) return sentence(`${name} at ${volts(limits.at_V)}${charge}`, [end])
  const begin = whyOf(way.from, rail, limit)
  const whys = begin === end ? [end] : [`${end}; in step ${way.from.index}, ${begin}`]
  const set_V = s.rails[rail]?.set_V ?? 0
  const low = `${amps(of(way.before))} of step ${way.from.index} (${volts(way.before.at_V)})`
  const high = `${amps(of(way.now))} of step ${step.index} (${volts(way.now.at_V)})`
  const how =
    of(way.now) < of(way.before) ? `still the ${low}, above the ${high}` : `between ${low} and ${high}`
  return sentence(`${name} at ${volts(set_V)} set${charge}, ${how}`, whys)
}

/** The step before, where its figure still holds for a rail that stands while another is, or is to be, on its way. */
function heldFrom(s: State, step: Step, rail: string, of: (limits: RailLimits) => number): Step | null {
  const before = s.plan.steps[s.step - 1]
  const was = before?.limits[rail]
  const own = step.limits[rail]
  const held = besides(s, step, rail)
  if (!before || !was || !own || held === null) return null
  return of(held) === of(was) && of(was) !== of(own) ? before : null
}

/** What the plan says behind the figure. */
function whyOf(step: Step, rail: string, limit: 'trip' | 'ceiling'): string {
  const text = step.limits[rail]?.because.find((reason) => reason.limit === limit)?.text ?? ''
  return text.slice(text.indexOf(': ') + 1).trim()
}

function sentence(what: string, whys: readonly string[]): string {
  const why = whys.filter((each) => each !== '').join('; ')
  return `${what}${why === '' ? '' : `: ${why}`}.`
}
