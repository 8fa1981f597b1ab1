import { type Bench, pollPeriod_s, switchOn_s, unread_s } from '../bench/index.js'
import { formatShort } from '../quantities/index.js'

/* How old a reading may be: by what reads it. */

/** Age beyond which any reading of the bench counts as stale, seconds: as its slowest supply needs it. */
export function staleAfter_s(bench: Bench): number {
  return staleOf_s(bench, Object.keys(bench.supplies))
}

/**
 * As `staleAfter_s`, for what is read from these supplies and meters alone: a slow heater supply makes no HT reading older.
 * max(3 × poll period, 1 s), or the bench's own where stated; never less than what a slow command and a status question make of
 * it with nothing wrong, and half as much again.
 */
export function staleOf_s(bench: Bench, names: readonly (string | null)[]): number {
  if (bench.stale_s !== null) return bench.stale_s
  let most_s = 1
  for (const name of names) {
    const meter = name === null ? undefined : bench.meters[name]
    if (meter !== undefined) most_s = Math.max(most_s, 3 * meter.every_s)
    const port = meter === undefined ? name : meter.on
    const supply = port === null ? undefined : bench.supplies[port]
    if (port === null || supply === undefined) continue
    const poll_s = measuredPoll_s(bench, port) ?? pollPeriod_s(supply)
    most_s = Math.max(most_s, 3 * poll_s, 1.5 * unread_s(supply))
  }
  return most_s
}

/**
 * The same from the moment in which these channels (`SUPPLY.CHANNEL`) are told ON until its outcome is known: what the line
 * then says comes on top, and half as much again, for every channel of a supply in turn.
 */
export function staleWhileOn_s(bench: Bench, channels: readonly string[]): number {
  const ports = channels.map((name) => name.split('.')[0] ?? '')
  const busy_s = ports.map((port) => {
    const supply = bench.supplies[port]
    const turns = ports.filter((other) => other === port).length
    return supply === undefined ? 0 : turns * switchOn_s(supply)
  })
  return staleOf_s(bench, ports) + 1.5 * Math.max(0, ...busy_s)
}

/** Rails whose own supply answers faster than the slowest, with their figure. */
export function sooner(bench: Bench): string {
  const own = new Map<string, number>()
  for (const [port, { channels }] of Object.entries(bench.supplies))
    for (const { feeds } of Object.values(channels))
      own.set(feeds, Math.max(own.get(feeds) ?? 0, staleOf_s(bench, [port])))
  const most_s = staleAfter_s(bench)
  const found = [...own].flatMap(([rail, s]) => (s < most_s ? [`${rail} ${formatShort(s, 's')}`] : []))
  return found.length === 0 ? '' : `; by their own supplies sooner: ${found.join(', ')}`
}

/** Longest time from one reading to the next over all supplies, s: measured, or else reckoned. */
export function slowestPoll_s(bench: Bench): number {
  return Math.max(
    0,
    ...Object.entries(bench.supplies).map(
      ([port, supply]) => measuredPoll_s(bench, port) ?? pollPeriod_s(supply),
    ),
  )
}

/** As `qualify` measured it on every channel of a supply; null where any was not. */
function measuredPoll_s(bench: Bench, port: string): number | null {
  const names = Object.keys(bench.supplies[port]?.channels ?? {})
  const polls = names.map((name) => {
    const found = bench.measured?.[`${port}.${name}`]
    return found?.state === 'measured' ? found.poll_s : null
  })
  return polls.length > 0 && polls.every((poll) => poll !== null) ? Math.max(...polls.map(Number)) : null
}
