import { type Bench, bleederFor, type Channel } from '../bench/index.js'
import type { ReformPart, ReformPlan } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { feedFor_ohm, feedToSee_ohm, resolves_A, short_A, short_W, worstInPart_W } from './feed.js'
import { marginalFrom, top_s } from './limits.js'
import { mostOfRated } from './verdict.js'

/* What stands against it before anything is asked of the supply: a bench that cannot judge, a resistor that burns. */

export interface Problem {
  readonly severity: 'error' | 'warning'
  readonly what: string
  readonly remedy: string
}

/** Good must be told from marginal: this part of the limit is what lies between. */
const toTell = 1 - marginalFrom
/** 100 kΩ at 450 V makes 0.506 W, and is meant by 0.5 W. */
const heatSlack = 1.05
/** Rated for twice what it may come to, so that it does not burn what lies beside it (common practice, no source). */
const resistorRoom = 2
/** A part at its limit has to come to most of the volts. */
const mostDrop = 0.5

export function judgePart(part: ReformPart, plan: ReformPlan): Problem[] {
  const { name, feed_ohm, limit } = part
  const V = plan.top_V
  const problems: Problem[] = []
  const wrong = (what: string, remedy: string): void => {
    problems.push({ severity: 'error', what, remedy })
  }
  const burns_W = short_W(V, feed_ohm)
  if (resistorRoom * burns_W > part.feed_rated_W)
    wrong(
      `${name} shorted would put ${formatShort(burns_W, 'W')} into its feed resistor of ${formatShort(feed_ohm, 'Ω')} (${formatShort(short_A(V, feed_ohm), 'A')} at ${formatShort(V, 'V')}), rated ${formatShort(part.feed_rated_W, 'W')}: one that is not to scorch what lies beside it is rated for twice that (common practice, no source).`,
      `Fit one rated ${formatShort(resistorRoom * burns_W, 'W')} or more, or of more ohms.`,
    )
  const can_W = worstInPart_W(V, feed_ohm)
  if (can_W > heatSlack * plan.heat_W)
    wrong(
      `Through ${formatShort(feed_ohm, 'Ω')} up to ${formatShort(can_W, 'W')} could turn into heat in ${name} (at half of ${formatShort(V, 'V')}); ${formatShort(plan.heat_W, 'W')} is what a can may take (no published figure: our choice).`,
      `Fit ${formatShort(feedFor_ohm(V, plan.heat_W), 'Ω')} or more; or state heat: if you know what the can stands.`,
    )
  judgeNext(part, plan, wrong)
  const drop_V = limit.amps * feed_ohm
  const tells_A = resolves_A(part, plan.supply, V, limit.amps)
  const wanted_A = toTell * limit.amps
  if (tells_A > wanted_A) {
    const better = feedToSee_ohm(part, plan.supply, V, wanted_A)
    wrong(
      `The bench cannot judge ${name}: it tells ${formatShort(tells_A, 'A')} at best, and the limit of ${formatShort(limit.amps, 'A')} needs ${formatShort(wanted_A, 'A')}.`,
      better === null
        ? `No feed resistor does with this meter ${part.across === 'part' ? 'across the part: clip it across the feed resistor (at: forming line, against: the part), or take a better one' : 'across the feed resistor: take a better one'}; or hold it against the period limit.`
        : `With a feed resistor of ${formatShort(better, 'Ω')} it does.`,
    )
  }
  if (drop_V > mostDrop * V)
    wrong(
      `At its limit of ${formatShort(limit.amps, 'A')} ${name} would drop ${formatShort(drop_V, 'V')} in its feed resistor and never come near ${formatShort(V, 'V')}.`,
      `Fit ${formatShort((0.25 * V) / limit.amps, 'Ω')} or less, rated for what a short makes of it.`,
    )
  return problems
}

/**
 * The smaller one of the end. What could turn into heat in the part behind it is more than a can may take: it is put in only where what
 * the part leaks by then makes no more, and the stop rule for heat watches from then on. Its own heat in a short is not left to that.
 */
