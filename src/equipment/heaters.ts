import { formatQuantity, own, type Path, type Report } from '../quantities/index.js'
import { unknown } from './meaning.js'
import { recordOf, type Known } from './known.js'
import type { Equipment, HeaterChain } from './types.js'

/** Relative differences below this are ordinary tolerances of heaters (common practice, no source). */
const alike = 0.06

interface Rating {
  readonly volts: number
  readonly amps: number
}

/** Rated volts and amps of what a chain names; a resistor has none of its own; null where it cannot be known. */
export function heaterRating(equipment: Equipment, name: string): Rating | { readonly ohm: number } | null {
  const tube = own(equipment.tubes, name)
  if (tube !== undefined) {
    const heater = recordOf(tube)?.heater
    return heater === null || heater === undefined
      ? null
      : { volts: heater.volts.value, amps: heater.amps.value }
  }
  const part = own(equipment.parts, name)
  if (part?.kind === 'lamp') return { volts: part.volts, amps: part.amps }
  if (part?.kind === 'heater resistor') return { ohm: part.ohm }
  return null
}

/** Every heater in one chain, once; equal volts in parallel, equal amps in series, and the sum is the rail. */
export function checkHeaters(equipment: Equipment, known: Known, report: Report): void {
  const placed = new Map<string, string>()
  for (const [name, chain] of Object.entries(equipment.heater_chains)) {
    if (place(name, chain, placed, equipment, known, report)) checkChain(name, chain, equipment, report)
  }
  if (known.anyBroken('heater_chains')) return
  for (const [name, tube] of Object.entries(equipment.tubes)) {
    const record = recordOf(tube)
    // A lamp under tubes has been told already.
    if (placed.has(name) || tube.pulled === true || record?.kind === 'lamp') continue
    const heater = record?.heater
    if (heater !== null && heater !== undefined)
      report.error(
        ['tubes', name],
        `the heater of ${name} is in no heater chain`,
        `add ${name} to a chain under heater_chains (${tube.written}: ${formatQuantity(heater.volts.value, 'V')}, ${formatQuantity(heater.amps.value, 'A')}), or write pulled: true`,
        'key',
      )
  }
  for (const [name, part] of Object.entries(equipment.parts))
    if (
      !placed.has(name) &&
      (part.kind === 'heater resistor' || (part.kind === 'lamp' && part.between === undefined))
    )
      report.error(
        ['parts', name],
        `${name} is a ${part.kind} that stands in no heater chain`,
        `add ${name} to a chain under heater_chains${part.kind === 'lamp' ? ', or say between which nodes it is' : ''}`,
        'key',
      )
}

/** Places the chain's elements; false when one is not what a chain can hold. */
function place(
  name: string,
  chain: HeaterChain,
  placed: Map<string, string>,
  equipment: Equipment,
  known: Known,
  report: Report,
): boolean {
  const at = (...path: Path): Path => ['heater_chains', name, ...path]
  let sound = true
  const rail = own(equipment.rails, chain.rail)
  if (rail === undefined) {
    unknown(at('rail'), 'rail', chain.rail, equipment.rails, known.has('rails', chain.rail), report)
    sound = false
  } else if (rail.role !== 'heater') {
    report.error(at('rail'), `rail ${chain.rail} has role ${rail.role}, not heater`, 'name a heater rail')
    sound = false
  }
  if (chain.series.length === 0) {
    report.error(at('series'), `chain ${name} is empty`, 'name the heaters in it, or leave it out')
    sound = false
  }
  chain.series.forEach((group, i) => {
    group.forEach((element, j) => {
      const path = at('series', i, ...(group.length > 1 ? [j] : []))
      const before = placed.get(element)
      if (before !== undefined) {
        report.error(
          path,
          `${element} stands in a heater chain twice (${before} and ${name})`,
          'a heater has one place: leave one of them out',
        )
        sound = false
      }
      placed.set(element, name)
      if (known.has('tubes', element) || known.has('parts', element)) {
        if (heaterRating(equipment, element) !== null) return
        sound = false
        const tube = own(equipment.tubes, element)
        const part = own(equipment.parts, element)
        if (part !== undefined)
          report.error(
            path,
            `${element} is a ${part.kind}; a heater chain holds tubes, lamps and heater resistors`,
            'write kind: heater resistor, without nodes, if it stands in this chain',
          )
        else if (tube !== undefined && recordOf(tube)?.barretter !== undefined)
          report.error(
            path,
            `${element} is a barretter, which is not supported: nothing here follows how it holds a chain's current`,
            'write a heater resistor in its place that drops what it drops at the current of the chain, and fit one on the bench',
          )
        else if (tube !== undefined && recordOf(tube) !== null)
          report.error(
            path,
            `${element} is a ${tube.written}, which has no heater`,
            'leave it out of the chain',
          )
        return
      }
      sound = false
      unknown(
        path,
        'tube, lamp or heater resistor',
        element,
        { ...equipment.tubes, ...equipment.parts },
        false,
        report,
      )
    })
  })
  return sound
}

