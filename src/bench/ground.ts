import { nodesOf, type Equipment } from '../equipment/index.js'
import {
  createReport,
  formatQuantity,
  listed,
  nearest,
  own,
  type Path,
  type Problem,
  type Report,
  type Where,
} from '../quantities/index.js'
import { expectedCurrents } from './currents.js'
import { dischargeProblem } from './discharge.js'
import { checkIsolation, checkLoops } from './loops.js'
import { channelOf } from './channels.js'
import type { Bench, Channel } from './types.js'

/** A channel joined to a rail of the set. */
export interface Joint {
  readonly name: string
  readonly path: Path
  readonly supply: string
  readonly channel: Channel
}

const nowhere =
  (file: string): Where =>
  () => ({ file, line: 1, column: 1 })

/**
 * Bench and set together: which supply is joined to which node, what is joined to earth and to the computer, and what
 * of it must not be energised. All problems are errors unless they say they are warnings.
 */
export function groundGraph(
  equipment: Equipment,
  bench: Bench,
  where: { readonly equipment: Where; readonly bench: Where } = {
    equipment: nowhere('equipment'),
    bench: nowhere('bench'),
  },
): readonly Problem[] {
  const report = createReport(where.bench)
  const ofSet = createReport(where.equipment)
  const joints = jointsOf(bench)
  for (const joint of joints) checkJoint(joint, equipment, report)
  bench.stacks.forEach((stack, i) => {
    if (!Object.hasOwn(equipment.rails, stack.rail))
      noRail(['stacks', i, 'rail'], stack.rail, equipment, report)
  })
  checkMeters(equipment, bench, report)
  checkClasses(equipment, bench, joints, ofSet)
  checkLeads(equipment, bench, joints, report)
  checkLoops(equipment, bench, joints, report)
  checkIsolation(equipment, bench, joints, report)
  for (const joint of joints) {
    const found = dischargeProblem(joint, equipment, bench)
    if (found !== null) report.error([...joint.path], found.what, found.remedy, 'key')
    if (
      joint.channel.bleeder_ohm !== null &&
      own(equipment.rails, joint.channel.feeds)?.feeds.bench_bleeder_ohm !== undefined
    )
      report.error(
        [...joint.path, 'bleeder'],
        `the bench bleeder of rail ${joint.channel.feeds} is stated twice: here and under feeds in the set's file`,
        "leave out bench_bleeder in the set's file",
      )
  }
  checkResolution(equipment, joints, report)
  return [...ofSet.problems, ...report.problems]
}

function jointsOf(bench: Bench): Joint[] {
  return Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
    Object.entries(channels).map(([name, channel]) => ({
      name: `${supply}.${name}`,
      path: ['supplies', supply, 'channels', name],
      supply,
      channel,
    })),
  )
}

function noRail(path: Path, rail: string, equipment: Equipment, report: Report): void {
  const all = Object.keys(equipment.rails)
  const near = nearest(rail, all)[0]
  report.error(
    path,
    `the set has no rail '${rail}'`,
    near === undefined
      ? listed(`rails of ${equipment.name}`, all, `${equipment.name} has none that could be read`)
      : `did you mean '${near}'?`,
  )
}

function checkJoint({ name, path, channel }: Joint, equipment: Equipment, report: Report): void {
  const rail = own(equipment.rails, channel.feeds)
  if (rail === undefined) {
    noRail([...path, 'feeds'], channel.feeds, equipment, report)
    return
  }
  if (rail.role !== channel.role)
    report.error(
      [...path, 'role'],
      `channel ${name} says its rail is for ${channel.role}, but rail ${channel.feeds} of the set is for ${rail.role}`,
      `write role: ${rail.role}, or feed another rail: the off order follows the role`,
    )
}

function checkMeters(equipment: Equipment, bench: Bench, report: Report): void {
  const nodes = nodesOf(equipment)
  for (const { required_bias } of Object.values(equipment.rails))
    if (required_bias !== undefined) nodes.add(required_bias.node)
  for (const [name, meter] of Object.entries(bench.meters)) {
    const path: Path = ['meters', name]
    if (meter.rail !== null && !Object.hasOwn(equipment.rails, meter.rail))
      noRail([...path, 'rail'], meter.rail, equipment, report)
    for (const key of ['at', 'against'] as const) {
      const node = meter[key]
      if (node === null || nodes.has(node)) continue
      const near = nearest(node, nodes)[0]
      report.error(
        [...path, key],
        `meter ${name} is clipped to '${node}', which is no node of the set`,
        near === undefined ? 'name a node as in the file of the set' : `did you mean '${near}'?`,
      )
    }
  }
}

/** A class that the file of the set asks for and the bench cannot give. */
function checkClasses(equipment: Equipment, bench: Bench, joints: readonly Joint[], ofSet: Report): void {
  for (const [name, rail] of Object.entries(equipment.rails)) {
    const fed = joints.some(({ channel }) => channel.feeds === name)
    const watched = Object.values(bench.meters).some(
      ({ line, rail: on, at }) =>
        line !== null && (on === name || at === rail.positive || at === rail.negative),
    )
    if (rail.class === 'programmed' && !fed)
      ofSet.error(
        ['rails', name, 'class'],
        `rail ${name} is to be programmed, but no channel of ${bench.name} feeds it`,
        'let a channel feed it, or leave class out',
      )
    if (rail.class === 'watched' && !watched)
      ofSet.error(
        ['rails', name, 'class'],
        `rail ${name} is to be watched, but no meter on a line of ${bench.name} measures it`,
        'put a meter on a line there, or leave class out',
      )
  }
}

function checkLeads(equipment: Equipment, bench: Bench, joints: readonly Joint[], report: Report): void {
  for (const [name, rail] of Object.entries(equipment.rails)) {
    const stack = bench.stacks.find((each) => each.rail === name)
    const feeding = joints.filter(({ channel }) => channel.feeds === name)
    const first = feeding[0]
    if (first === undefined || rail.class === 'hand') continue
    const reach_V =
      stack === undefined
        ? first.channel.max_V
        : stack.channels.reduce((sum, channel) => sum + (channelOf(bench, channel)?.channel.max_V ?? 0), 0)
    if (rail.working_V > bench.leads_max_V && reach_V > bench.leads_max_V)
      report.error(
        [...first.path, 'max_volts'],
        `rail ${name} works at ${formatQuantity(rail.working_V, 'V')} and its supply reaches ${formatQuantity(reach_V, 'V')}, but bench leads carry ${formatQuantity(bench.leads_max_V, 'V')} at most`,
        `write max_volts so that the rail stays at or below ${formatQuantity(bench.leads_max_V, 'V')}; what lies above is set by hand`,
      )
  }
}

/** A supply that sees less than five steps of a rail's whole current cannot judge it. */
function checkResolution(equipment: Equipment, joints: readonly Joint[], report: Report): void {
  const expected = expectedCurrents(equipment)
  for (const { name, path, channel } of joints) {
    const current = expected[channel.feeds]
    if (current === undefined || current <= 0 || current >= 5 * channel.resolution_A) continue
    report.error(
      [...path, 'resolution_amps'],
      `channel ${name} sees steps of ${formatQuantity(channel.resolution_A, 'A')}, but rail ${channel.feeds} draws only ${formatQuantity(current, 'A')} at its working voltage: it could not tell a good set from a dead one`,
      `feed it from a supply that resolves ${formatQuantity(current / 5, 'A')} or less`,
    )
  }
}