function judgeNext(part: ReformPart, plan: ReformPlan, wrong: (what: string, remedy: string) => void): void {
  const { name, feed_ohm, limit, next_feed } = part
  if (next_feed === undefined) return
  const { ohm, rated_W } = next_feed
  const V = plan.top_V
  if (ohm > mostOfFirst * feed_ohm)
    wrong(
      `The second feed resistor of ${name}, ${formatShort(ohm, 'Ω')}, hardly differs from its first of ${formatShort(feed_ohm, 'Ω')}.`,
      `Write then: with ${formatShort(mostOfFirst * feed_ohm, 'Ω')} or less, or leave it out.`,
    )
  const burns_W = short_W(V, ohm)
  if (resistorRoom * burns_W > rated_W)
    wrong(
      `${name} shorted would put ${formatShort(burns_W, 'W')} into its second feed resistor of ${formatShort(ohm, 'Ω')}, rated ${formatShort(rated_W, 'W')}: one that is not to scorch what lies beside it is rated for twice that (common practice, no source).`,
      `Fit one rated ${formatShort(resistorRoom * burns_W, 'W')} or more and write it as then_rated, or of more ohms.`,
    )
  const behind = { ...part, feed_ohm: ohm, feed_error: next_feed.error }
  const tells_A = resolves_A(behind, plan.supply, V, limit.amps)
  if (tells_A > toTell * limit.amps)
    wrong(
      `Behind its second feed resistor of ${formatShort(ohm, 'Ω')} the bench cannot judge ${name}: it tells ${formatShort(tells_A, 'A')} at best, and the limit of ${formatShort(limit.amps, 'A')} needs ${formatShort(toTell * limit.amps, 'A')}.`,
      'Take one of more ohms, or leave it out.',
    )
}
/** Less than this of the first is worth the hands (our choice). */
const mostOfFirst = 0.7

export function judgeParts(plan: ReformPlan): Problem[] {
  const problems: Problem[] = []
  if (plan.top_s < top_s)
    problems.push({
      severity: 'warning',
      what: `The parts are held for ${formatShort(plan.top_s, 's')} at the last volts, and ${formatShort(top_s, 's')} at least is what a maker's note of October 1993 asks (second-hand).`,
      remedy: 'Leave hold: out, or go on knowingly: what is formed less keeps less.',
    })
  for (const part of plan.parts)
    if (part.most_V > 1.25 * plan.top_V && plan.parts.some((other) => other.most_V < 0.9 * part.most_V))
      problems.push({
        severity: 'error',
        what: `${part.name} is rated ${formatShort(part.most_V, 'V')} and would stop at ${formatShort(plan.top_V, 'V')}, where the others end: nothing could be said of it.`,
        remedy: 'Form parts of about the same rating together, and the others in a run of their own.',
      })
    else if (plan.top_V < mostOfRated * part.rated_V)
      problems.push({
        severity: 'warning',
        what: `${part.name} is rated ${formatShort(part.rated_V, 'V')} and is formed to ${formatShort(plan.top_V, 'V')} only: its verdict speaks of those volts and is no better than marginal.`,
        remedy:
          part.joined === 'series'
            ? 'Lift the parts of the string one by one to bring each to its own rating.'
            : 'Nothing, where the set never needs more; else a supply that reaches the rating.',
      })
  return problems
}

/** Sections of one can warm each other: what is too much for one is too much for all of them together. */
export function judgeCans({ parts, top_V, heat_W }: ReformPlan): Problem[] {
  return [...new Set(parts.flatMap(({ cans }) => cans))].flatMap((can) => {
    const sections = parts.filter(({ cans }) => cans.includes(can))
    const sum_W = sections.reduce((sum, { feed_ohm }) => sum + worstInPart_W(top_V, feed_ohm), 0)
    if (sections.length < 2 || sum_W <= heatSlack * heat_W) return []
    const names = sections.map(({ name }) => name).join(', ')
    return [
      {
        severity: 'error' as const,
        what: `${names} stand in one can, ${can}, into which up to ${formatShort(sum_W, 'W')} could turn into heat together (each at half of ${formatShort(top_V, 'V')}); ${formatShort(heat_W, 'W')} is what a can may take (no published figure: our choice).`,
        remedy: `Form them in runs of their own, one after another; or together behind ${formatShort(feedFor_ohm(top_V, heat_W / sections.length), 'Ω')} or more each.`,
      },
    ]
  })
}

export function judgeFeeder(
  bench: Bench,
  name: string,
  channel: Channel,
  top_V: number,
  F: number,
): Problem[] {
  const problems: Problem[] = []
  if (channel.bleeder_ohm === null && top_V > 60)
    problems.push({
      severity: 'error',
      what: `${name} goes to ${formatShort(top_V, 'V')} and has no discharge path at its terminals: the lifted parts could not be let down, nor "off" be confirmed.`,
      remedy: `Clip a bleeder across its terminals, ${formatShort(bleederFor(top_V, F), 'Ω')} or less, and state it as the channel's bleeder.`,
    })
  if (bench.leads_max_V < top_V)
    problems.push({
      severity: 'error',
      what: `The bench leads carry ${formatShort(bench.leads_max_V, 'V')} at most.`,
      remedy: 'State a lower last step: to:.',
    })
  return problems
}
