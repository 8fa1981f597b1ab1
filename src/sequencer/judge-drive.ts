import { type DriveWatch, openLeadMost_A, type Step } from '../plan/index.js'
import { broke, lasting, tripAt } from './breach.js'
import { htIsOn, limitsNow } from './in-force.js'
import type { Draft, RailState } from './state.js'
import { currentStep, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/**
 * Drive is proved by grid current, and its loss trips. A stage with drive draws what its load wants; without, all or nothing,
 * which its HT current tells too late or not at all.
 */

/** Watches that count now: of the step that holds, or, while HT rises to the next, those that showed before. */
function watches(d: Draft, step: Step): readonly DriveWatch[] {
  if (step.do === 'lower' || step.do === 'hook-up check') return []
  const stands = step.do !== 'raise' || d.s.part === 'hold' || d.s.part === 'settle'
  if (stands) return step.drive ?? []
  const before = d.s.plan.steps[d.s.step - 1]
  return before?.mode === step.mode && step.needs_drive !== undefined ? (before.drive ?? []) : []
}

/** Judged when a meter on a line answered. */
export function judgeDriveMeter(d: Draft, name: string): void {
  const step = currentStep(d.s)
  const reading = d.s.meters[name]
  if (!step || !reading || !htIsOn(d.s)) return
  for (const watch of watches(d, step)) {
    const { meter } = watch
    if (meter?.name !== name) continue
    const shown = (reading.value - meter.lost_V) / (meter.volts - meter.lost_V)
    const keeper = Object.values(d.s.rails)[0]
    if (keeper)
      judge(d, step, keeper, watch, shown, ' by meter', {
        measured: reading.value,
        limit: meter.lost_V + half(d) * (meter.volts - meter.lost_V),
        unit: 'V',
        text: `${name} shows ${volts(reading.value)} where ${volts(meter.volts)} is expected with drive and ${volts(meter.lost_V)} without`,
      })
  }
}

/** Judged when the current of a bias rail arrived: grid current comes back to it, so that its supply gives less. */
export function judgeDriveBias(d: Draft, rail: string): void {
  const step = currentStep(d.s)
  const state = d.s.rails[rail]
  const A = state?.A?.value
  if (!step || !state || A === undefined || !htIsOn(d.s) || mayBeOpen(d, rail, A)) return
  for (const watch of watches(d, step)) {
    const { bias } = watch
    if (bias?.rail !== rail) continue
    // This set's own resistors, as its bias read before there was any grid current.
    const own = d.s.rest[rail] ?? 1
    const [with_A, lost_A] = [own * bias.with_A, own * bias.lost_A]
    judge(d, step, state, watch, (lost_A - A) / (lost_A - with_A), '', {
      rail,
      measured: A,
      limit: lost_A - half(d) * (lost_A - with_A),
      unit: 'A',
      text: `${rail} gives ${amps(A)} where ${amps(with_A)} is expected with drive and ${amps(lost_A)} without`,
    })
  }
}

/** As little as with its lead off: that is no grid current, and proves no drive. Whether bias stands is judged elsewhere. */
function mayBeOpen(d: Draft, rail: string, A: number): boolean {
  const plan = d.s.plan.rails[rail]
  const limits = limitsNow(d.s, rail)
  if (!plan?.bias || !limits) return false
  return A <= openLeadMost_A(plan.bias, limits.at_V, resolution(d.s, plan).A)
}

/**
 * A bias supply that gives more while a stage is driven has lost grid current: that is judged here, no tube runs away. On the
 * way down HT takes its drive along, and grid current with it: up to a tenth above what is given with none of it.
 */
export function tellsDrive(d: Draft, rail: string, measured_A: number): boolean {
  const step = currentStep(d.s)
  if (step?.do === 'lower') {
    const before = d.s.plan.steps.slice(0, d.s.step).findLast(({ do: what }) => what !== 'lower')
    if (before?.mode !== step.mode) return false
    const watched = (before.drive ?? []).flatMap(({ bias }) => (bias?.rail === rail ? [bias] : []))
    const [first] = watched
    if (first === undefined) return false
    const without_A = watched.reduce((sum, { with_A, lost_A }) => sum + lost_A - with_A, first.with_A)
    return measured_A <= 1.1 * (d.s.rest[rail] ?? 1) * without_A
  }
  return step?.drive !== undefined && watches(d, step).some(({ bias }) => bias?.rail === rail)
}

const half = (d: Draft): number => tripAt(d.s, 'drive-lost', 0.5)

function judge(
  d: Draft,
  step: Step,
  keeper: RailState,
  watch: DriveWatch,
  shown: number,
  seenBy: string,
  seen: { rail?: string; measured: number; limit: number; unit: string; text: string },
): void {
  const lost = shown < half(d)
  if (!lost) d.s.drive_seen = { ...d.s.drive_seen, [watch.tube]: d.s.step }
  // Reservoirs and drivers take a moment after HT came to rest.
  const fresh = step.do === 'raise' && d.s.t_us - d.s.part_us < us(2)
  if (!lasting(d, keeper, 'drive-lost', lost && !fresh, ` of ${watch.tube}${seenBy}`)) return
  broke(d, {
    ...seen,
    code: 'drive-lost',
    text: `${watch.tube} has lost its drive: ${seen.text}. Grid current proves drive, and this is ${shown < 0.05 ? 'none' : `${(100 * shown).toFixed(0)} %`} of the ${amps(watch.grid_A)} there should be.`,
  })
}

/** Before HT rises further on a driven stage: its grid current was seen in the step before. */
export function driveProved(d: Draft, step: Step): boolean {
  const missing = step.needs_drive?.find(
    (tube) => d.s.drive_seen[tube] !== d.s.step - 1 && d.s.drive_seen[tube] !== d.s.step,
  )
  if (missing === undefined) return true
  if (d.s.t_us - d.s.part_us > us(10))
    broke(d, {
      code: 'drive-lost',
      ...(step.rail !== null && { rail: step.rail }),
      text: `${step.rail ?? 'HT'} may not rise to ${volts(step.target_V)}: the drive of ${missing} is not proved, no grid current was seen.`,
    })
  return false
}
