import { type Bench, channelOf, pollPeriod_s } from '../bench/index.js'
import type { RailName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { RailPlan, SupplyFigures } from './types.js'

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
      const words = { channel, date, of: found?.identity ?? null, stated }
      const failed = (known ? (found?.proofs ?? []) : []).filter(({ verdict }) =>
        ['did not fire', 'contradicts', 'does not tell'].includes(verdict),
      )
      const text = [
        stateWords(state, words),
        `A reading every ${show(poll_s, 's')} at most, ${show(off_s, 's')} from OFF to no drive.`,
        ...failed.map(({ of, verdict }) => `Its ${of} proof: ${verdict}; it is not to be relied on.`),
      ]
      return {
        ...{ channel, rail: rail.name, state, date, poll_s, off_s },
        text: text.filter((each) => each !== '').join(' '),
      }
    }),
  )
}

function stateWords(
  state: SupplyFigures['state'],
  of: { channel: string; date: string | null; of: string | null; stated: string | null },
): string {
  const { channel, date } = of
  switch (state) {
    case 'measured':
      return `${channel} was measured on ${date ?? ''} (${of.of ?? ''}): those figures are used.`
    case 'old':
      return `${channel} was measured on ${date ?? ''}, more than 12 months ago (common practice, no source): of each figure the worse of then and of the bench file is used. Measure it again: slowglow qualify.`
    case 'foreign':
      return `The qualification of ${channel} is of another supply ("${of.of ?? ''}", this bench file names "${of.stated ?? ''}"): nothing of it is used, and worse figures stand in.`
    case 'none':
      return `${channel} is not qualified: read-back errors, output capacitor and protections are as the bench file states them, unproved; for the line the computed poll and the slowest published OFF stand in. Measure it: slowglow qualify.`
  }
}

/** From OFF to no drive as measured on every one of these channels; else what the bench file states; null = neither. */
export function measuredOff_s(bench: Bench, channels: readonly string[]): number | null {
  const all = channels.map((name) => bench.measured?.[name])
  const known = all.flatMap((each) => (each?.state === 'measured' && each.off_s !== null ? [each.off_s] : []))
  return known.length > 0 && known.length === channels.length ? Math.max(...known) : bench.off_time_s
}
