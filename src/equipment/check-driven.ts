import { nearest, own, type Path, type Report } from '../quantities/index.js'
import { biasRails, drivenRating, drivenStages, figuresOf, knownServices } from './driven.js'
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
  for (const [mode, { driven }] of Object.entries(equipment.modes))
    if (driven && drivenStages(equipment, mode).length === 0 && !known.anyBroken('tubes'))
      report.error(
        ['modes', mode, 'driven'],
        `mode ${mode} says that a stage is driven in it, and no tube says that it is the one`,
        `write driven: { in: [${mode}], by: RF, service: …, bias: … } at each tube that is, or leave driven out here`,
      )
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
  const place = { equipment, name, stage, path, known, report }
  if (stage.modulates !== undefined) checkModulator(place)
  if (tube.pulled !== true) checkBias(place)
  const record = recordOf(tube)
  if (record === null || tube.pulled === true) return
  const of = { tube: name, type: tube.type, section, stage }
  const services = `the tube data know ${knownServices(record)}`
  const untold = stage.in.find((mode) => !toldOtherwise(equipment, tube, name, mode))
  if (figuresOf(equipment, of) === null && untold !== undefined)
    report.error(
      [...path, 'service'],
      `nothing is known of a ${record.type} in ${stage.service}: ${services}`,
      `choose one of these, or give figures: { at, bias, plate, … } from the handbook, with their source${equipment.level < 3 && tube.rail !== undefined ? `; a total of ${tube.rail} in ${untold} would do as well` : ''}`,
    )
  if (drivenRating(equipment, of) === null)
    report.error(
      [...path, 'service'],
      `no rating of a ${record.type} in ${stage.service}, ${stage.duty}, is known: ${services}`,
      stage.duty === 'CCS'
        ? 'give rating: { plate, input, … } with its source, or duty: ICAS where the set is keyed for minutes only'
        : 'give rating: { plate, input, … } with its source',
    )
  if (stage.shows !== undefined && equipment.level < 3 && stage.shows.ohm === undefined)
    report.error(
      [...path, 'shows'],
      `no circuit tells how many volts the grid current of ${name} makes between ${stage.shows.node} and ${stage.shows.against}`,
      'write the resistor that stands there: shows: { node: …, against: …, resistor: 100 Ω }',
    )
  if (stage.shows?.ohm !== undefined && equipment.level === 3)
    report.error(
      [...path, 'shows', 'resistor'],
      "the set's circuit is in the file and tells what stands there",
      'leave it out, and give the resistor under parts',
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

/** A driven stage where it stands in the file, and whoever is told what is wrong there. */
interface Place {
  readonly equipment: Equipment
  readonly name: PartName
  readonly stage: DrivenStage
  readonly path: Path
  readonly known: Known
  readonly report: Report
}

/** A fixed bias without a circuit is the one of a rail: what no rail gives, nothing watches, and HT would rise on 0 V at the grid. */
function checkBias({ equipment, name, stage, path, known, report }: Place): void {
  const rails = biasRails(equipment)
  const { bias_rail } = stage
  if (bias_rail !== undefined) {
    const at = [...path, 'bias_rail']
    if (!Object.hasOwn(equipment.rails, bias_rail))
      unknown(at, 'rail', bias_rail, equipment.rails, known.has('rails', bias_rail), report)
    else if (!rails.includes(bias_rail))
      report.error(
        at,
        `${bias_rail} is no bias rail, and ${name} is to have its fixed bias from it`,
        `name a rail with role: bias${rails.length === 0 ? '' : ` (${rails.join(', ')})`}`,
      )
    if (stage.bias !== 'fixed')
      report.error(
        at,
        `${name} has its bias from a ${stage.bias}, and names ${bias_rail} for it`,
        'write bias: fixed, or leave bias_rail out',
      )
    return
  }
  if (equipment.level === 3 || stage.bias !== 'fixed' || known.anyBroken('rails')) return
  const at = [...path, 'bias']
  if (rails.length === 0)
    report.error(
      at,
      `${name} has a fixed bias, and the file has no rail that gives it: a bias that nothing raises and nothing watches may be 0 V with HT on`,
      'write the rail that its bias comes from (role: bias, with required_bias), from the bench where the set had a supply of its own; or say what else holds it: bias: grid leak or cathode resistor',
    )
  else if (rails.length > 1)
    report.error(
      at,
      `${name} has a fixed bias, and the file has several rails that may give it: ${rails.join(', ')}`,
      `name the one that holds ${name}: bias_rail: ${rails[0] ?? ''}`,
    )
}

/** Without a circuit a rail's total, or a chart that names the tube, says what flows in a mode whatever the service. */
function toldOtherwise(
  { level, rails, charts }: Equipment,
  tube: Tube,
  name: PartName,
  mode: string,
): boolean {
  if (level === 3) return false
  return (
    (tube.rail !== undefined && rails[tube.rail]?.totals[mode] !== undefined) ||
    charts.voltages.some((line) => line.mode === mode && line.of?.tube === name && line.through !== null)
  )
}

/** A modulation transformer that nothing loads flashes over: its modulators work only where the stage that they modulate does. */
function checkModulator({ equipment, name, stage, path, known, report }: Place): void {
  const at = [...path, 'modulates']
  const { modulates: modulated } = stage
  if (modulated === undefined) return
  if (stage.by !== 'audio')
    report.error(
      at,
      `${name} modulates ${modulated} and is driven by ${stage.by}`,
      'a modulator is driven by audio: write by: audio, or leave modulates out',
    )
  if (!Object.hasOwn(equipment.tubes, modulated)) {
    unknown(at, 'tube', modulated, equipment.tubes, known.has('tubes', modulated), report)
    return
  }
  for (const mode of stage.in) {
    const works = drivenStages(equipment, mode).some(
      ({ tube, stage: other }) => tube === modulated && other.by === 'RF',
    )
    if (works || !Object.hasOwn(equipment.modes, mode)) continue
    report.error(
      at,
      `${name} modulates ${modulated} in mode ${mode}, in which ${modulated} is not driven: with no plate current there nothing loads the modulation transformer, and it flashes over`,
      `have ${modulated} driven by RF in ${mode} too, or take ${mode} out here`,
    )
  }
}
