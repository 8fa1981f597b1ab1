import { type Equipment, middleAtChassis, type NodeName } from '../equipment/index.js'
import { formatQuantity, own, type Path, type Report } from '../quantities/index.js'
import type { Joint } from './ground.js'
import { channelOf } from './channels.js'
import type { Bench } from './types.js'

/** A way from a node of the set, through a supply's negative terminal or a meter's lead, to the computer or to earth. */
interface Tie {
  readonly node: NodeName
  /** Supply or meter. */
  readonly instrument: string
  /** What is clipped there, in words. */
  readonly what: string
  /** The rail that a channel feeds; null for a meter. */
  readonly feeds: string | null
  readonly through: 'the computer' | 'earth'
  readonly path: Path
  /** What takes it away. */
  readonly remedy: string
}

/**
 * The ground graph: supply negatives and meter leads that are not isolated from the computer's line, or are joined to earth, tie
 * nodes of the set together outside it. `unknown` counts as not isolated. Two ties make a loop, or a short across a rail; and
 * one alone does where the chassis is earthed, as that of every set but a live one is (SAFETY.md).
 */
export function checkLoops(
  equipment: Equipment,
  bench: Bench,
  joints: readonly Joint[],
  report: Report,
): void {
  const ties = tiesOf(equipment, bench, joints)
  const refused = new Set<Tie>()
  for (const tie of ties) {
    const found =
      equipment.chassis === 'live'
        ? liveChassis(equipment, tie)
        : (earthedMiddle(equipment, bench, tie) ?? shortToChassis(equipment, bench, tie))
    if (found === null) continue
    refused.add(tie)
    report.error(tie.path, found.what, found.remedy)
  }
  const short = new Set(refused)
  const seen = new Set<string>()
  ties.forEach((tie, i) => {
    if (short.has(tie)) return
    const before = ties.slice(0, i).find((other) => !short.has(other) && joined(bench, other, tie))
    if (before === undefined) return
    const pair = `${before.what} ${tie.what}`
    if (seen.has(pair)) return
    seen.add(pair)
    const apart = before.node !== tie.node
    const loop = before.instrument !== tie.instrument && before.feeds !== null && tie.feeds !== null
    if (!apart && !loop) return
    for (const each of [before, tie]) refused.add(each)
    const ways = [before.through, tie.through]
    const outside = ways.includes('the computer') ? 'the computer' : 'earth'
    if (apart)
      report.error(
        tie.path,
        `${before.what} and ${tie.what} join '${before.node}' and '${tie.node}' of the set through ${outside}: a short across a rail`,
        tie.remedy,
      )
    else
      report.error(
        tie.path,
        `${before.what} and ${tie.what} make a loop through ${outside}: their negatives meet at '${tie.node}' in the set and again outside it, and the rail's return current divides between the two ways`,
        tie.remedy,
      )
  })
  for (const tie of ties)
    if (tie.through === 'the computer' && !refused.has(tie))
      report.warn(
        tie.path,
        `'${tie.node}' of the set is joined to the computer through ${tie.instrument}: a fault in the set reaches the computer${
          tie.node === equipment.chassis_node || bench.computer_earthed
            ? ''
            : ', and while it runs the computer must be joined to nothing else: no charger, no screen, no network cable with a shield'
        }`,
        tie.remedy,
      )
}

function unknownAdvice(isolated: Bench['supplies'][string]['interface_isolated']): string {
  return isolated === 'unknown'
    ? '; unknown counts as no: an ohmmeter from its negative to the shield of its computer line settles it'
    : ''
}

const isolate = (instrument: string, isolated: Bench['supplies'][string]['interface_isolated']): string =>
  `use an isolated interface for ${instrument} and write interface_isolated: yes${unknownAdvice(isolated)}`

function tiesOf(equipment: Equipment, bench: Bench, joints: readonly Joint[]): Tie[] {
  return [...joints.flatMap((joint) => supplyTies(equipment, bench, joint)), ...meterTies(equipment, bench)]
}

function supplyTies(equipment: Equipment, bench: Bench, joint: Joint): Tie[] {
  const supply = own(bench.supplies, joint.supply)
  const rail = own(equipment.rails, joint.channel.feeds)
  if (supply === undefined || rail === undefined) return []
  const stack = bench.stacks.find((each) => each.rail === joint.channel.feeds)
  // In a stack only the lowest channel's negative is a node of the set.
  const node =
    stack === undefined || stack.channels[0] === joint.name
      ? rail.negative
      : `between ${joint.name} and the channel below`
  const common = { node, instrument: joint.supply, what: joint.name, feeds: joint.channel.feeds }
  const made: Tie[] = []
  // A network cable is isolated by the transformers in its sockets.
  if (supply.interface_isolated !== 'yes' && supply.line.kind !== 'tcp')
    made.push({
      ...common,
      through: 'the computer',
      path: ['supplies', joint.supply, 'interface_isolated'],
      remedy: isolate(joint.supply, supply.interface_isolated),
    })
  if (supply.earthed_negative)
    made.push({
      ...common,
      through: 'earth',
      path: ['supplies', joint.supply, 'earthed_negative'],
      remedy: `lift the earth link of ${joint.supply} (earthed_negative: false), if its maker allows it`,
    })
  return made
}

