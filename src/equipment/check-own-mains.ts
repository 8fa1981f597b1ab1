import type { Path, Report } from '../quantities/index.js'
import { recordOf, type Known } from './known.js'
import { nodesOf, unknown, withDrop } from './meaning.js'
import { ownMainsRail } from './own-mains.js'
import type { Equipment } from './types.js'

/** Whether what the file says of its own transformer fits the rest of it. */
export function checkOwnMains(equipment: Equipment, known: Known, report: Report): void {
  if (Object.hasOwn(equipment.rails, ownMainsRail))
    report.error(
      ['rails', ownMainsRail],
      `'${ownMainsRail}' is what slowglow calls the set's own transformer`,
      'give the rail another name',
      'key',
    )
  const { own_mains } = equipment
  if (own_mains === undefined) return
  const at = (...path: Path): Path => ['own_mains', ...path]
  if (equipment.power === 'battery' || equipment.chassis === 'live')
    report.error(
      at(),
      equipment.power === 'battery'
        ? 'a set for batteries has no mains transformer'
        : 'a set whose chassis is on the mains has no transformer that parts it from them: it is not brought up by this stage',
      'leave own_mains out',
      'key',
    )
  const { HT, windings } = own_mains
  const rail = equipment.rails[HT.rail]
  if (rail === undefined)
    unknown(at('HT', 'rail'), 'rail', HT.rail, equipment.rails, known.has('rails', HT.rail), report)
  else if (rail.role !== 'HT')
    report.error(
      at('HT', 'rail'),
      `rail ${HT.rail} has role ${rail.role}, not HT`,
      'name the rail of the plates',
    )
  const charged = HT.leaves_charged
  if (charged !== undefined && equipment.level >= 3 && !nodesOf(equipment).has(charged))
    report.error(
      at('HT', 'leaves_charged'),
      `no part, tube or rail names node '${charged}'`,
      'name the node of the reservoir, as its capacitor does',
    )
  for (const [i, half] of HT.halves.entries())
    if (!Object.hasOwn(windings, half))
      report.error(
        at('HT', 'halves', i),
        `nothing says how many volts ${half} gives`,
        'write it under windings, as T1a: 350 V',
      )
  for (const name of Object.keys(windings)) {
    const part = equipment.parts[name]
    if (equipment.level < 3 || part?.kind === 'winding') continue
    if (part === undefined)
      unknown(at('windings', name), 'winding', name, equipment.parts, known.has('parts', name), report)
    else report.error(at('windings', name), `${name} is a ${part.kind}, not a winding`, 'name a winding')
  }
  for (const mode of Object.keys(HT.taps))
    if (!Object.hasOwn(equipment.modes, mode))
      unknown(at('HT', 'taps', mode), 'mode', mode, equipment.modes, known.has('modes', mode), report)
  if (HT.rectifier === null) return
  const tube = equipment.tubes[HT.rectifier]
  const kind = tube === undefined ? undefined : recordOf(tube)?.kind
  if (tube === undefined)
    unknown(
      at('HT', 'rectifier'),
      'tube',
      HT.rectifier,
      equipment.tubes,
      known.has('tubes', HT.rectifier),
      report,
    )
  else if (kind !== undefined && !kind.startsWith('rectifier'))
    report.error(
      at('HT', 'rectifier'),
      `${HT.rectifier} (${tube.type}) is no rectifier`,
      'name the rectifier, or leave it out where semiconductors do its work',
    )
  else if (kind !== undefined && recordOf(tube)?.sections[0]?.model === null)
    report.error(
      at('HT', 'rectifier'),
      `the type of ${HT.rectifier} has no operating point: HT would be expected as high as without a rectifier`,
      withDrop(tube),
    )
}
