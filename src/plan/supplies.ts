import { type Bench, channelOf, pollPeriod_s, type TakenOutput } from '../bench/index.js'
import type { RailName } from '../equipment/index.js'
import { type LimitProblem, show } from '../limits/index.js'
import { notTaken } from './dead-man.js'
import type { RailPlan, Step, SupplyFigures } from './types.js'

/* How far the figures of the supplies can be trusted. */

/** From OFF to no drive where nobody measured it, s: the worst of 25 to 235 ms (supplies' published figures and line arithmetic). */
const worstOff_s = 0.235

export function supplyFigures(bench: Bench, rails: Readonly<Record<RailName, RailPlan>>): SupplyFigures[] {
  return Object.values(rails).flatMap((rail) =>
    rail.channels.map(({ channel, port }): SupplyFigures => {
      const found = bench.measured?.[channel]
      const supply = bench.supplies[port]
      const state = found?.state ?? 'none'
      const computed_s = supply === undefined ? 1 : pollPeriod_s(supply)
      const fresh = state === 'measured'
      const known = fresh || state === 'old'
      const poll_s =
        fresh && found?.poll_s != null
          ? found.poll_s
          : Math.max(computed_s, (known ? found?.poll_s : null) ?? 0)
      const seenOff_s = (known ? found?.off_s : null) ?? null
      const off_s = fresh && seenOff_s !== null ? seenOff_s : Math.max(worstOff_s, seenOff_s ?? 0)
      const date = found?.date ?? null
      const stated = channelOf(bench, channel)?.supply.identity ?? null
      const words = { channel, date, of: found?.identity ?? null, stated, failed: found?.failed ?? '' }
      const left = notTaken(bench, channel)
      const stays_on =
        left === null
          ? null
          : `${rail.name} (${channel}) may STAY ON when computer or line are gone: the dead-man of its supply was tried, and ${left}.`
      const text = [
        stateWords(state, words),
        `A reading every ${show(poll_s, 's')} at most, ${show(off_s, 's')} from OFF to no drive.`,
        ...(known ? proofWords(bench, channel) : []),
        ...(stays_on === null ? [] : [stays_on]),
      ]
      return {
        ...{ channel, rail: rail.name, state, date, poll_s, off_s },
        text: text.filter((each) => each !== '').join(' '),
        ...(stays_on !== null && { stays_on }),
      }
    }),
  )
}

function stateWords(
  state: SupplyFigures['state'],
  of: { channel: string; date: string | null; of: string | null; stated: string | null; failed: string },
): string {
  const { channel, date } = of
  switch (state) {
    case 'measured':
      return `${channel} was measured on ${date ?? ''} (${of.of ?? ''}): those figures are used.`
    case 'old':
      return `${channel} was measured on ${date ?? ''}, more than 12 months ago (common practice, no source): of each figure the worse of then and of the bench file is used. Measure it again: slowglow qualify.`
    case 'foreign':
      return `The qualification of ${channel} is of another supply ("${of.of ?? ''}", this bench file names "${of.stated ?? ''}"): nothing of it is used, and worse figures stand in.`
    case 'failed':
      return `${channel} FAILED when it was measured on ${date ?? ''}: ${of.failed} It may not feed a set.`
    case 'none':
      return `${channel} is not qualified: read-back errors, output capacitor and protections are as the bench file states them, unproved; for the line the computed poll and the slowest published OFF stand in. Measure it: slowglow qualify.`
  }
}

/** Verdicts against the supply, by what was proved. */
const against: ReadonlySet<string> = new Set([
  'did not fire',
  'does not hold',
  'contradicts',
  'does not tell',
])

/** What was proved against a channel, where it was measured at all; an old proof against it counts as a new one does. */
export function againstOf(bench: Bench, channel: string): Readonly<Record<string, string>> {
  const proofs = bench.measured?.[channel]?.proofs ?? []
  const left = notTaken(bench, channel)
  return {
    ...(left !== null && { 'dead-man': left }),
    ...Object.fromEntries(proofs.flatMap(({ of, verdict }) => (against.has(verdict) ? [[of, verdict]] : []))),
  }
}

