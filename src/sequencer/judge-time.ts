import type { RailPlan, Step } from '../plan/index.js'
import { broke, tripAt } from './breach.js'
import { comesDown, htIsOn, isRising, isUp } from './in-force.js'
import { judgeInputsFreshness } from './inputs.js'
import { whyQuiet } from './line-trouble.js'
import { leftAlone, proofUnderWay } from './prove.js'
import type { Draft, RailState, Sample } from './state.js'
import { accuracy, ampsCome, currentStep, hookedUp, paced_s, resolution, typedValid_s, us } from './state.js'
import { volts } from './words.js'

/** The trip rules that time alone can break: judged at every tick. */

/** Judged at every tick: what the clock alone can break. `dt_s` is the time since the last tick. */
export function judgeTick(d: Draft, dt_s: number): void {
  const step = currentStep(d.s)
  if (!step) return
  // No lists are made here: a tick comes as often as readings do.
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const state = d.s.rails[name]
    if (!rail || !state || !isUp(d.s, rail) || rail.class === 'hand') continue
    if (!leftAlone(d.s, rail.name)) judgeFreshness(d, rail, state)
    const stands_V = rail.class === 'watched' ? Math.max(state.set_V, state.V?.value ?? 0) : state.set_V
    const exempt = step.do === 'hook-up check' && rail.class === 'programmed'
    if (!exempt && stands_V > 5 && step.limits[rail.name] === undefined) {
      broke(d, {
        code: rail.class === 'watched' ? 'watched-input' : 'invariant',
        rail: rail.name,
        text: `${rail.name} stands at ${volts(stands_V)} in a step that has no limits for it${rail.class === 'watched' ? ': its knob was turned before its turn' : ''}.`,
      })
    }
    const proved = proofUnderWay(d.s, rail.name) !== null
    if (rail.class === 'programmed' && step.do !== 'hook-up check' && !proved)
      judgeIntegral(d, step, rail, state, dt_s)
  }
  judgeTimeLimits(d, step)
  judgeBiasFreshness(d)
  judgeInputsFreshness(d)
  judgeTyped(d)
  judgePending(d)
  judgeIntent(d)
  if (d.s.begun_us !== null && hookedUp(d.s) && d.s.t_us - d.s.begun_us > us(d.s.plan.time_budget_s)) {
    broke(d, {
      code: 'time-budget',
      measured: (d.s.t_us - d.s.begun_us) / 1e6,
      limit: d.s.plan.time_budget_s,
      unit: 's',
      text: `The run has used its time budget of ${Math.round(d.s.plan.time_budget_s)} s.`,
    })
  }
}

function judgeFreshness(d: Draft, rail: RailPlan, state: RailState): void {
  // A watched rail that measures nothing is not on by its own word; since its knob was turned it is expected to be.
  const since_us = Math.max(state.on_us ?? state.set_us, state.on_known_us ?? 0)
  const oldest_us = ampsCome(d.s, rail)
    ? Math.min(state.V?.t_us ?? 0, state.A?.t_us ?? 0)
    : (state.V?.t_us ?? 0)
  const age_us = d.s.t_us - Math.max(oldest_us, since_us)
  const own_s = rail.stale_s ?? d.s.plan.stale_s
  // Told ON it may be on from then on, whatever comes of that, so it is watched; but its line has less time for readings.
  const limit_s = goesOn(d, rail) ? (rail.on_stale_s ?? own_s) : own_s
  if (age_us > us(limit_s)) {
    const meters = Object.values(d.s.plan.meters).filter((meter) => meter.rail === rail.name)
    tooOld(d, rail, { age_us, limit_s }, `The newest reading of ${rail.name} is`, [
      ...rail.channels,
      ...meters,
    ])
  }
}

/** Readings that stay away are told with what has been wrong on their line since, as the line itself told it. */
function tooOld(
  d: Draft,
  rail: RailPlan,
  { age_us, limit_s }: { readonly age_us: number; readonly limit_s: number },
  what: string,
  from: readonly { readonly port: string | null }[],
): void {
  const { code, text } = whyQuiet(d, age_us, from)
  broke(d, {
    code,
    rail: rail.name,
    measured: age_us / 1e6,
    limit: limit_s,
    unit: 's',
    text: `${what} ${(age_us / 1e6).toFixed(2)} s old (limit ${limit_s.toFixed(2)} s): ${text === null ? 'the line or its supply has gone quiet.' : uncapitalised(text)}`,
  })
}

const uncapitalised = (text: string): string => text.charAt(0).toLowerCase() + text.slice(1)

function goesOn(d: Draft, rail: RailPlan): boolean {
  return Object.values(d.s.pending).some(
    ({ channel, request }) => request.do === 'on' && rail.channels.some((part) => part.channel === channel),
  )
}

