import type { Bench } from '../bench/index.js'
import type { Profile } from '../profile/index.js'
import { slowestPoll_s, sooner, staleAfter_s } from './stale.js'
import type { Rule } from './types.js'

/** Every trip rule by its code: the one list that plan, sequencer, record and tests share. */
export const ruleCodes = [
  'over-ceiling',
  'over-trip',
  'rising',
  'current-limit',
  'off-set-point',
  'slow-rise',
  'error-integral',
  'protection',
  'stale',
  'bad-reply',
  'read-back',
  'line-lost',
  'heater-lost',
  'bias-low',
  'drive-lost',
  'plate-lost',
  'recorder-lost',
  'time-budget',
  'watched-input',
  'slept',
  'late-tick',
  'parent-lost',
  'hook-up',
  'prompt-timeout',
  'operator',
  'below-ask',
  'wont-fall',
  'invariant',
  'soft-start',
  'key-time',
  'unproved',
  'given-up',
] as const
export type RuleCode = (typeof ruleCodes)[number]

/** Samples and seconds a value must stay beyond a limit before it counts. */
export const debounce = { samples: 3, s: 0.3 } as const

/** What counts as settled: the last `window_s` lie within max(`resolutions` read-back steps, `fraction` of the mean). */
export const settled = { window_s: 10, resolutions: 2, fraction: 0.01 } as const

const ours = "slowglow's own starting value, no published source"

/** What of a profile bears on the rules. */
type Wishes = Pick<Profile, 'rules' | 'time_budget_s' | 'prompt_timeout_s'>

interface Starting {
  readonly text: string
  readonly warn: number | null
  readonly trip: number | null
  readonly for_s: number
  readonly unit: string
  /** Which way a threshold gets stricter; `none` where there is nothing to tighten. */
  readonly stricter: 'lower' | 'higher' | 'none'
  readonly source?: string
}