/** Every proof by its verdict: one that was left out, or that the supply would not take part in, is not passed over. */
function proofWords(bench: Bench, channel: string): string[] {
  const found = channelOf(bench, channel)
  const proofs = bench.measured?.[channel]?.proofs ?? []
  if (found === null) return []
  const { dialect } = found.supply
  const there: Readonly<Record<string, boolean>> = {
    'current limit': true,
    'over-voltage': found.channel.over_voltage,
    'over-current': dialect.set_over_amps !== null,
    'dead-man': dialect.dead_man !== null,
  }
  const of = (wanted: readonly string[]): string[] =>
    proofs.flatMap(({ of: what, verdict, date }) =>
      wanted.includes(verdict) && there[what] !== false
        ? [date === undefined ? what : `${what} (on ${date})`]
        : [],
    )
  const listed = new Set(proofs.map((proof) => proof.of))
  const proved = of(['as it should', 'fired'])
  const refused = of(['refused'])
  const open = [
    ...of(['not proved']),
    ...Object.entries(there).flatMap(([what, is]) => (is && !listed.has(what) ? [what] : [])),
  ]
  return [
    ...(proved.length > 0 ? [`Proved: ${proved.join(', ')}.`] : []),
    ...(refused.length > 0
      ? [
          `Not seen to act, since it takes no level below what stands: ${refused.join(', ')}. Settings alone say that it guards.`,
        ]
      : []),
    ...(open.length > 0 ? [`Not proved: ${open.join(', ')}.`] : []),
    ...proofs.flatMap(({ of: what, verdict }) =>
      against.has(verdict) ? [`Its ${what} proof: ${verdict}; it is not to be relied on.`] : [],
    ),
    ...proofs.flatMap(({ outputs = [] }) => outputs.map(takenWords)),
  ]
}

/** What its dead-man did with another output of the supply. */
function takenWords({ channel, did, stated }: TakenOutput): string {
  const right = did === (stated === 'goes' ? 'went off' : 'stayed on')
  const words = did === 'not clear' ? 'did not show clearly whether it went' : did
  return `When its dead-man was left unfed, ${channel} ${words}${right ? '' : `, though it is stated to ${stated === 'goes' ? 'take every output' : 'take the one output alone'}: not to be relied on`}.`
}

/** Supplies that failed on the dummy load, as far as these steps use them: nothing is planned on one. */
export function failedSupplies(
  bench: Bench,
  rails: Readonly<Record<RailName, RailPlan>>,
  steps: readonly Step[],
): LimitProblem[] {
  const used = new Set(steps.flatMap(({ rail, hookup }) => [rail, hookup?.rail ?? null]))
  return Object.values(rails).flatMap(({ name, channels }) =>
    used.has(name) ? channels.flatMap(({ channel }) => failedChannel(bench, channel)) : [],
  )
}

/** What failed on the dummy load may not feed a set; by a proof that was left out since, too. */
export function failedChannel(bench: Bench, channel: string): LimitProblem[] {
  const found = bench.measured?.[channel]
  const holds = found?.proofs.find(({ of }) => of === 'current limit')?.verdict !== 'does not hold'
  if (found === undefined || (found.state !== 'failed' && holds)) return []
  const how = found.failed ?? 'Its current limit does not hold.'
  return [
    {
      severity: 'error',
      what: `${channel} may not feed a set: it failed when it was measured${found.date === null ? '' : ` on ${found.date}`}. ${how}`,
      remedy: `Have it mended, or take another supply; then measure it on a dummy load with nothing left out: slowglow qualify --channel ${channel}`,
    },
  ]
}

/** From OFF to no drive as measured on every one of these channels; else what the bench file states; null = neither. */
export function measuredOff_s(bench: Bench, channels: readonly string[]): number | null {
  const all = channels.map((name) => bench.measured?.[name])
  const known = all.flatMap((each) => (each?.state === 'measured' && each.off_s !== null ? [each.off_s] : []))
  return known.length > 0 && known.length === channels.length ? Math.max(...known) : bench.off_time_s
}