function judgeIntegral(d: Draft, step: Step, rail: RailPlan, state: RailState, dt_s: number): void {
  const rising = step.rail === rail.name && isRising(d.s, step)
  if (rising || comesDown(d.s, state) || state.set_V <= 0 || d.s.t_us - state.set_us < us(2)) {
    state.error_pct_s = 0
    return
  }
  // What is set and what is read each have the supply's error, so together they may differ by twice that.
  const allowed = Math.max(2 * accuracy(d.s, rail, state.set_V, 0).V, resolution(d.s, rail).V)
  const beyond = Math.abs((state.V?.value ?? state.set_V) - state.set_V) - allowed
  if (beyond > 0) state.error_pct_s += (100 * beyond * dt_s) / state.set_V
  const limit = 100 * tripAt(d.s, 'error-integral', 0.1)
  if (state.error_pct_s > limit) {
    broke(d, {
      code: 'error-integral',
      rail: rail.name,
      measured: state.error_pct_s,
      limit,
      unit: '%·s',
      text: `${rail.name} has stood off its set-point of ${volts(state.set_V)} for too long (${state.error_pct_s.toFixed(1)} %·s, limit ${limit.toFixed(0)} %·s).`,
    })
  }
}

/** A bias meter that went quiet while HT is on. */
function judgeBiasFreshness(d: Draft): void {
  if (!htIsOn(d.s)) return
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const bias = rail?.bias
    if (!rail || !bias || bias.meter === null) continue
    const age_us = d.s.t_us - (d.s.meters[bias.meter]?.t_us ?? 0)
    const limit_s = bias.stale_s ?? d.s.plan.stale_s
    if (age_us > us(limit_s))
      tooOld(
        d,
        rail,
        { age_us, limit_s },
        `HT is on, and the newest reading of the bias meter at ${bias.node} is`,
        [{ port: d.s.plan.meters[bias.meter]?.port ?? null }],
      )
  }
}

/**
 * What a person typed is asked for again wherever a step can stand still for it. One question that was open already may come
 * in between; a reading older than that is none.
 */
function judgeTyped(d: Draft): void {
  const most_us = us(typedValid_s + d.s.plan.prompt_timeout_s)
  const old = (what: string, rail: string, sample: Sample | null | undefined): void => {
    if (!sample || d.s.t_us - sample.t_us <= most_us) return
    broke(d, {
      code: 'prompt-timeout',
      rail,
      measured: (d.s.t_us - sample.t_us) / 1e6,
      limit: most_us / 1e6,
      unit: 's',
      text: `The reading typed for ${what} is ${Math.round((d.s.t_us - sample.t_us) / 60e6)} min old and could not be asked for again.`,
    })
  }
  const ht = htIsOn(d.s)
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    const state = d.s.rails[name]
    if (!rail) continue
    if (rail.class === 'hand' && state?.energised) old(rail.name, rail.name, state.V)
    if (ht && rail.bias?.meter === null) old(rail.bias.node, rail.name, d.s.typed[`node:${rail.bias.node}`])
  }
}

/** An intent that never reaches the disk. */
function judgeIntent(d: Draft): void {
  const limit_s = tripAt(d.s, 'recorder-lost', 10)
  if (d.s.intent?.recorded !== false || d.s.t_us - d.s.part_us <= us(limit_s)) return
  broke(d, {
    code: 'recorder-lost',
    measured: (d.s.t_us - d.s.part_us) / 1e6,
    limit: limit_s,
    unit: 's',
    text: `The record did not confirm the intent of this segment within ${limit_s} s, so nothing was raised.`,
  })
}

/** A request whose outcome never came is a line that cannot be trusted, whatever the line thinks of itself. */
const outcomeWithin_s = 10
function judgePending(d: Draft): void {
  const within_s = paced_s(d.s, outcomeWithin_s)
  for (const id in d.s.pending) {
    const pending = d.s.pending[id]
    if (!pending || d.s.t_us - pending.t_us <= us(within_s)) continue
    broke(d, {
      code: 'line-lost',
      text: `${pending.channel} was told "${pending.request.do}" and no outcome came in ${within_s} s. It may have happened.`,
    })
  }
}

/** What may stand for a time only: a stage off tune, a key in intermittent duty. Questions stop no clock. */
function judgeTimeLimits(d: Draft, step: Step): void {
  const timed: Record<string, number> = {}
  for (const { name, rail, above_V, s, text } of step.time_limits ?? []) {
    const state = d.s.rails[rail]
    const stands = state?.energised === true && (state.V?.value ?? 0) > above_V
    const since_us = d.s.timed[name] ?? (stands ? d.s.t_us : null)
    if (since_us === null) continue
    timed[name] = since_us
    const for_s = (d.s.t_us - since_us) / 1e6
    const limit = s * tripAt(d.s, 'key-time', 1)
    if (for_s <= limit) continue
    broke(d, {
      code: 'key-time',
      rail,
      measured: for_s,
      limit,
      unit: 's',
      text: `${text}. Its time is over, so everything goes off.`,
    })
  }
  d.s.timed = timed
}
