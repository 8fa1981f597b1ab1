import { nearest, own, type Path, type Report } from '../quantities/index.js'
import { drivenRating, figuresOf, knownServices } from './driven.js'
import { recordOf, type Known } from './known.js'
import { did, nodesOf, unknown } from './meaning.js'
import type { DrivenStage, Equipment, PartName, Tube } from './types.js'

/** Whether what a file says of its driven stages fits together, and whether anything is known of how they work. */
export function checkDriven(equipment: Equipment, known: Known, report: Report): void {
  for (const [name, tube] of Object.entries(equipment.tubes)) {
    tube.sections.forEach(({ driven }, i) => {
      const at: Path = tube.sections.length === 1 ? ['tubes', name] : ['tubes', name, 'sections', i]
      if (driven !== undefined) checkStage(equipment, name, tube, i, driven, [...at, 'driven'], known, report)
    })
    if (tube.driven !== undefined)
      checkStage(equipment, name, tube, 0, tube.driven, ['tubes', name, 'driven'], known, report)
  }
}

function checkStage(
  equipment: Equipment,
  name: PartName,
  tube: Tube,
  section: number,
  stage: DrivenStage,
  path: Path,
  known: Known,
  report: Report,
): void {
  stage.in.forEach((mode, i) => {
    const of = own(equipment.modes, mode)
    if (of === undefined)
      unknown([...path, 'in', i], 'mode', mode, equipment.modes, known.has('modes', mode), report)
    else if (!of.driven)
      report.error(
        [...path, 'in', i],
        `${name} is driven in mode ${mode}, and the mode does not say that a stage is driven in it`,
        `write driven: true at mode ${mode}, or leave ${mode} out here`,
      )
  })
  if (stage.from !== undefined && !Object.hasOwn(equipment.tubes, stage.from))
    unknown([...path, 'from'], 'tube', stage.from, equipment.tubes, known.has('tubes', stage.from), report)
  const record = recordOf(tube)
  if (record === null || tube.pulled === true) return
  const of = { tube: name, type: tube.type, section, stage }
  const services = `the tube data know ${knownServices(record)}`
  if (figuresOf(equipment, of) === null)
    report.error(
      [...path, 'service'],
      `nothing is known of a ${record.type} in ${stage.service}: ${services}`,
      'choose one of these, or give figures: { at, bias, plate, … } from the handbook, with their source',
    )
  if (drivenRating(equipment, of) === null)
    report.error(
      [...path, 'service'],
      `no rating of a ${record.type} in ${stage.service}, ${stage.duty}, is known: ${services}`,
      stage.duty === 'CCS'
        ? 'give rating: { plate, input, … } with its source, or duty: ICAS where the set is keyed for minutes only'
        : 'give rating: { plate, input, … } with its source',
    )
  if (stage.shows === undefined || equipment.level < 3 || known.anyBroken('parts', 'tubes')) return
  const nodes = nodesOf(equipment)
  for (const key of ['node', 'against'] as const) {
    if (nodes.has(stage.shows[key])) continue
    report.error(
      [...path, 'shows', key],
      `node '${stage.shows[key]}' is nowhere in the network`,
      did(nearest(stage.shows[key], nodes)),
    )
  }
}
