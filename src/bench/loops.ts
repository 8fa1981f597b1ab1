import { type Equipment, middleAtChassis, type NodeName } from '../equipment/index.js'
import { formatQuantity, own, type Path, type Report } from '../quantities/index.js'
import type { Joint } from './ground.js'
import { channelOf } from './channels.js'
import type { Bench } from './types.js'

/** A way from a node of the set, through a supply's negative terminal, to the computer or to earth. */
interface Tie {
  readonly node: NodeName
  readonly supply: string
  readonly joint: Joint
  readonly through: 'the computer' | 'earth'
  readonly path: Path
}

/**
 * The ground graph: supply negatives that are not isolated from the computer's line, or are joined to earth, tie nodes of
 * the set together outside it. `unknown` counts as not isolated. Two ties make a loop, or a short across a rail.
 */
export function checkLoops(
  equipment: Equipment,
  bench: Bench,
  joints: readonly Joint[],
  report: Report,
): void {
  const ties = tiesOf(equipment, bench, joints)
  for (const tie of ties) {
    if (equipment.chassis === 'live') liveChassis(equipment, tie, report)
    else earthedMiddle(equipment, bench, tie, report)
  }
  const seen = new Set<string>()
  ties.forEach((tie, i) => {
    const before = ties.slice(0, i).find((other) => joined(bench, other, tie))
    if (before === undefined) return
    const pair = `${before.joint.name} ${tie.joint.name}`
    if (seen.has(pair)) return
    seen.add(pair)
    const ways = [before.through, tie.through]
    const outside = ways.includes('the computer') ? 'the computer' : 'earth'
    const remedy =
      tie.through === 'the computer'
        ? `use an isolated interface for ${tie.supply} and write interface_isolated: yes${unknownAdvice(bench, tie.supply)}`
        : `lift the earth link of ${tie.supply} (earthed_negative: false), if its maker allows it`
    if (before.node !== tie.node)
      report.error(
        tie.path,
        `${before.joint.name} and ${tie.joint.name} join '${before.node}' and '${tie.node}' of the set through ${outside}: a short across a rail`,
        remedy,
      )
    else if (before.supply !== tie.supply)
      report.error(
        tie.path,
        `${before.joint.name} and ${tie.joint.name} make a loop through ${outside}: their negatives meet at '${tie.node}' in the set and again outside it, and the rail's return current divides between the two ways`,
        remedy,
      )
  })
  for (const tie of ties)
    if (
      tie.through === 'the computer' &&
      ties.filter(({ supply }) => supply === tie.supply).length === 1 &&
      ties.length === 1
    )
      report.warn(
        tie.path,
        `'${tie.node}' of the set is joined to the computer through ${tie.supply}: a fault in the set reaches the computer`,
        `use an isolated interface${unknownAdvice(bench, tie.supply)}`,
      )
}

function unknownAdvice(bench: Bench, supply: string): string {
  return own(bench.supplies, supply)?.interface_isolated === 'unknown'
    ? "; unknown counts as no: an ohmmeter from the supply's negative to the shield of its computer line settles it"
    : ''
}

function tiesOf(equipment: Equipment, bench: Bench, joints: readonly Joint[]): Tie[] {
  return joints.flatMap((joint): Tie[] => {
    const supply = own(bench.supplies, joint.supply)
    const rail = own(equipment.rails, joint.channel.feeds)
    if (supply === undefined || rail === undefined) return []
    const stack = bench.stacks.find((each) => each.rail === joint.channel.feeds)
    // In a stack only the lowest channel's negative is a node of the set.
    const node =
      stack === undefined || stack.channels[0] === joint.name
        ? rail.negative
        : `between ${joint.name} and the channel below`
    // A network cable is isolated by the transformers in its sockets.
    const network = supply.line.kind === 'tcp'
    const made: Tie[] = []
    if (supply.interface_isolated !== 'yes' && !network)
      made.push({
        node,
        supply: joint.supply,
        joint,
        through: 'the computer',
        path: ['supplies', joint.supply, 'interface_isolated'],
      })
    if (supply.earthed_negative)
      made.push({
        node,
        supply: joint.supply,
        joint,
        through: 'earth',
        path: ['supplies', joint.supply, 'earthed_negative'],
      })
    return made
  })
}

/** Whether two ties meet outside the set. */
function joined(bench: Bench, a: Tie, b: Tie): boolean {
  return a.through === b.through || bench.computer_earthed
}

/**
 * A heater rail whose middle is at chassis (centre tap, hum potentiometer) on a supply whose negative is at earth: chassis and
 * earth are one, so half of what makes that middle lies across half of the supply's volts.
 */
