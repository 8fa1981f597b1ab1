import type { Plan } from '../../src/plan/index.js'
import type { Moment, Signal, SignalWay } from './signals.js'

/*
 * What must come of each spoilt reading, written down before it is tried: for every reading, way and moment the act, and the longest time
 * until everything is told off. Figures are those of product and architecture, or said to be our choice; none is taken from what happened.
 */

/** From when the time counts: the first spoilt answer; but no sooner than its rail is told on, or HT is wanted. */
export type From = 'it began' | 'its rail was on' | 'HT was wanted'

export interface Expected {
  readonly acts: readonly string[]
  /** Null: nothing has to go off. */
  readonly within_s: number | null
  readonly from: From
  readonly because: string
}

/** Nothing ended the run. */
export const goesOn = 'ended: completed'
/** Readings come five times a second; one round more passes before the next is looked at. */
const round_s = 0.2
const silence = ['stale', 'line-lost', 'bad-reply']

type Way = keyof ReturnType<typeof actsOf>

/** Acts by name, each with where its figure comes from. */
export function actsOf(plan: Plan) {
  const rails = Object.values(plan.rails)
  const stale_s = Math.max(plan.stale_s, ...rails.map((rail) => rail.stale_s ?? 0))
  const on_s = Math.max(stale_s, ...rails.map((rail) => rail.on_stale_s ?? 0))
  const longest_ramp_s = Math.max(
    ...plan.steps.map(({ target_V, slew_V_per_s }) => (slew_V_per_s > 0 ? target_V / slew_V_per_s : 0)),
  )
  const act = (acts: readonly string[], s: number | null, from: From, because: string): Expected => ({
    acts,
    within_s: s === null ? null : s + round_s,
    from,
    because,
  })
  return {
    silent: act(
      silence,
      stale_s,
      'its rail was on',
      `no reading for the stale limit: max(3 polls, 1 s), here ${stale_s} s`,
    ),
    'silent at ON': act(
      [...silence, 'hook-up'],
      on_s + stale_s,
      'its rail was on',
      `until the outcome of ON is known the stale limit and what ON takes on the line, here ${on_s.toFixed(1)} s; from then on the stale limit again`,
    ),
    'out of its window': act(
      ['hook-up', 'off-set-point', 'over-ceiling', 'bias-low'],
      on_s + 15,
      'its rail was on',
      'what ON takes, and then the hook-up check has 15 s for volts over amps to come into the window (our choice); a window that is wide leaves it to the first step of the rail',
    ),
    'wrong side': act(
      ['hook-up', 'line-lost'],
      5,
      'its rail was on',
      'the meter at the named node has 5 s to show the polarity (our choice)',
    ),
    'too much': act(
      ['over-ceiling', 'hook-up'],
      round_s,
      'its rail was on',
      'one valid reading above a ceiling, or above what the check can make, is enough',
    ),
    'too much, on the way': act(
      ['over-ceiling', 'off-set-point', 'bad-reply'],
      longest_ramp_s,
      'its rail was on',
      'one reading above the ceiling or the over-voltage level of the step, or three above the set-point so far: within the ramp at the latest',
    ),
    'no number': act(
      ['bad-reply', 'over-ceiling', 'off-set-point'],
      stale_s,
      'its rail was on',
      'above what the supply can give it is no reading, and silence is judged as silence',
    ),
    'does not arrive': act(
      ['off-set-point', 'slow-rise', 'error-integral'],
      longest_ramp_s + 10,
      'its rail was on',
      'the ramp, and 10 s for the volts to arrive (our choice)',
    ),
    'off its set-point': act(
      ['off-set-point', 'error-integral', 'bias-low'],
      1 + 3 * round_s,
      'it began',
      'an error of 10 %·s while it holds, or three readings and 300 ms off the set-point from 1 s after it was set',
    ),
    lost: act(
      ['heater-lost', 'bias-low'],
      3 * round_s,
      'it began',
      'three readings and 300 ms below the least, with HT on',
    ),
    'lost at HT': act(
      ['bias-low', ...silence],
      20 + 3 * round_s,
      'HT was wanted',
      'HT waits 20 s for the bias at the grid return (our choice), and with HT on three readings and 300 ms are enough',
    ),
    asked: act(
      [goesOn, 'operator'],
      null,
      'it began',
      'a current below "ask" holds the step and asks; it trips nothing: the rehearsed person goes on, or stops where heaters do not glow',
    ),
    'passes: steady': act(
      [goesOn],
      null,
      'it began',
      'what stands still looks steady: nothing in this reading tells; the others of the rail and the supply’s own limits stand',
    ),
    'passes: more': act(
      [goesOn],
      null,
      'it began',
      'more bias than the set needs is no fault of the bias; HT current tells what it does',
    ),
    down: act(
      [goesOn, 'line-lost', 'over-ceiling', ...silence],
      null,
      'it began',
      'everything is going off already: OFF is told until it is measured, and a reading of too much makes a run-down urgent',
    ),
  } as const satisfies Record<string, Expected>
}