/** A meter on a serial line of its own: its low lead, or the rail that an ammeter stands in. */
function meterTies(equipment: Equipment, bench: Bench): Tie[] {
  return Object.entries(bench.meters).flatMap(([name, meter]): Tie[] => {
    const { line, measures, interface_isolated } = meter
    if (line?.kind !== 'serial' || interface_isolated === 'yes') return []
    if (measures !== 'V' && measures !== 'A') return []
    const rail = meter.rail === null ? undefined : own(equipment.rails, meter.rail)
    // In which wire of its rail an ammeter stands is not written down: the worse of the two is taken.
    const node =
      measures === 'A' && rail !== undefined ? rail.positive : (meter.against ?? equipment.chassis_node)
    return [
      {
        ...{ node, instrument: name, what: `meter ${name}`, feeds: null, through: 'the computer' },
        path: ['meters', name, ...(interface_isolated === null ? [] : ['interface_isolated'])],
        remedy: isolate(name, interface_isolated ?? 'unknown'),
      },
    ]
  })
}

/** Whether two ties meet outside the set. */
function joined(bench: Bench, a: Tie, b: Tie): boolean {
  return a.through === b.through || bench.computer_earthed
}

interface Refused {
  readonly what: string
  readonly remedy: string
}

/** Whether this tie leads to earth, and so to a chassis that is earthed. */
const isEarthed = (bench: Bench, tie: Tie): boolean => tie.through === 'earth' || bench.computer_earthed

const outsideOf = (tie: Tie): string =>
  tie.through === 'earth' ? 'earth' : 'the computer, which is earthed (computer_earthed)'

/**
 * One tie alone, at a node that the set itself holds away from its chassis: through earth the two are one. A rail's own
 * volts are shorted (bias with its positive at chassis), or what makes a bias by its drop is bridged. A node that nothing joins
 * to the chassis is only brought to earth by it, which harms nothing. With a computer on its battery it ends there.
 */
function shortToChassis(equipment: Equipment, bench: Bench, tie: Tie): Refused | null {
  const { node, remedy } = tie
  if (node === equipment.chassis_node || !isEarthed(bench, tie)) return null
  const volts = railPotentials(equipment).get(node)
  const path = partsToChassis(equipment, node)
  if (volts === undefined && path === null) return null
  const here = `${tie.what} joins '${node}' to ${outsideOf(tie)}, and the chassis of ${equipment.name} is earthed too`
  return volts !== undefined && volts !== 0
    ? { what: `${here}: a short across ${formatQuantity(Math.abs(volts), 'V')}`, remedy }
    : { what: `${here}: it bridges ${path ?? 'what lies between'}, and a bias made there is gone`, remedy }
}

function endsOf(part: Equipment['parts'][string]): readonly NodeName[] {
  if (part.kind === 'potentiometer') return [...part.ends, part.wiper]
  return 'between' in part ? (part.between ?? []) : []
}

/** Parts by which direct current comes from a node to the chassis, in words; null where there is no such way. */
function partsToChassis({ parts, chassis_node }: Equipment, from: NodeName): string | null {
  const reached = new Map<NodeName, readonly string[]>([[from, []]])
  for (const [node, by] of reached) {
    if (node === chassis_node) return by.join(', ')
    for (const [name, part] of Object.entries(parts)) {
      if (part.kind === 'capacitor') continue
      const ends = endsOf(part)
      if (!ends.includes(node)) continue
      for (const end of ends) if (!reached.has(end)) reached.set(end, [...by, name])
    }
  }
  return null
}

/**
 * A heater rail whose middle is at chassis (centre tap, hum potentiometer) on a supply whose negative is at earth: chassis and
 * earth are one, so half of what makes that middle lies across half of the supply's volts.
 */
function earthedMiddle(equipment: Equipment, bench: Bench, tie: Tie): Refused | null {
  const rail = tie.feeds === null ? undefined : own(equipment.rails, tie.feeds)
  const middle = rail === undefined ? null : middleAtChassis(rail, equipment)
  if (rail === undefined || middle === null || tie.node === equipment.chassis_node) return null
  if (!isEarthed(bench, tie)) return null
  return {
    what: `the negative of ${tie.what} is joined to ${tie.through === 'earth' ? 'earth' : 'the computer, which is earthed'}, and ${middle} joins the middle of rail ${tie.feeds ?? ''} to chassis, which is earthed too: the supply would drive its current through half of it, and every filament would stand ${formatQuantity(rail.working_V / 2, 'V')} off its bias`,
    remedy:
      tie.through === 'earth'
        ? `${tie.remedy}; else lift ${middle} from chassis, list that under feeds: lift, and leave earthed_at out`
        : tie.remedy,
  }
}

function liveChassis(equipment: Equipment, tie: Tie): Refused {
  return {
    what: `the chassis of ${equipment.name} is live, and ${tie.what} joins '${tie.node}' to ${tie.through}`,
    remedy: `nothing of a live set may be joined to earth or the computer, isolating transformer or not: ${
      tie.through === 'earth' ? 'lift the earth link' : 'use an isolated interface'
    }`,
  }
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
