import { formatQuantity, nearest, own, type Path, type Report } from '../quantities/index.js'
import { polarityOf, recordOf, type Known } from './known.js'
import type { Equipment, Rail, Tube } from './types.js'

/** Whether the names of a set's file fit together and its rails make sense. Nodes and heaters have their own files. */
export function checkMeaning(equipment: Equipment, known: Known, report: Report): void {
  checkModes(equipment, known, report)
  checkNamesOnce(equipment, report)
  checkChassis(equipment, report)
  if (Object.keys(equipment.rails).length === 0 && !known.anyBroken('rails'))
    report.error(['rails'], 'the set has no rail', 'write at least a heater rail and an HT rail')
  for (const [name, rail] of Object.entries(equipment.rails)) checkRail(name, rail, equipment, known, report)
  for (const [name, tube] of Object.entries(equipment.tubes)) checkTube(name, tube, equipment, known, report)
  for (const [name, { rail, rated_V }] of Object.entries(equipment.rail_capacitors)) {
    const on = own(equipment.rails, rail)
    if (on === undefined)
      unknown(
        ['rail_capacitors', name, 'rail'],
        'rail',
        rail,
        equipment.rails,
        known.has('rails', rail),
        report,
      )
    else if (rated_V < on.working_V)
      report.error(
        ['rail_capacitors', name, 'rated'],
        `${name} is rated ${formatQuantity(rated_V, 'V')} on rail ${rail}, which works at ${formatQuantity(on.working_V, 'V')}`,
        `a capacitor of at least ${formatQuantity(on.working_V, 'V')} belongs there; check the marking, or replace it before any power`,
      )
  }
}

function checkModes(equipment: Equipment, known: Known, report: Report): void {
  if (Object.keys(equipment.modes).length === 0 && !known.anyBroken('modes'))
    report.error(['modes'], 'the set has no mode', 'write at least one, such as receive: { controls: {} }')
  const mention = (path: Path, mode: string): void => {
    if (!Object.hasOwn(equipment.modes, mode))
      unknown(path, 'mode', mode, equipment.modes, known.has('modes', mode), report)
  }
  for (const [name, part] of Object.entries(equipment.parts)) {
    if (part.kind === 'contact')
      part.closed_in.forEach((mode, i) => {
        mention(['parts', name, 'closed_in', i], mode)
      })
    if (part.kind === 'potentiometer')
      for (const mode of Object.keys(part.positions)) mention(['parts', name, 'positions', mode], mode)
  }
  for (const [name, tube] of Object.entries(equipment.tubes)) {
    tube.modes?.forEach((mode, i) => {
      mention(['tubes', name, 'modes', i], mode)
    })
  }
  for (const [name, rail] of Object.entries(equipment.rails))
    for (const mode of Object.keys(rail.totals)) mention(['rails', name, 'totals', mode], mode)
}

function checkNamesOnce({ parts, rail_capacitors, tubes, rails }: Equipment, report: Report): void {
  const taken = new Map<string, string>(Object.keys(parts).map((name) => [name, 'parts']))
  for (const [table, entries] of Object.entries({ rail_capacitors, tubes, rails }))
    for (const name of Object.keys(entries)) {
      const before = taken.get(name)
      if (before === undefined) taken.set(name, table)
      else
        report.error(
          [table, name],
          `the name ${name} is used twice: under ${before} and under ${table}`,
          'give each part, tube and rail a name of its own',
          'key',
        )
    }
}

function checkChassis({ chassis, power, isolating_transformer, hazards }: Equipment, report: Report): void {
  if (power === 'battery' && (chassis === 'live' || isolating_transformer !== undefined))
    report.error(
      ['power'],
      'the file says that the set lives on batteries, and that its chassis is joined to the mains',
      'leave out power: battery where the set has a mains plug; else write chassis: isolated, and no isolating transformer',
    )
  if (chassis === 'live' && isolating_transformer === undefined)
    report.error(
      ['chassis'],
      'the chassis is live and no isolating transformer is stated',
      'name the isolating transformer this set is worked on: isolating_transformer: "500 VA, secondary not earthed"; without one slowglow refuses the set',
    )
  if (chassis === 'live' && !hazards.includes('live chassis'))
    report.warn(
      ['hazards'],
      'the chassis is live, and the hazards do not say so',
      'add live chassis to hazards',
    )
}

