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
import type { Profile, ReformOrderPart } from './types.js'

/** What a profile says against the set it names: unknown rails, modes and nodes, targets above what a rail may carry. */
export function checkProfile(profile: Profile, equipment: Equipment, where: Where): readonly Problem[] {
  const report = createReport(where)
  const named = (path: Path, kind: 'rail' | 'mode', name: string): boolean => {
    const all = Object.keys(kind === 'rail' ? equipment.rails : equipment.modes)
    if (all.includes(name)) return true
    const near = nearest(name, all)[0]
    report.error(
      path,
      `the set has no ${kind} '${name}'`,
      near === undefined
        ? listed(`${kind}s of ${equipment.name}`, all, `${equipment.name} has no ${kind} that could be read`)
        : `did you mean '${near}'?`,
    )
    return false
  }
  if (profile.mode !== null) named(['mode'], 'mode', profile.mode)
  for (const [name, volts] of Object.entries(profile.ceiling_V)) {
    const max = own(equipment.rails, name)?.max_V
    if (named(['ceiling', name], 'rail', name) && max !== undefined && volts > max.value)
      report.error(
        ['ceiling', name],
        `the ceiling of ${formatQuantity(volts, 'V')} is above what rail ${name} may carry, ${formatQuantity(max.value, 'V')} (${max.source})`,
        `write ${formatQuantity(max.value, 'V')} or less`,
      )
  }
  const nodes = nodesOf(equipment)
  profile.stages.forEach((stage, i) => {
    if (
      stage.do === 'ask' &&
      stage.reading !== null &&
      stage.reading.panel !== true &&
      equipment.level === 3 &&
      !nodes.has(stage.reading.node)
    ) {
      const near = nearest(stage.reading.node, nodes)[0]
      report.error(
        ['stages', i, 'reading', 'node'],
        `the set has no node '${stage.reading.node}'`,
        near === undefined ? 'name a node as in the file of the set' : `did you mean '${near}'?`,
      )
    }
    if (stage.do === 'mode') named(['stages', i, 'mode'], 'mode', stage.mode)
    if (stage.do === 'ask' && stage.watch !== undefined) named(['stages', i, 'watch'], 'rail', stage.watch)
    if (stage.do === 'tune') {
      named(['stages', i, 'rail'], 'rail', stage.rail)
      return
    }
    if (stage.do !== 'ramp' || !named(['stages', i, 'rail'], 'rail', stage.rail)) return
    const max = own(equipment.rails, stage.rail)?.max_V
    stage.to_V.forEach((volts, t) => {
      if (max !== undefined && volts > max.value)
        report.error(
          ['stages', i, 'to', ...(stage.to_V.length > 1 ? [t] : [])],
          `stage ${stage.name} goes to ${formatQuantity(volts, 'V')}, above what rail ${stage.rail} may carry, ${formatQuantity(max.value, 'V')} (${max.source})`,
          `write ${formatQuantity(max.value, 'V')} or less`,
        )
    })
  })
  if (profile.tubes_cold && profile.kind !== 'reform')
    report.error(
      ['tubes_cold'],
      `HT with cold tubes belongs to a reform, not to kind: ${profile.kind}`,
      'write kind: reform, or leave tubes_cold out',
    )
  checkHeatersInPlace(profile, equipment, report)
  checkReform(profile, equipment, report)
  checkOwnMains(profile, equipment, report)
  return report.problems
}

/** Formed in the circuit: hot tubes draw through the same rail and load its parts, so that they are cold, or their heaters stated. */
function checkHeatersInPlace(profile: Profile, { rails, heater_chains }: Equipment, report: Report): void {
  if (profile.kind !== 'reform' || profile.reform !== null || profile.tubes_cold) return
  if (Object.keys(heater_chains).length === 0) return
  const stated = profile.stages.some(
    (stage) => stage.do === 'ramp' && own(rails, stage.rail)?.role === 'heater',
  )
  if (stated) return
  report.error(
    ['kind'],
    'electrolytics are to be formed in the circuit, and nothing says whether its tubes are cold',
    'write tubes_cold: true (pulled, or heaters off), or a stage that raises the heaters; heaters never rise by themselves in a reform',
  )
}

