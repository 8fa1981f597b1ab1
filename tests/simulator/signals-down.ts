import type { Bench } from '../../src/bench/index.js'
import type { Plan } from '../../src/plan/index.js'
import { late_s } from './signals-list.js'

/*
 * What must be off within which time where a reading is spoilt while a run goes off already, written down before it is tried. Every
 * time is counted from the decision to go off; an output is off when it truly is, whatever is read of it.
 */

/** s; `stays`: it must still be on at the end, since nothing shows that HT is down; `either`: as what is believed by then has it. */
export interface Down {
  readonly HT: number
  readonly heaters: number
  readonly bias: number | 'stays' | 'either'
  /** The alarm that it is not confirmed off; `none`: it is confirmed. */
  readonly alarm: number | 'none' | 'either'
}
export const downRails = ['HT', 'heaters', 'bias'] as const

/** An output is looked at once in a tick of the simulation. */
const tick_s = 0.05
const round_s = 0.2
/** What is believed is read so often in a row (architecture.md, invariant 8), and may have been under way at the OFF. */
const rows_s = 4 * round_s
/** Parts spread so far about their own figures that a fall may take this many times as long (as `confirm.ts`, our choice). */
const spread = 3
/** HT is off so soon after any OFF whose line carries, an invariant of every simulated run (`invariants.ts`). */
const ht_off_s = 2
/** Times that a question without an answer is asked (wire-protocol: queries may be repeated; our choice: once). */
const times_asked = 2

/** What is down by when, for each name, of this plan on this bench. */
export function downsOf(plan: Plan, bench: Bench) {
  const { off } = plan
  const reply_s = Math.max(...Object.values(bench.supplies).map((supply) => supply.reply_s))
  // A question in the way of an OFF: its reply, the silence after it, and the identity before anything else is said.
  const line_s = times_asked * 3 * reply_s
  const lateLine_s = times_asked * (late_s + 3 * reply_s)
  const top_V = Math.max(...plan.steps.map((step) => (step.rail === 'HT' ? step.target_V : 0)))
  const path = off.channels.find(({ role }) => role === 'HT')?.expected_fall
  const to = (low_V: number): number =>
    path == null ? Infinity : spread * path.ohm * path.F * Math.log(top_V / low_V)
  const low_s = to(off.bias_release.below_V) + rows_s
  // A third of what is read stands there, so what is read is low so much later.
  const high_s = to(off.bias_release.below_V / 3) + rows_s
  const discharge_s = off.bias_release.discharge_s ?? Infinity
  const falls_s = plan.rules.find(({ code }) => code === 'wont-fall')?.for_s ?? Infinity

  const heaters_s = 2 * line_s + low_s
  const bias_s = 2 * line_s + Math.max(discharge_s + rows_s, low_s)
  const byClock_s = line_s + off.heaters_off_after_s
  const down = (heaters: number, bias: Down['bias'], alarm: Down['alarm'], HT = line_s): Down => {
    const given = (s: Down['bias'] | Down['alarm']) => (typeof s === 'number' ? s + tick_s : s)
    return {
      HT: HT + tick_s,
      heaters: heaters + tick_s,
      bias: given(bias) as Down['bias'],
      alarm: given(alarm) as Down['alarm'],
    }
  }
  return {
    /** HT's own readings are true: each rule finds what it looks for. */
    plain: down(heaters_s, bias_s, 'none'),
    /** HT reads three times as high. */
    high: down(2 * line_s + high_s, 2 * line_s + Math.max(discharge_s, high_s), 'none'),
    /** Nothing shows that HT is down: heaters by the clock, and the bias stays. */
    unseen: down(byClock_s, 'stays', falls_s + round_s),
    /** The same where the answer that is late may be to a question in the way of HT's own OFF. */
    unseenLate: down(byClock_s, 'stays', falls_s + round_s, ht_off_s),
    /** HT's volts show it low, and its current does not show it off. */
    carries: down(heaters_s, 'stays', falls_s + round_s),
    /** HT is confirmed, and what is left does not show that it is off. */
    others: down(heaters_s, bias_s, bias_s + falls_s + round_s),
    /** The same over a line on which every answer may come late. */
    late: down(heaters_s + lateLine_s, bias_s + lateLine_s, bias_s + lateLine_s + falls_s + round_s),
    /** A line whose status is not answered is in doubt at every turn, and what was read on it counts anew. */
    doubt: down(byClock_s, 'either', 'either'),
    doubtLate: down(byClock_s, 'either', 'either', ht_off_s),
    /** The same on the line of heaters and bias. */
    doubtLow: down(heaters_s + lateLine_s, bias_s + lateLine_s, 'either'),
  } as const satisfies Record<string, Down>
}