function checkRail(name: string, rail: Rail, equipment: Equipment, known: Known, report: Report): void {
  const at = (...path: Path): Path => ['rails', name, ...path]
  if (rail.positive === rail.negative)
    report.error(at('negative'), `rail ${name} has the same node on both sides`, 'name two different nodes')
  const is = polarityOf(rail, equipment.chassis_node)
  if (rail.polarity !== is)
    report.error(
      at('polarity'),
      `rail ${name} says polarity ${rail.polarity}, but its nodes (+ ${rail.positive}, − ${rail.negative}) make it ${is}`,
      `write polarity: ${is}, leave it out, or exchange the two nodes`,
    )
  if (rail.working_V > rail.max_V.value)
    report.error(
      at('working'),
      `rail ${name} works at ${formatQuantity(rail.working_V, 'V')}, above its own highest of ${formatQuantity(rail.max_V.value, 'V')}`,
      'correct one of the two',
    )
  if (rail.winding_connected === true)
    report.error(
      at('winding_connected'),
      `a winding of the mains transformer is connected across rail ${name}: DC would flow through it and could burn it`,
      'lift both wires of the winding, list them under feeds: lift, and write winding_connected: false',
    )
  if (rail.earthed_at !== undefined && rail.role !== 'heater')
    report.error(
      at('earthed_at'),
      `rail ${name} is no heater rail, and earthed_at is about what joins the middle of one to chassis`,
      'leave it out',
    )
  const middle = middleAtChassis(rail, equipment)
  if (middle !== null && [rail.positive, rail.negative].includes(equipment.chassis_node))
    report.error(
      rail.earthed_at === undefined ? at('negative') : at('earthed_at'),
      `one side of rail ${name} is the chassis, and ${middle} joins its middle to chassis too: half of it lies straight across the supply`,
      `give both wires of ${name} nodes of their own and feed it from a supply whose negative is not earthed, or lift ${middle} from chassis and list that under feeds: lift`,
    )
  if (
    equipment.power !== 'battery' &&
    rail.role === 'heater' &&
    rail.winding_connected === undefined &&
    rail.feeds.lift.length === 0
  )
    report.warn(
      at(),
      `heater rail ${name} does not say whether a winding of a mains transformer is still connected across it`,
      'list the wires to lift under feeds: lift, or write winding_connected: false where there is none',
      'key',
    )
  rail.feeds.pull.forEach((pulled, i) => {
    const tube = own(equipment.tubes, pulled)
    if (tube === undefined)
      unknown(at('feeds', 'pull', i), 'tube', pulled, equipment.tubes, known.has('tubes', pulled), report)
    else if (tube.pulled !== true)
      report.error(
        at('feeds', 'pull', i),
        `${pulled} is to be pulled for rail ${name}, but the tube itself does not say so`,
        `write pulled: true at tube ${pulled}`,
      )
  })
  // One word is no reason: whoever reads it later must be able to judge it.
  if (rail.manual !== undefined && !/\S\s+\S/.test(rail.manual.reason))
    report.error(
      at('manual', 'reason'),
      `the limit of rail ${name} stated by hand gives no reason`,
      'write in a sentence where the figure comes from and why it is set by hand: it stands in every later view',
    )
  checkBias(name, rail, equipment, known, report)
  twoSources(name, rail, equipment, report)
}