/** The bench's leads come off for it: nothing else is raised in the same run. */
function checkOwnMains(profile: Profile, equipment: Equipment, report: Report): void {
  const place = profile.stages.findIndex((stage) => stage.do === 'own mains')
  if (place < 0) return
  const at: Path = ['stages', place]
  if (equipment.own_mains === undefined)
    report.error(
      at,
      `the file of ${equipment.name} says nothing of its own transformer`,
      'write own_mains: { volts: …, transformer: …, windings: … } into it',
    )
  const others = profile.stages.findIndex(
    (stage, i) => i !== place && stage.do !== 'mode' && stage.do !== 'hook-up check',
  )
  if (others >= 0)
    report.error(
      ['stages', others],
      "beside the set's own transformer nothing else stands in a profile: the bench's leads are off the set",
      'give it a profile of its own',
    )
  const mode = profile.stages.find((stage) => stage.do === 'mode')?.mode ?? profile.mode
  if (mode !== null && equipment.modes[mode]?.driven === true)
    report.error(
      at,
      `mode ${mode} keys a driven stage; the set's own pack is joined with the key up`,
      'choose a mode that is not driven; the carrier is proved afterwards (slowglow proof)',
    )
  for (const [wrong, what] of [
    [profile.unattended, 'unattended: nobody but you can turn it down'],
    [profile.tubes_cold, 'tubes_cold: what stays cold is said by the stage itself'],
  ] as const)
    if (wrong) report.error(at, `the set's own transformer is not brought up ${what}`, 'leave that out')
}

function checkReform(profile: Profile, equipment: Equipment, report: Report): void {
  const { reform } = profile
  if (reform === null) return
  if (profile.kind !== 'reform')
    report.error(
      ['reform'],
      `lifted electrolytics belong to a reform, not to kind: ${profile.kind}`,
      'write kind: reform',
    )
  if (profile.stages.length > 0)
    report.error(
      ['stages'],
      'lifted electrolytics are formed by steps of their own, as large as their leakage allows',
      'leave stages out, or form in the circuit: then leave reform: out',
    )
  const known = electrolyticsOf(equipment)
  const taken = new Map<string, string>()
  for (const [name, part] of Object.entries(reform.parts)) {
    checkString(name, part, equipment, report)
    if (known.includes(name) && part.of?.includes(name) === false)
      report.error(
        ['reform', 'parts', name],
        `'${name}' is an electrolytic of the set and not among those that this entry stands for`,
        'give the entry another name, or list it under of:',
      )
    for (const each of part.of ?? [name]) {
      const by = taken.get(each)
      taken.set(each, name)
      if (by !== undefined) {
        report.error(
          ['reform', 'parts', name],
          `'${each}' is named twice, ${by === name ? `both times in ${name}` : `in ${by} and in ${name}`}: it can stand behind one feed resistor only`,
          'name each electrolytic once',
        )
        continue
      }
      if (known.includes(each)) continue
      const near = nearest(each, known)[0]
      report.error(
        ['reform', 'parts', name],
        `the set has no electrolytic '${each}'`,
        near === undefined
          ? listed('its electrolytics are', known, 'it has none that could be read')
          : `did you mean '${near}'?`,
      )
    }
  }
}

/** Sections of one can have their negative in common. */
function checkString(
  name: string,
  { of, joined }: ReformOrderPart,
  { parts, rail_capacitors }: Equipment,
  report: Report,
): void {
  if (joined !== 'series' || of === null) return
  const cans = of.flatMap((each) => {
    const part = parts[each] ?? rail_capacitors[each]
    return part !== undefined && 'can' in part ? [part.can] : []
  })
  const twice = cans.find((can, at) => cans.indexOf(can) !== at)
  if (twice !== undefined)
    report.error(
      ['reform', 'parts', name],
      `sections of one can (${twice}) have their negative end in common and cannot stand in series`,
      'give each section a feed resistor of its own, or write joined: parallel',
    )
}

/** Names of a set's electrolytics, with nodes and without. */
function electrolyticsOf({ parts, rail_capacitors }: Equipment): string[] {
  return Object.entries({ ...parts, ...rail_capacitors })
    .filter(([, part]) => 'dielectric' in part && part.dielectric === 'electrolytic')
    .map(([name]) => name)
}
