import {
  type DrivenDraw,
  drivenDraw,
  drivenStages,
  type Equipment,
  type ModeName,
  type Rail,
  type RailName,
  recordOf,
  saidFromMemory,
  type Tube,
} from '../equipment/index.js'
import { formatQuantity } from '../quantities/index.js'
import { type Ratings, ratingsOf, type TubeRecord } from '../tubes/index.js'
import { doubtOf, ratingFactor, toldByAll } from './ratings.js'
import { standingLoad_ohm, terminalBleeder_ohm } from './bench-rails.js'
import { type Allowed, drivenMost } from './driven-most.js'
import { periodLeakage_A } from './sampling.js'
import { show } from './rail-limits.js'
import type { Doubt, Guard, RailBench } from './types.js'

/**
 * Expected current of a rail whose circuit the file does not give: from the handbook's total, else from the types.
 * Bands: ×0.5..1.5 about a total, ×0.3..1.5 about a sum of types (our choice: they bound what a set with healthy tubes
 * draws at its own volts). Below its own volts a set of tubes falls between the 3/2 law and a resistor: cathode bias,
 * droppers, dividers and regulators make it more of a resistor. The band goes from the one to the other.
 */
export interface Estimate {
  readonly expected_A: number
  readonly lower_A: number
  readonly upper_A: number
  /** How the band comes about, in words. */
  readonly band: string
  readonly text: string
  readonly source: string
  readonly unverified?: Doubt | undefined
}

/** Total cathode current of a whole set against its HT, and the laws that bound it (common practice, no source). */
const exponent = { usual: 1.4, steepest: 1.5, flattest: 1 } as const
/** A resistor known by its value: tolerance of an ordinary one. */
const bleederSpread = 0.05

/** What the tubes draw at `reference_V`, scaled to `volts`, with the bleeders that obey Ohm's law. */
export function scaledEstimate(
  at_reference_A: number,
  ratio: number,
  spread: { readonly low: number; readonly high: number },
  bleeder_A: number,
): Pick<Estimate, 'expected_A' | 'lower_A' | 'upper_A' | 'band'> {
  // Above the reference the flatter law is the lower one.
  const steep = raised(ratio, exponent.steepest)
  const flat = raised(ratio, exponent.flattest)
  const bleeder = bleeder_A > 0 ? `, bleeder within ${100 * bleederSpread} %` : ''
  const laws = Math.abs(ratio - 1) < 0.005 ? '' : ', falling with V^1.5 at the steepest and V at the flattest'
  return {
    expected_A: at_reference_A * raised(ratio, exponent.usual) + bleeder_A,
    lower_A: spread.low * at_reference_A * Math.min(steep, flat) + (1 - bleederSpread) * bleeder_A,
    upper_A: spread.high * at_reference_A * Math.max(steep, flat) + (1 + bleederSpread) * bleeder_A,
    band: `tubes ${spread.low} to ${spread.high} × what is stated${laws}${bleeder}`,
  }
}

/** Null where the file says nothing that a current could be computed from. */
export function estimate(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  mode: ModeName,
  volts: number,
  bench: RailBench,
): Estimate | null {
  const bleeder = standingLoad_ohm(rail, bench)
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const withBleeder = bleeder === null ? '' : `, and ${formatQuantity(round(bleeder_A), 'A')} of bleeder`
  const total = rail.totals[mode]
  if (total !== undefined) {
    return {
      ...scaledEstimate(total.current_A, volts / total.at_V, { low: 0.5, high: 1.5 }, bleeder_A),
      text: `handbook total of ${formatQuantity(total.current_A, 'A')} at ${formatQuantity(total.at_V, 'V')} in ${mode}, scaled to ${formatQuantity(volts, 'V')}${withBleeder}`,
      source: total.source,
      ...(saidFromMemory(total.source) && { unverified: 'figure' as const }),
    }
  }
  const types = tubesOn(equipment, name, mode)
  let sum_A = 0
  const counted: string[] = []
  let recalled = false
  const driven: DrivenDraw[] = []
  const named: string[] = []
  for (const { part, tube } of types) {
    const drawn = drivenAt(equipment, mode, part, rail.working_V)
    if (drawn !== null) {
      sum_A += drawn.plate_A + drawn.screen_A
      driven.push(drawn)
      recalled ||= drawn.known.from_memory
      named.push(
        `${part} driven, ${formatQuantity(round(drawn.plate_A + drawn.screen_A), 'A')} after ${drawn.known.text}`,
      )
      continue
    }
    const points = usualCurrents(tube, rail.working_V)
    if (points.length === 0) continue
    for (const { amps, volts: at_V, recalled: byHeart } of points) {
      sum_A += amps * raised(Math.min(1, rail.working_V / at_V), exponent.usual)
      recalled ||= byHeart
    }
    counted.push(part)
  }
  if (counted.length + driven.length > 0) {
    const still =
      counted.length === 0
        ? []
        : [
            `published currents of ${counted.join(', ')} at ${formatQuantity(rail.working_V, 'V')} or the nearest to it`,
          ]
    const sources = [
      ...(counted.length === 0 ? [] : ['tube data, each type’s published operating point']),
      ...driven.map(({ known }) => known.source),
    ]
    return {
      ...scaledEstimate(sum_A, volts / rail.working_V, { low: 0.3, high: 1.5 }, bleeder_A),
      text: `sum of types: ${[...still, ...named].join('; ')}, scaled to ${formatQuantity(volts, 'V')}${withBleeder}`,
      source: [...new Set(sources)].join('; '),
      ...(recalled && { unverified: 'figure' as const }),
    }
  }
  if (bleeder === null) return null
  return {
    expected_A: bleeder_A,
    lower_A: 0.8 * bleeder_A,
    upper_A: 1.25 * bleeder_A,
    band: '0.8 to 1.25 × the bleeder',
    text: `${formatQuantity(volts, 'V')} across the bleeder or preload of ${formatQuantity(bleeder, 'Ω')}, nothing else is stated`,
    source: 'the set and bench files',
  }
}