const starting: Readonly<Record<RuleCode, Starting>> = {
  'over-ceiling': {
    text: 'Current above the ceiling of the step: one valid sample is enough.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: '× ceiling',
    stricter: 'lower',
  },
  'over-trip': {
    text: `Current above the trip of the step for ${debounce.samples} samples and ${debounce.s * 1000} ms.`,
    warn: null,
    trip: 1,
    for_s: debounce.s,
    unit: '× trip',
    stricter: 'lower',
  },
  rising: {
    text: 'Current above its band and still rising at a constant set-point, by more than this part of expected or 3 read-back resolutions within the time: a tube running away by heat or gas.',
    warn: null,
    trip: 0.03,
    for_s: 20,
    unit: 'of expected',
    stricter: 'lower',
  },
  'current-limit': {
    text: 'Supply in current limit while nothing is being charged and no heater soft start is planned.',
    warn: null,
    trip: 1,
    for_s: debounce.s,
    unit: 'state',
    stricter: 'none',
  },
  'off-set-point': {
    text: "Volts away from the set-point by more than this part of it or 3 × the read-back's accuracy, and not a charged reservoir coming down.",
    warn: null,
    trip: 0.02,
    for_s: debounce.s,
    unit: 'of set-point',
    stricter: 'lower',
  },
  'slow-rise': {
    text: 'While a rail is raised, volts rise slower than this part of the slew for the time: something holds them down.',
    warn: null,
    trip: 0.5,
    for_s: 5,
    unit: 'of slew',
    stricter: 'higher',
  },
  'error-integral': {
    text: 'While a rail holds, the difference from its set-point beyond accuracy, added up over time.',
    warn: null,
    trip: 0.1,
    for_s: 0,
    unit: 'of set-point · s',
    stricter: 'lower',
  },
  protection: {
    text: 'A protection of the supply itself fired (over-voltage, over-current, over-temperature or its dead-man).',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  stale: {
    text: 'The newest reading of an energised rail is older than this.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'bad-reply': {
    text: 'A reply could not be read or believed, after the line had tried to recover.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'read-back': {
    text: 'A setting read back from the supply differs from what was sent by more than one step of it.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'resolutions',
    stricter: 'none',
  },
  'line-lost': {
    text: 'A line is gone or can no longer be trusted.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'heater-lost': {
    text: "A heater rail's current falls below its lower limit while HT is on: a heater or a chain has opened.",
    warn: null,
    trip: 1,
    for_s: debounce.s,
    unit: '× lower limit',
    stricter: 'none',
  },
  'bias-low': {
    text: 'Bias at the grid return is less than the set needs, has the wrong sign, or its preload current is gone, while HT is on.',
    warn: null,
    trip: 1,
    for_s: debounce.s,
    unit: '× needed bias',
    stricter: 'higher',
  },
  'drive-lost': {
    text: 'Drive is below this part of expected while a driven stage has HT.',
    warn: null,
    trip: 0.5,
    for_s: debounce.s,
    unit: 'of expected',
    stricter: 'higher',
  },
  'plate-lost': {
    text: 'Plate volts or plate current missing while the screen is on; the current counts only where the step expects at least 5 resolutions of it.',
    warn: null,
    trip: 0.25,
    for_s: debounce.s,
    unit: 'of expected',
    stricter: 'higher',
  },
  'recorder-lost': {
    text: 'The recorder has not confirmed for this long, or cannot write.',
    warn: 2,
    trip: 10,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'time-budget': {
    text: 'The run has used up its time.',
    warn: null,
    trip: null,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'watched-input': {
    text: 'A watched input (a meter at a node, thermometer, door, outside cut-off) is beyond its limit; each limit is listed at the end.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  slept: {
    text: 'The computer slept: its uptime ran ahead of the run’s clock by this much.',
    warn: null,
    trip: 0.5,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'late-tick': {
    text: 'The loop that judges readings came this late.',
    warn: 0.25,
    trip: 0.5,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'parent-lost': {
    text: 'The supervising process is gone, or its heartbeat is this old.',
    warn: 0.25,
    trip: 0.5,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  'hook-up': {
    text: 'The hook-up check of a channel is outside its window, or its polarity is wrong.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'prompt-timeout': {
    text: 'A question stayed unanswered this long.',
    warn: null,
    trip: 600,
    for_s: 0,
    unit: 's',
    stricter: 'lower',
  },
  operator: {
    text: 'A person stopped the run.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'below-ask': {
    text: 'Settled current below "ask": the run holds and asks. It does not trip: tubes long in store read low and rise.',
    warn: 1,
    trip: null,
    for_s: settled.window_s,
    unit: '× ask',
    stricter: 'none',
  },
  'wont-fall': {
    text: 'After OFF, terminal volts have not fallen by this many read-back resolutions within the time.',
    warn: null,
    trip: 3,
    for_s: 10,
    unit: 'resolutions',
    stricter: 'none',
  },
  invariant: {
    text: 'A rule that can never be broken was found broken: our own fault, so everything goes off.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'soft-start': {
    text: 'Heaters still in current limit after this many times the predicted warm-up.',
    warn: null,
    trip: 2,
    for_s: 0,
    unit: '× predicted time',
    stricter: 'lower',
  },
  'key-time': {
    text: 'A driven stage stood longer than its time: off tune while it was tuned, or keyed in intermittent duty. The times are in the steps.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: '× time allowed',
    stricter: 'lower',
  },
  unproved: {
    text: 'Unattended work: what must switch off when this computer falls silent did not do so when it was tried in this start.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
  'given-up': {
    text: 'Unattended work: an electrolytic under treatment was given up, and nobody is there to take it off.',
    warn: null,
    trip: 1,
    for_s: 0,
    unit: 'event',
    stricter: 'none',
  },
}

/**
 * Trip rules in force, in the order of `ruleCodes`: starting values, tightened by bench and profile. A profile that asks
 * for a looser value does not get it (`looserRules` tells the person).
 *
 * @param time_budget_s - the plan's own budget where the profile states none, seconds
 */
export function standardRules(bench: Bench, profile: Wishes, time_budget_s: number | null = null): Rule[] {
  return ruleCodes.map((code) => {
    const base = started(code, bench, profile, time_budget_s)
    const wish = profile.rules[code]
    const warn = tightened(base.warn, wish?.warn, base.stricter)
    const trip = tightened(base.trip, wish?.trip, base.stricter)
    const for_s = wish?.for_s !== undefined && wish.for_s < base.for_s ? wish.for_s : base.for_s
    const changed = warn !== base.warn || trip !== base.trip || for_s !== base.for_s
    return {
      code,
      text: base.text,
      warn,
      trip,
      for_s,
      unit: base.unit,
      source: changed ? 'tightened by the profile' : (base.source ?? ours),
    }
  })
}

/** Codes the profile names that do not exist, and wishes that would loosen a rule; each as a sentence. */
export function looserRules(bench: Bench, profile: Profile): { what: string; remedy: string }[] {
  const found: { what: string; remedy: string }[] = []
  for (const [code, wish] of Object.entries(profile.rules)) {
    if (!isRuleCode(code)) {
      found.push({
        what: `The profile tightens a rule "${code}" that does not exist.`,
        remedy: `Rules are: ${ruleCodes.join(', ')}.`,
      })
      continue
    }
    const base = started(code, bench, profile, null)
    const looser =
      isLooser(base.warn, wish.warn, base.stricter) ||
      isLooser(base.trip, wish.trip, base.stricter) ||
      (wish.for_s !== undefined && wish.for_s > base.for_s)
    if (looser) {
      found.push({
        what: `The profile asks for a looser rule "${code}" than slowglow starts from; the stricter one stays in force.`,
        remedy: `A profile may only tighten. In force: ${base.trip ?? base.warn ?? 'no figure'} ${base.unit}, for ${base.for_s} s.`,
      })
    }
  }
  return found
}

export function isRuleCode(code: string): code is RuleCode {
  return (ruleCodes as readonly string[]).includes(code)
}

/** Until the readings have come that make a trip, seconds: as many as it takes, and no sooner than its time. */
export function seenWithin_s(bench: Bench): number {
  return Math.max(debounce.samples * slowestPoll_s(bench), debounce.s)
}

function started(code: RuleCode, bench: Bench, profile: Wishes, time_budget_s: number | null): Starting {
  const base = starting[code]
  if (code === 'stale') {
    const source =
      bench.stale_s === null
        ? `max(3 × poll period, 1.5 × the longest time without a reading, 1 s)${sooner(bench)}`
        : 'the bench file'
    return { ...base, trip: staleAfter_s(bench), source }
  }
  if (code === 'late-tick' && bench.late_tick_s !== null) {
    const trip = Math.min(base.trip ?? Infinity, bench.late_tick_s)
    return { ...base, trip, warn: Math.min(base.warn ?? trip, trip), source: 'the bench file' }
  }
  if (code === 'time-budget') {
    if (profile.time_budget_s !== null) return { ...base, trip: profile.time_budget_s, source: 'the profile' }
    return { ...base, trip: time_budget_s, source: 'three times the time the plan expects, our choice' }
  }
  if (code === 'prompt-timeout' && profile.prompt_timeout_s !== null) {
    const trip = Math.min(base.trip ?? Infinity, profile.prompt_timeout_s)
    return { ...base, trip, source: 'the profile' }
  }
  return base
}

function isLooser(base: number | null, wish: number | undefined, stricter: Starting['stricter']): boolean {
  if (wish === undefined || base === null) return false
  if (stricter === 'none') return wish !== base
  return stricter === 'lower' ? wish > base : wish < base
}

function tightened(
  base: number | null,
  wish: number | undefined,
  stricter: Starting['stricter'],
): number | null {
  if (base === null || wish === undefined || stricter === 'none') return base
  return stricter === 'lower' ? Math.min(base, wish) : Math.max(base, wish)
}
