import { nodesOf, type Equipment } from '../equipment/index.js'
import {
  createReport,
  formatQuantity,
  nearest,
  own,
  type Path,
  type Problem,
  type Where,
} from '../quantities/index.js'
import type { Profile } from './types.js'

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
      near === undefined ? `${kind}s of ${equipment.name}: ${all.join(', ')}` : `did you mean '${near}'?`,
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
  return report.problems
}