function checkBias(name: string, rail: Rail, equipment: Equipment, known: Known, report: Report): void {
  const needed = rail.required_bias
  if (needed === undefined) {
    if (rail.role === 'bias')
      report.error(
        ['rails', name],
        `bias rail ${name} does not say what bias is required, and where`,
        'write required_bias: { node: the grid return, at_least: -20 V, nominal: -25 V, source: … }',
        'key',
      )
    return
  }
  const at = (key: string): Path => ['rails', name, 'required_bias', key]
  if (rail.role !== 'bias')
    report.error(
      ['rails', name, 'required_bias'],
      `rail ${name} has role ${rail.role}, not bias`,
      'move required_bias to the bias rail',
    )
  const sign = rail.polarity === 'negative' ? -1 : 1
  for (const [key, volts] of [
    ['at_least', needed.at_least_V],
    ['nominal', needed.nominal_V],
  ] as const)
    if (volts * sign <= 0 && rail.polarity !== 'floating')
      report.error(
        at(key),
        `${formatQuantity(volts, 'V')} has the wrong sign: rail ${name} is ${rail.polarity} against chassis`,
        `write ${formatQuantity(-volts, 'V')}`,
      )
  if (Math.abs(needed.at_least_V) > Math.abs(needed.nominal_V))
    report.error(
      at('at_least'),
      'the least bias is more than the usual bias',
      'exchange them, or correct one',
    )
  if (Math.abs(needed.nominal_V) > rail.max_V.value)
    report.error(
      at('nominal'),
      `the usual bias is more than rail ${name} may carry`,
      `correct it, or the rail's max`,
    )
  if (
    equipment.level === 3 &&
    !known.anyBroken('parts', 'tubes', 'rails') &&
    !nodesOf(equipment).has(needed.node)
  )
    report.error(
      at('node'),
      `node '${needed.node}' of the grid return is nowhere in the network`,
      did(nearest(needed.node, nodesOf(equipment))),
    )
}

/** A rectifier or winding left in place beside the bench supply is a second source on the same reservoir. */
function twoSources(name: string, rail: Rail, equipment: Equipment, report: Report): void {
  if (rail.role === 'heater' || rail.role === 'bias') return
  for (const [part, tube] of Object.entries(equipment.tubes)) {
    if (tube.pulled === true || recordOf(tube)?.kind.startsWith('rectifier') !== true) continue
    const onRail =
      tube.sections.length === 0 ? tube.rail === name : tube.sections.some((s) => s.cathode === rail.positive)
    if (onRail)
      report.error(
        ['tubes', part],
        `rectifier ${part} still stands on rail ${name}: the set's own pack and the bench supply would both feed its reservoir`,
        `pull ${part}: write pulled: true there and name it under rails, ${name}, feeds: pull`,
      )
  }
  for (const [other, { role, positive, negative }] of Object.entries(equipment.rails))
    if (other > name && role !== 'heater' && positive === rail.positive && negative === rail.negative)
      report.error(
        ['rails', other],
        `rails ${name} and ${other} have the same two nodes: two sources on one reservoir`,
        'join them into one rail, or name the nodes where they really differ',
        'key',
      )
}