/**
 * The same rail with its tubes cold or pulled (reforming): only bleeders and capacitor leakage are left, and a handbook's
 * total says nothing. Unformed electrolytics draw several times their limit at first (2-3 mA seen where 1 mA is allowed).
 */
export function coldEstimate(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  volts: number,
  bench: RailBench,
): Estimate | null {
  const bleeder = terminalBleeder_ohm(rail, bench)
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const leakage_A = Object.values(equipment.rail_capacitors)
    .filter((part) => part.rail === name && part.dielectric === 'electrolytic')
    .reduce((sum, part) => sum + periodLeakage_A(part.F, part.rated_V), 0)
  const expected_A = bleeder_A + leakage_A
  if (!(expected_A > 0)) return null
  return {
    expected_A,
    lower_A: 0.8 * bleeder_A,
    upper_A: 1.25 * bleeder_A + 3 * leakage_A,
    band: 'bleeder 0.8 to 1.25 ×, leakage from none to 3 × what is allowed',
    text: `tubes cold or pulled: ${formatQuantity(round(leakage_A), 'A')} of capacitor leakage allowed${bleeder === null ? '' : `, and ${formatQuantity(round(bleeder_A), 'A')} of bleeder`}`,
    source:
      'JAN-C-62, I(mA) = K·C(µF) + 0.3, second-hand; three times that while unformed (common practice, no source)',
  }
}

/** Largest currents that the tubes of a rail may draw together at these volts, each at its own rating, and the bleeders'. */
export function tubeSumGuard(
  equipment: Equipment,
  name: RailName,
  mode: ModeName,
  volts: number,
  bleeder: number | null,
): Guard | null {
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const types = tubesOn(equipment, name, mode)
  const driven = drivenStages(equipment, mode)
  const all: (Allowed & { readonly part: string; readonly type: string })[] = []
  for (const { part, tube } of types) {
    const stage = driven.find((each) => each.tube === part)
    const most = stage === undefined ? mostOf(tube, volts) : drivenMost(equipment, stage, volts)
    if (most === null) return null
    all.push({ ...most, part, type: tube.type })
  }
  if (types.length === 0) return null
  const byService = driven.filter(({ tube }) => types.some(({ part }) => part === tube))
  const largest = all.toSorted((a, b) => b.A - a.A)
  const shown = largest.slice(0, 3)
  const more = largest.slice(3)
  const each = [
    ...shown.map(({ part, type, A, by }) => `${part} (${type}) ${show(A, 'A')} by ${by}`),
    ...(more.length === 0 ? [] : [`${more.length} more ${show(sum(more), 'A')}`]),
    ...(bleeder_A > 0 ? [`bleeder ${show(bleeder_A, 'A')}`] : []),
  ].join('; ')
  return {
    part: name,
    ceiling_A: bleeder_A + sum(all),
    text: `every tube on the rail (${types.map(({ part }) => part).join(', ')}) at the most its ratings allow${byService.map(({ tube, stage }) => `, ${tube} by those of ${stage.service}, ${stage.duty}`).join('')}: ${each}`,
    source: [...new Set(shown.map(({ source }) => source))].join('; '),
    // One that was recalled makes the sum so.
    unverified: doubtOf(all),
    remedy:
      byService.length === 0
        ? `A total taken with the key down or with drive holds output power, which no plate loses: say which tubes are driven in ${mode} (driven: { in: [${mode}], by: RF, service: …, bias: … } under each), or state the total at rest (undriven, key up) and plan that mode, or correct types and total.`
        : `Correct types, service and total of ${mode}, or name every tube that is driven in it.`,
  }
}

/** What a tube that is driven in this mode draws where its rail works; null where it is not, or nothing says. */
export function drivenAt(
  equipment: Equipment,
  mode: ModeName,
  part: string,
  working_V: number,
): DrivenDraw | null {
  const stage = drivenStages(equipment, mode).find(({ tube }) => tube === part)
  return stage === undefined ? null : drivenDraw(equipment, stage, working_V)
}

