import type { ChartVolts, Equipment, ModeName, NodeName } from '../equipment/index.js'
import type { ChartAllowed } from './chart-currents.js'
import { linesIn } from './chart-lines.js'
import { master } from './guards.js'
import { readable_V } from './over-rating.js'
import { show } from './rail-limits.js'
import type { LimitProblem, RatingWatch } from './types.js'

/**
 * Charted tubes whose rating system leaves room above the bare rating, as `ratingWatches` has them of a solved set: only one
 * that leads its rail, or is over its rating by the chart, is told by the rail's current. A cathode can be read where the chart
 * has its volts.
 *
 * @param nodes - volts of the chart's nodes at this step, as the bench's meter reads them
 */
export function chartWatches(
  equipment: Equipment,
  mode: ModeName,
  all: readonly ChartAllowed[],
  expected_A: number,
  nodes: Readonly<Record<NodeName, number>>,
): RatingWatch[] {
  const lines = linesIn(equipment, mode)
  return all.flatMap(({ share, type, allowed }) => {
    const of_rating = (share.A * allowed.factor) / allowed.A
    const leads = share.A > master * expected_A || of_rating > 1.0005
    if (!(allowed.factor > 1) || !leads || !(share.A > 0)) return []
    const cathodes = lines.filter(({ of }) => of?.tube === share.part && of.electrode === 'cathode')
    return [
      {
        part: share.part,
        what: `${share.part} (${type}) ${allowed.what}`,
        of_rating,
        share_A: share.A,
        at_A: Math.max(0, expected_A + share.A * (1 / of_rating - 1)),
        rating: `${allowed.rating}, ${allowed.system} × ${allowed.factor}`,
        source: allowed.source,
        unverified: allowed.unverified,
        cathode: cathodeOf(equipment, cathodes, nodes, of_rating, share.A / allowed.A),
      },
    ]
  })
}

function cathodeOf(
  { chassis_node }: Equipment,
  lines: readonly ChartVolts[],
  nodes: Readonly<Record<NodeName, number>>,
  of_rating: number,
  of_allowed: number,
): RatingWatch['cathode'] {
  const [line, ...more] = lines
  const V = line === undefined ? 0 : (nodes[line.node] ?? 0)
  // Of two cathodes each tells its own half.
  if (line === undefined || more.length > 0 || line.node === chassis_node || V < readable_V) return null
  return { node: line.node, V, rated_V: V / of_rating, most_V: V / of_allowed }
}

/** Those that stand over their bare rating by the chart itself: said, as of a solved set. */
export function chartOverRatings(watches: readonly RatingWatch[]): LimitProblem[] {
  return watches
    .filter(({ of_rating }) => of_rating > 1.0005)
    .map(({ what, of_rating, rating, source, share_A }) => ({
      severity: 'warning' as const,
      what: `${what} is over its rating by the chart: ${(100 * of_rating).toFixed(0)} % of ${rating}, with ${show(share_A, 'A')} (${source}).`,
      remedy: 'Many output stages were run so. Take its cathode reading once, with the outputs off.',
    }))
}