function checkTube(name: string, tube: Tube, equipment: Equipment, known: Known, report: Report): void {
  if (tube.rail !== undefined && !Object.hasOwn(equipment.rails, tube.rail))
    unknown(
      ['tubes', name, 'rail'],
      'rail',
      tube.rail,
      equipment.rails,
      known.has('rails', tube.rail),
      report,
    )
  const record = recordOf(tube)
  if (record?.kind === 'lamp') {
    report.error(
      ['tubes', name],
      `${name} (${tube.written}) is a lamp, which draws from nothing but its heater chain`,
      `write it under parts in place of tubes, as ${name}: { kind: lamp, type: ${tube.written} }`,
      'key',
    )
    return
  }
  if (record === null || tube.pulled === true || record.barretter !== undefined) return
  if (equipment.level === 3 && tube.sections.length === 0) {
    report.error(
      ['tubes', name],
      `${name} has no nodes, while other parts have: its current would be missing from the network`,
      'write plate:, cathode: and the other electrodes with their nodes (or pulled: true if it is out)',
      'key',
    )
    return
  }
  if (equipment.level < 3 && tube.rail === undefined)
    report.error(
      ['tubes', name],
      `${name} does not say which rail it draws from`,
      `write rail: ${Object.entries(equipment.rails).find(([, rail]) => rail.role === 'HT')?.[0] ?? 'HT'} at ${name}`,
      'key',
    )
  if (equipment.level === 3 && record.kind.startsWith('rectifier') && record.sections[0]?.model === null)
    report.error(
      ['tubes', name],
      `${name} is a rectifier whose type has no operating point: what it drops would be missing from the network`,
      withDrop(tube),
      'key',
    )
  if (tube.sections.length > record.sections.length)
    report.error(
      ['tubes', name, 'sections'],
      `${name} has ${tube.sections.length} sections; a ${record.type} has ${record.sections.length}`,
      'leave out what the tube does not have',
    )
  tube.sections.forEach((section, i) => {
    const path: Path =
      section === tube.sections[0] && tube.sections.length === 1
        ? ['tubes', name]
        : ['tubes', name, 'sections', i]
    const form = record.sections[i]?.model?.form
    if (form === 'screen' && section.screen === undefined && section.triode_connected !== true)
      report.error(
        path,
        `${name} is a ${record.type} and has no node for its screen`,
        'write screen: with its node, or triode_connected: true',
      )
    if ((form === 'screen' || form === 'triode') && section.grid === undefined)
      report.error(
        path,
        `${name} is a ${record.type} and has no node for its grid`,
        'write grid: with its node (the chassis, if it is earthed)',
      )
  })
}

/** What a rectifier's definition needs before anything can be computed through it. */
export function withDrop({ type }: Tube): string {
  return `give ${type} under tube_types its drop: points: [{ plate: its drop in volts, plate_current: at this current }]`
}

/** Every node that a part, tube or rail names. */
export function nodesOf(equipment: Equipment): Set<string> {
  const found = new Set<string>([equipment.chassis_node])
  for (const part of Object.values(equipment.parts)) {
    if (part.kind === 'heater resistor') continue
    if (part.kind === 'potentiometer') for (const node of [...part.ends, part.wiper]) found.add(node)
    else for (const node of part.between ?? []) found.add(node)
  }
  for (const { sections, jumper } of Object.values(equipment.tubes)) {
    for (const node of jumper ?? []) found.add(node)
    for (const { plate, screen, grid, cathode } of sections)
      for (const node of [plate, screen, grid, cathode]) if (node !== undefined) found.add(node)
  }
  for (const { positive, negative } of Object.values(equipment.rails)) found.add(positive).add(negative)
  return found
}

export function unknown(
  path: Path,
  kind: string,
  name: string,
  names: Readonly<Record<string, unknown>>,
  brokenButNamed: boolean,
  report: Report,
): void {
  if (brokenButNamed) return
  const all = Object.keys(names)
  const near = nearest(name, all)
  report.error(
    path,
    `there is no ${kind} '${name}'`,
    near.length > 0
      ? did(near)
      : all.length === 0
        ? `the file has no ${kind}`
        : `${kind}s of this file: ${all.slice(0, 20).join(', ')}`,
  )
}

export function did(near: readonly string[]): string {
  return near[0] === undefined ? 'check the spelling' : `did you mean '${near.join("' or '")}'?`
}

/**
 * What joins the middle of a heater rail to chassis: as its file says, or a potentiometer of the file across its two wires
 * with its wiper on chassis. Null where nothing does.
 */
export function middleAtChassis(
  rail: Rail,
  { parts, chassis_node }: Pick<Equipment, 'parts' | 'chassis_node'>,
): string | null {
  if (rail.role !== 'heater') return null
  if (rail.earthed_at !== undefined) return `its ${rail.earthed_at}`
  for (const [name, part] of Object.entries(parts)) {
    if (part.kind !== 'potentiometer' || part.wiper !== chassis_node) continue
    if (part.ends.includes(rail.positive) && part.ends.includes(rail.negative))
      return `hum potentiometer ${name}`
  }
  return null
}