export function tubesOn(
  equipment: Equipment,
  rail: RailName,
  mode: ModeName,
): { part: string; tube: Tube }[] {
  return Object.entries(equipment.tubes)
    .filter(
      ([, tube]) =>
        tube.pulled !== true && tube.rail === rail && (tube.modes === undefined || tube.modes.includes(mode)),
    )
    .map(([part, tube]) => ({ part, tube }))
}

/**
 * Published current of a type in ordinary use, plate and screen together, of all its sections: of each section the point
 * nearest the rail's own volts, of several there the largest, so that types and a handbook's total speak of the same volts.
 * The second system of a frequency changer counts as it oscillates, not by its characteristics at rest. Empty where no
 * point tells.
 */
export function usualCurrents(tube: Tube, working_V: number): readonly UsualCurrent[] {
  const found = recordOf(tube)
  if (found === null) return []
  const best = new Map<number, UsualCurrent>()
  const away = (volts: number): number => Math.abs(volts - working_V)
  for (const point of found.points) {
    const other = /\bAB\d?\b|idle|cut-off|drop|indicator|zero signal|test|static/i.test(point.class)
    if (point.plate_A === null || point.doubtful !== null || other) continue
    // The sheet of a twin tube gives one of its two alike.
    const amps = (point.plate_A + (point.screen_A ?? 0)) * (found.kind === 'twin-triode' ? 2 : 1)
    const sofar = best.get(point.section)
    if (
      sofar === undefined ||
      away(point.plate_V) < away(sofar.volts) ||
      (sofar.volts === point.plate_V && amps > sofar.amps)
    )
      best.set(point.section, { amps, volts: point.plate_V, recalled: point.confidence === 'from memory' })
  }
  return [...best.values()]
}
export interface UsualCurrent {
  readonly amps: number
  /** The plate volts at which it is published. */
  readonly volts: number
  readonly recalled: boolean
}

function sum(all: readonly Allowed[]): number {
  return all.reduce((total, { A }) => total + A, 0)
}

/**
 * The most that a type's own ratings allow with these volts at its plate, its rating system's factor on top, all its sections
 * together: plate and screen at their watts, or a current that is rated. Null where neither is known.
 */
export function mostOf(tube: Tube, volts: number): Allowed | null {
  const found = recordOf(tube)
  if (found === null || !(volts > 0)) return null
  // Ratings are for one section of a twin tube; a diode beside a triode adds nothing.
  const sections = found.sections.flatMap(({ name }, i) => (/diode/i.test(name) ? [] : [i]))
  if (sections.every((i) => found.sections[i]?.max === undefined))
    return sectionMost(found, found.max, volts, Math.max(1, sections.length))
  const each = sections.map((i) => sectionMost(found, ratingsOf(found, i), volts, 1))
  const known = each.flatMap((one) => one ?? [])
  if (known.length < each.length) return null
  return {
    A: sum(known),
    by: known.map(({ by }, n) => `${by} (${found.sections[sections[n] ?? 0]?.name ?? ''})`).join(' and '),
    source: [...new Set(known.map(({ source }) => source))].join('; '),
    unverified: doubtOf(known),
  }
}

/** The most that these ratings allow so many sections together. */
function sectionMost(found: TubeRecord, max: Ratings, volts: number, sections: number): Allowed | null {
  const factor = ratingFactor[found.rating_system]
  const { plate_W, screen_W, screen_V, cathode_A, dc_output_A } = max
  // Behind a dropper the screen stands at its own volts, not at the rail's.
  const screen_A = screen_W === undefined ? 0 : screen_W.value / Math.min(volts, screen_V?.value ?? volts)
  const all = [
    ...(plate_W === undefined
      ? []
      : [
          {
            A: plate_W.value / volts + screen_A,
            by: `${show(plate_W.value, 'W')} of plate${screen_W === undefined ? '' : ` and ${show(screen_W.value, 'W')} of screen`}`,
            of: [plate_W, ...(screen_W === undefined ? [] : [screen_W])],
          },
        ]),
    ...(cathode_A === undefined
      ? []
      : [{ A: cathode_A.value, by: `${show(cathode_A.value, 'A')} of cathode`, of: [cathode_A] }]),
    ...(dc_output_A === undefined
      ? []
      : [{ A: dc_output_A.value, by: `${show(dc_output_A.value, 'A')} of output`, of: [dc_output_A] }]),
  ]
  if (all.length === 0) return null
  const least = all.reduce((low, each) => (each.A < low.A ? each : low))
  return {
    A: least.A * factor * sections,
    by: `${least.by}${sections > 1 ? ` in each of ${sections}` : ''}, ${found.rating_system}${factor > 1 ? ` × ${factor}` : ''}`,
    unverified: undefined,
    ...toldByAll(least.of, found, factor),
  }
}

function raised(ratio: number, to: number): number {
  return ratio > 0 ? Math.exp(to * Math.log(ratio)) : 0
}

function round(value: number): number {
  return Number(value.toPrecision(3))
}