function checkChain(name: string, chain: HeaterChain, equipment: Equipment, report: Report): void {
  const rail = own(equipment.rails, chain.rail)
  if (rail === undefined) return
  const at = (...path: Path): Path => ['heater_chains', name, ...path]
  const groups = chain.series.map((group) =>
    group.map((element) => ({ element, is: heaterRating(equipment, element) })),
  )
  const rated = groups.map((group, i) => {
    const heaters = group.flatMap(({ element, is }) =>
      is !== null && 'volts' in is ? [{ element, ...is }] : [],
    )
    const ohms = group.flatMap(({ is }) => (is !== null && 'ohm' in is ? [is.ohm] : []))
    const first = heaters[0]
    const siemens = ohms.reduce((sum, ohm) => sum + 1 / ohm, 0)
    if (first === undefined) return { volts: null, amps: null, siemens }
    for (const { element, volts } of heaters)
      if (differ(volts, first.volts))
        report.error(
          at('series', i),
          `in chain ${name}, ${element} (${formatQuantity(volts, 'V')}) is in parallel with ${first.element} (${formatQuantity(first.volts, 'V')})`,
          'only heaters of equal volts may be in parallel',
        )
    return {
      volts: first.volts,
      amps: heaters.reduce((sum, { amps }) => sum + amps, 0) + first.volts * siemens,
      siemens,
    }
  })
  const first = rated.find(({ amps }) => amps !== null)
  if (first?.amps === undefined || first.amps === null) {
    report.error(at('series'), `chain ${name} holds only resistors`, 'name the heaters in it')
    return
  }
  const amps = first.amps
  rated.forEach((group, i) => {
    if (group.amps === null || !differ(group.amps, amps)) return
    const words = chain.series[i]?.join(' with ') ?? ''
    report.error(
      at('series', i),
      `in chain ${name}, ${words} takes ${formatQuantity(group.amps, 'A')}, but what is in series with it takes ${formatQuantity(amps, 'A')}`,
      group.amps < amps
        ? `in series the currents must be equal: shunt ${words} with ${formatQuantity(group.volts / (amps - group.amps), 'Ω')} or find its partner`
        : `in series the currents must be equal: shunt the others with ${formatQuantity(first.volts / (group.amps - amps), 'Ω')} or find its partner`,
    )
  })
  const volts = rated.reduce(
    (sum, group) => sum + (group.volts ?? (group.siemens > 0 ? amps / group.siemens : 0)),
    0,
  )
  if (differ(volts + amps * chain.lead_ohm, rail.working_V))
    report.error(
      at('series'),
      `chain ${name} adds up to ${formatQuantity(volts, 'V')}, but rail ${chain.rail} works at ${formatQuantity(rail.working_V, 'V')}`,
      volts < rail.working_V
        ? `add what is missing: a dropper of ${formatQuantity((rail.working_V - volts) / amps, 'Ω')} (${formatQuantity((rail.working_V - volts) * amps, 'W')}) would do`
        : 'name fewer heaters in series, or correct the rail',
    )
}

function differ(a: number, b: number): boolean {
  return Math.abs(a - b) > alike * Math.max(Math.abs(a), Math.abs(b))
}