function earthedMiddle(equipment: Equipment, bench: Bench, tie: Tie, report: Report): void {
  const { feeds } = tie.joint.channel
  const rail = own(equipment.rails, feeds)
  const middle = rail === undefined ? null : middleAtChassis(rail, equipment)
  if (rail === undefined || middle === null || tie.node === equipment.chassis_node) return
  if (tie.through === 'the computer' && !bench.computer_earthed) return
  report.error(
    tie.path,
    `the negative of ${tie.joint.name} is joined to ${tie.through === 'earth' ? 'earth' : 'the computer, which is earthed'}, and ${middle} joins the middle of rail ${feeds} to chassis, which is earthed too: the supply would drive its current through half of it, and every filament would stand ${formatQuantity(rail.working_V / 2, 'V')} off its bias`,
    tie.through === 'earth'
      ? `lift the earth link of ${tie.supply} (earthed_negative: false), if its maker allows it; else lift ${middle} from chassis, list that under feeds: lift, and leave earthed_at out`
      : `use an isolated interface for ${tie.supply} and write interface_isolated: yes${unknownAdvice(bench, tie.supply)}`,
  )
}

function liveChassis(equipment: Equipment, tie: Tie, report: Report): void {
  report.error(
    tie.path,
    `the chassis of ${equipment.name} is live, and ${tie.joint.name} joins '${tie.node}' to ${tie.through}`,
    `nothing of a live set may be joined to earth or the computer, isolating transformer or not: ${
      tie.through === 'earth' ? 'lift the earth link' : 'use an isolated interface'
    }`,
  )
}

/** Volts of the rails' nodes against chassis with every rail at the highest it may carry; only nodes that rails lead to. */
function railPotentials(equipment: Equipment): ReadonlyMap<NodeName, number> {
  const at = new Map<NodeName, number>([[equipment.chassis_node, 0]])
  const rails = Object.values(equipment.rails)
  for (let round = 0; round <= rails.length; round++)
    for (const { positive, negative, max_V } of rails) {
      const low = at.get(negative)
      const high = at.get(positive)
      if (low !== undefined && high === undefined) at.set(positive, low + max_V.value)
      if (high !== undefined && low === undefined) at.set(negative, high - max_V.value)
    }
  return at
}

/** No supply, and no meter, may stand further from earth than its insulation is made for. */
export function checkIsolation(
  equipment: Equipment,
  bench: Bench,
  joints: readonly Joint[],
  report: Report,
): void {
  const at = railPotentials(equipment)
  for (const { name, path, supply, channel } of joints) {
    const rail = own(equipment.rails, channel.feeds)
    const isolation_V = own(bench.supplies, supply)?.isolation_V
    if (rail === undefined || isolation_V === undefined) continue
    const stack = bench.stacks.find((each) => each.rail === channel.feeds)
    const below_V = stack === undefined ? 0 : belowInStack(bench, stack.channels, name)
    const low_V = (at.get(rail.negative) ?? rail.max_V.value) + below_V
    const high_V = low_V + Math.min(channel.max_V, rail.max_V.value)
    const furthest_V = Math.max(Math.abs(low_V), Math.abs(high_V))
    if (furthest_V > isolation_V)
      report.error(
        [...path, 'feeds'],
        `${name} would stand ${formatQuantity(furthest_V, 'V')} from chassis on rail ${channel.feeds}, above its isolation of ${formatQuantity(isolation_V, 'V')}`,
        'feed this rail from a supply made for it, or a lower rail from this one',
      )
  }
  const highest_V = Math.max(0, ...[...at.values()].map(Math.abs))
  for (const [name, meter] of Object.entries(bench.meters)) {
    if (meter.measures === '°C' || meter.measures === 'contact') continue
    const rail = meter.rail === null ? undefined : own(equipment.rails, meter.rail)
    const known_V = meter.at === null ? undefined : at.get(meter.at)
    const here_V =
      rail === undefined
        ? known_V === undefined
          ? highest_V
          : Math.abs(known_V)
        : Math.max(Math.abs(at.get(rail.positive) ?? 0), Math.abs(at.get(rail.negative) ?? 0))
    if (here_V <= meter.isolation_V) continue
    const what = `meter ${name} may stand ${formatQuantity(meter.isolation_V, 'V')} from earth, and its place reaches ${formatQuantity(here_V, 'V')}`
    const remedy = 'use a meter and leads made for it'
    if (meter.line === null && meter.on === null) report.warn(['meters', name, 'isolation'], what, remedy)
    else report.error(['meters', name, 'isolation'], what, remedy)
  }
}

/** Highest volts of the channels below this one in its stack. */
function belowInStack(bench: Bench, channels: readonly string[], name: string): number {
  const index = channels.indexOf(name)
  return channels
    .slice(0, Math.max(0, index))
    .reduce((sum, each) => sum + (channelOf(bench, each)?.channel.max_V ?? 0), 0)
}
