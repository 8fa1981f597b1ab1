import type { Bench } from '../bench/index.js'
import type { LeakageLimit, ReformPart, ReformPlan } from '../plan/index.js'
import type { ReformOrder, ReformTarget } from '../profile/index.js'
import { resolves_A, settling_s } from './feed.js'
import type { Problem } from './judged.js'
import { limitOf } from './limits.js'
import { formingNode, type Lifted, meterOf, nodeOf, returnNode, typedNode } from './setup.js'

/* One lifted part as the plan knows it: its resistor, its meter, its limit, what the bench tells of it. */

export interface Ordered {
  readonly order: ReformOrder
  readonly bench: Bench
  readonly top_V: number
  readonly supply: ReformPlan['supply']
  /** Volts that parts were formed at in an earlier run. */
  readonly formed_V: Readonly<Record<string, number>>
}

export function partOf(
  lifted: Lifted,
  { order, bench, top_V, supply, formed_V }: Ordered,
): ReformPart | { readonly lost: Problem } {
  const { name, F, rated_V, most_V, cans, parts, joined } = lifted
  const own = order.parts[name]
  const found = meterOf(bench, name)
  if (own === undefined || found === null)
    return {
      lost: {
        severity: 'error',
        what: `No meter sees ${name}: behind its feed resistor the supply knows nothing of its volts.`,
        remedy: `Clip one there and write it into the bench file: at: ${nodeOf(name)}, against: ${returnNode} (or across the feed resistor, at: ${formingNode}, against: ${nodeOf(name)}); without a line you are asked what it shows.`,
      },
    }
  const { meter } = found
  const byHand = meter.line === null && meter.on === null
  const part = {
    ...{ name, parts, joined, F, rated_V, most_V, cans },
    feed_ohm: own.feed_ohm,
    feed_error: own.feed_by_hand ?? own.feed_error,
    ...(own.feed_by_hand !== null && { feed_untold: own.feed_error }),
    feed_rated_W: own.feed_rated_W,
    ...(own.then !== undefined && {
      next_feed: {
        ohm: own.then.ohm,
        error: own.feed_by_hand ?? ohmmeter_error,
        rated_W: own.then.rated_W ?? 0,
      },
    }),
    ...(byHand && {
      typed: { node: typedNode(name, found.across), settle_s: settling_s({ feed_ohm: own.feed_ohm, F }) },
    }),
    ...(own.measured !== null && {
      measured_F: { F: own.measured.F, error_F: own.measured.error * own.measured.F },
    }),
    meter: found.name,
    across: found.across,
    meter_ohm: meter.ohm,
    meter_error: { ...meter.accuracy, resolution: meter.resolution },
    case: caseOf(bench, name),
    limit: limitFor(lifted, order.target, top_V),
    formed_V: Math.min(formed_V[name] ?? 0, top_V),
  }
  return { ...part, resolves_A: resolves_A(part, supply, top_V, part.limit.amps) }
}

/** An ordinary ohmmeter, where nothing better is stated (common practice, no source). */
const ohmmeter_error = 0.01

/** A thermometer named after the part. */
function caseOf(bench: Bench, part: string): string | null {
  const found = Object.entries(bench.meters).find(
    ([name, { measures }]) => measures === '°C' && name.startsWith(`${part} `),
  )
  return found?.[0] ?? null
}

/** One leakage goes through all of a string: it is held against the least that one of its parts is allowed. */
function limitFor({ joined, F, rated_V, each }: Lifted, target: ReformTarget, top_V: number): LeakageLimit {
  if (joined !== 'series') return limitOf(target, F, rated_V, Math.min(top_V, rated_V))
  const own = each.map((one) =>
    limitOf(target, one.F, one.rated_V, Math.min(top_V / each.length, one.rated_V)),
  )
  return own.reduce((least, limit) => (limit.amps < least.amps ? limit : least))
}