type Row = readonly [hookUp: Way, warmUp: Way, rising: Way, standing: Way, goingOff: Way]
type Rows = Readonly<Record<SignalWay, Row>>

const gone: Row = ['silent at ON', 'silent at ON', 'silent', 'silent', 'down']
const noValue = { off: gone, late: gone, 'not a number': gone, noise: gone } as const
const meterGone: Row = ['wrong side', 'lost at HT', 'silent', 'silent', 'down']

const expected: Readonly<Record<Signal, Rows>> = {
  'HT volts': {
    ...noValue,
    stuck: ['out of its window', 'does not arrive', 'does not arrive', 'passes: steady', 'down'],
    'three times': ['too much', 'too much, on the way', 'too much', 'no number', 'down'],
    'a third': ['out of its window', 'does not arrive', 'does not arrive', 'off its set-point', 'down'],
  },
  'HT current': {
    ...noValue,
    stuck: ['out of its window', 'passes: steady', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['out of its window', 'too much, on the way', 'too much', 'too much', 'down'],
    'a third': ['out of its window', 'asked', 'asked', 'asked', 'down'],
  },
  'heater volts': {
    ...noValue,
    stuck: ['out of its window', 'passes: steady', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['out of its window', 'no number', 'no number', 'no number', 'down'],
    'a third': ['out of its window', 'off its set-point', 'off its set-point', 'off its set-point', 'down'],
  },
  'heater current': {
    ...noValue,
    stuck: ['out of its window', 'passes: steady', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['too much', 'too much', 'too much', 'too much', 'down'],
    'a third': ['asked', 'asked', 'lost', 'lost', 'down'],
  },
  'bias volts': {
    ...noValue,
    stuck: ['out of its window', 'does not arrive', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['too much', 'too much, on the way', 'too much', 'too much', 'down'],
    'a third': ['out of its window', 'does not arrive', 'off its set-point', 'off its set-point', 'down'],
  },
  'bias current': {
    ...noValue,
    stuck: ['out of its window', 'lost at HT', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['out of its window', 'too much, on the way', 'too much', 'too much', 'down'],
    'a third': ['out of its window', 'lost at HT', 'lost', 'lost', 'down'],
  },
  'grid return volts': {
    off: meterGone,
    late: meterGone,
    'not a number': meterGone,
    noise: meterGone,
    stuck: ['wrong side', 'lost at HT', 'passes: steady', 'passes: steady', 'down'],
    'three times': ['wrong side', 'passes: more', 'passes: more', 'passes: more', 'down'],
    'a third': ['wrong side', 'lost at HT', 'lost', 'lost', 'down'],
  },
}

const order: readonly Moment[] = ['hook-up check', 'warm-up', 'HT rising', 'HT standing', 'going off']

/** The name of what must come of it. */
export function expectedOf(signal: Signal, way: SignalWay, moment: Moment): Way {
  return expected[signal][way][order.indexOf(moment)] ?? 'down'
}
