import type { Part } from './parts.js'
import { type Down, downsOf } from './signals-down.js'

/*
 * The acts that come of spoilt readings, by name, with the longest time until everything is told off, written down before they are
 * tried. Figures are those of product and architecture, or said to be our choice; none is taken from what happened.
 */

/** From when the time counts: the first spoilt answer; but no sooner than its rail is told on or to be raised, or HT is wanted. */
export type From = 'it began' | 'its rail was on' | 'its rail was to rise' | 'HT was wanted'

export interface Expected {
  readonly acts: readonly string[]
  /** Null: nothing has to go off. */
  readonly within_s: number | null
  readonly from: From
  readonly because: string
  /** Going off: what must be off by when. */
  readonly down?: Down
}

/** Nothing ended the run. */
export const goesOn = 'ended: completed'
/** Readings come five times a second; one round more passes before the next is looked at. */
const round_s = 0.2
const silence = ['stale', 'line-lost', 'bad-reply']
export const neverAsked = 'never asked then'

export type Way = keyof ReturnType<typeof actsOf>

/** Acts by name, each with where its figure comes from. */
export function actsOf({ plan, bench }: Part) {
  const rails = Object.values(plan.rails)
  const stale_s = Math.max(plan.stale_s, ...rails.map((rail) => rail.stale_s ?? 0))
  const on_s = Math.max(stale_s, ...rails.map((rail) => rail.on_stale_s ?? 0))
  const longest_ramp_s = Math.max(
    ...plan.steps.map(({ target_V, slew_V_per_s }) => (slew_V_per_s > 0 ? target_V / slew_V_per_s : 0)),
  )
  const reply_s = Math.max(...Object.values(bench.supplies).map((supply) => supply.reply_s))
  // A question that gets no answer is asked twice: each its reply, the silence after it, and the identity.
  const twice_s = 2 * 3 * reply_s
  const soft_s = Math.max(...plan.steps.map((step) => step.soft_start_s))
  const downs = downsOf(plan, bench)
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
      'its rail was to rise',
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
    'not as told': act(
      ['read-back'],
      on_s + twice_s,
      'its rail was on',
      'ON that reads back as off: what ON takes on the line, and the supply’s own reason asked',
    ),
    'on after OFF': act(
      ['read-back'],
      on_s + 15 + twice_s,
      'its rail was on',
      'an output that reads as on before it was switched on; or after the OFF of its hook-up check, for which volts over amps have 15 s (our choice)',
    ),
    'on unasked': act(
      ['read-back'],
      round_s,
      'it began',
      'one answer is enough: on, and nobody has switched it on',
    ),
    'off by itself': act(
      ['protection'],
      round_s,
      'it began',
      'one answer is enough: off, and nobody has switched it off',
    ),
    fired: act(
      ['protection'],
      round_s,
      'it began',
      'one answer is enough, whether its output is on or not yet',
    ),
    'holds its current': act(
      ['current-limit'],
      2 + 3 * round_s,
      'it began',
      'three readings and 300 ms at the limit, nothing being charged: from 2 s after the last set-point (our choice)',
    ),
    'holds its current, risen': act(
      ['current-limit'],
      longest_ramp_s + 10 + 2 + 3 * round_s,
      'its rail was to rise',
      'what charges is in current limit by plan: the rise and 10 s to arrive, and then as ever',
    ),
    'never warm': act(
      ['soft-start', 'current-limit'],
      soft_s + 3 * round_s,
      'its rail was to rise',
      'cold heaters are held at the limit for the time planned, twice what is predicted, and no longer',
    ),
    refused: act(
      ['read-back'],
      stale_s,
      'it began',
      'an error behind a setting or ON is its refusal; the rest of the errors, ten at most, is read for the reason within the stale limit',
    ),
    'no outcome': act(
      silence,
      twice_s + stale_s,
      'it began',
      'what was set is not known to be set once its question went twice without an answer; a line that stays silent is judged as silence meanwhile',
    ),
    'passes: measured': act(
      [goesOn, ...silence],
      null,
      'it began',
      'volts and amps are read and judged as ever; where the line loses so much time over the question that they grow old, silence is judged as silence',
    ),
    'passes: so it is': act([goesOn], null, 'it began', 'it says what is so'),
    'not asked': act(
      [neverAsked],
      null,
      'it began',
      'errors are asked after limits and ON; those stand before a rail rises, and nothing is set while it stands',
    ),
    down: {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'HT at once: a question may be in the way of its OFF, twice. Heaters when HT is read below the touch limit after its discharge path, its parts three times as slow at most; bias after the computed discharge',
      ),
      down: downs.plain,
    },
    'down: too much': {
      ...act(
        [goesOn, 'over-ceiling'],
        null,
        'it began',
        'a reading of too much makes a run-down urgent; what is off by when is the same',
      ),
      down: downs.plain,
    },
    'down: fired': {
      ...act(
        ['protection'],
        null,
        'it began',
        'a protection that fired makes a run-down urgent, and is its reason; what is off by when is the same',
      ),
      down: downs.plain,
    },
    'down: HT reads high': {
      ...act(
        [goesOn, 'over-ceiling'],
        null,
        'it began',
        'too much makes it urgent; what is read three times as high is low that much later, and so heaters and bias go',
      ),
      down: downs.high,
    },
    'down: HT unseen': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'nothing shows that HT is down: heaters go 30 s after its OFF, the bias stays, and the alarm tells to cut the mains of HT at 10 s',
      ),
      down: downs.unseen,
    },
    'down: HT late': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'the same over a line whose answers come 2 s late: one of them may be in the way of HT’s OFF, which is obeyed within 2 s as in every run',
      ),
      down: downs.unseenLate,
    },
    'down: HT carries current': {
      ...act(
        [goesOn],
        null,
        'it began',
        'HT falls, so heaters go; its current does not show it off, so the bias stays, with the alarm at 10 s',
      ),
      down: downs.carries,
    },
    'down: the last unseen': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'HT is confirmed, so heaters and bias are told OFF as ever; what does not show that it obeyed is alarmed 10 s after its own OFF',
      ),
      down: downs.others,
    },
    'down: the last late': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'the same over a line whose answers come 2 s late: an OFF of a run-down may wait for two of them',
      ),
      down: downs.late,
    },
    'down: in doubt': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'on a line in doubt nothing counts but what is read three times between two doubts: heaters go 30 s after HT’s OFF at the latest, the bias by its rule or not at all, confirmed or with the alarm',
      ),
      down: downs.doubt,
    },
    'down: late in doubt': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'the same over a line whose answers come 2 s late: HT’s OFF is obeyed within 2 s as in every run',
      ),
      down: downs.doubtLate,
    },
    'down: the last in doubt': {
      ...act(
        [goesOn, ...silence],
        null,
        'it began',
        'HT is confirmed, so heaters and bias are told OFF as ever, over a line whose answers may come 2 s late; confirmed or with the alarm',
      ),
      down: downs.doubtLow,
    },
  } as const satisfies Record<string, Expected>
}
