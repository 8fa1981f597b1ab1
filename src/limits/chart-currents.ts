import {
  type ChartVolts,
  drivenRating,
  drivenStages,
  type Equipment,
  type ModeName,
  type Rail,
  type RailName,
  recordOf,
  saidFromMemory,
  type StageInMode,
  type Tube,
} from '../equipment/index.js'
import { formatQuantity } from '../quantities/index.js'
import { ratingsOf } from '../tubes/index.js'
import { terminalBleeder_ohm } from './bench-rails.js'
import {
  chartVolts,
  currentThrough,
  linesIn,
  nearestPoint,
  railOfLine,
  resistorAt,
  takenAt,
} from './chart-lines.js'
import { drivenMost } from './driven-most.js'
import { usualCurrents, drivenAt, type Estimate, scaledEstimate, tubesOn } from './level1.js'
import { ratingFactor, toldBy, toldByAll } from './ratings.js'
import type { Doubt, Guard, RailBench } from './types.js'

/**
 * A rail's current from a handbook's chart: what flows back to the chassis at each cathode and through each resistor to
 * chassis is what flows out of the rail (Kirchhoff's current law, one rail of tubes).
 */
export interface ChartCurrents {
  readonly rail: RailName
  readonly mode: ModeName
  readonly at_V: number
  readonly at_how: string
  readonly shares: readonly ChartShare[]
  /** What stands in the way of a better figure, and what to add to the file for it. */
  readonly lacks: readonly Lack[]
  readonly sources: readonly string[]
}
export interface ChartShare {
  /** A tube, or the node of a resistor to chassis. */
  readonly part: string
  readonly A: number
  readonly how: string
  readonly by: 'chart' | 'type' | 'resistor'
  /** A healthy one lies between (1 − low) and (1 + high) times it. */
  readonly low: number
  readonly high: number
  /** Plate against cathode, where the chart gives both. */
  readonly plate_V: number | null
}
export interface Lack {
  readonly lacks: string
  readonly add: string
}

/** Good tubes keep within 0.66 and 1.33 of published, published limits reach down to 0.60 (physics.md section 3). */
const tubeSpread = { low: 0.4, high: 0.33 } as const
/** A tube known by its type alone (our choice, as for a set known by its rails). */
const typeSpread = { low: 0.7, high: 0.5 } as const
/** Resistors as marked, and the set that the chart was taken on: on all currents alike (common practice, no source). */
const commonSpread = 0.1

/** Null where the charts tell the current of no tube of this rail. */
export function chartCurrents(equipment: Equipment, name: RailName, mode: ModeName): ChartCurrents | null {
  const at = takenAt(equipment, name, mode)
  if (at === null || equipment.charts.voltages.length === 0) return null
  const lines = linesIn(equipment, mode)
  const lacks: Lack[] = []
  const shares: ChartShare[] = []
  const used: ChartVolts[] = []
  for (const { part, tube } of tubesOn(equipment, name, mode)) {
    const own = lines.filter(({ of }) => of?.tube === part)
    const made = tubeShare(equipment, part, tube, own, at.V, mode)
    if (made.share !== null) shares.push(made.share)
    if (made.lack !== null) lacks.push(made.lack)
    if (made.share?.by === 'chart') used.push(...own)
  }
  if (!shares.some(({ by }) => by === 'chart')) return null
  for (const line of lines) {
    if (line.of !== null || line.through?.to !== equipment.chassis_node) continue
    if (railOfLine(equipment, line) !== name) continue
    const A = currentThrough(equipment, line)
    if (A === null || !(A > 0)) continue
    const how = `${show(line.volts, 'V')} over ${show(line.through.ohm, 'Ω')} at ${line.node}`
    shares.push({ part: line.node, A, how, by: 'resistor', low: 0.2, high: 0.2, plate_V: null })
    used.push(line)
  }
  const sources = [...new Set(used.map(({ source }) => source))]
  return { rail: name, mode, at_V: at.V, at_how: at.how, shares, lacks, sources }
}

function tubeShare(
  equipment: Equipment,
  part: string,
  tube: Tube,
  lines: readonly ChartVolts[],
  rail_V: number,
  mode: ModeName,
): { readonly share: ChartShare | null; readonly lack: Lack | null } {
  const record = recordOf(tube)
  const at = (electrode: string): ChartVolts[] => lines.filter(({ of }) => of?.electrode === electrode)
  const plate = at('plate')[0]
  const cathode_V = at('cathode')[0]?.volts ?? 0
  const plate_V = plate === undefined ? null : plate.volts - cathode_V
  const known = (A: number, how: string): { share: ChartShare; lack: null } => ({
    share: { part, A, how, by: 'chart', ...tubeSpread, plate_V },
    lack: null,
  })
  const cathode = cathodeCurrent(equipment, at('cathode'))
  if (cathode !== null) return known(cathode.A, cathode.how)
  const fed = fedCurrent(equipment, at('plate'), at('screen'))
  const many = (record?.sections ?? []).filter(({ name }) => !/diode/i.test(name)).length
  if (fed !== null && (many <= 1 || at('plate').length >= many)) return known(fed.A, fed.how)
  const add = `a line for ${part} cathode with the resistor under it: { node: ${part} cathode, mode: …, volts: …, through: { ohm: … } }`
  const regulator = record?.sections[0]?.model
  if (regulator?.form === 'regulator') {
    const A = (regulator.min_A + regulator.max_A) / 2
    const within = (regulator.max_A - regulator.min_A) / (regulator.max_A + regulator.min_A)
    return {
      share: { part, A, how: 'middle of its range', by: 'type', low: within, high: within, plate_V: null },
      lack: { lacks: `what the regulator ${part} (${tube.type}) draws is in no chart`, add },
    }
  }
  // Signal diodes draw nothing from a rail.
  if (record?.kind === 'diode') return { share: null, lack: null }
  const lacks = `no chart gives the current of ${part} (${tube.type})`
  const drawn = drivenAt(equipment, mode, part, rail_V)
  if (drawn !== null)
    return {
      share: {
        part,
        A: drawn.plate_A + drawn.screen_A,
        how: `driven, after ${drawn.known.text}`,
        by: 'type',
        ...typeSpread,
        plate_V,
      },
      lack: { lacks: `${lacks}: what its service draws is taken`, add },
    }
  const points = usualCurrents(tube, rail_V)
  if (points.length === 0) return { share: null, lack: { lacks: `${lacks}, nor does its tube data`, add } }
  return {
    share: {
      part,
      A: points.reduce((sum_A, { amps, volts }) => sum_A + amps * Math.min(1, rail_V / volts), 0),
      how: `published for its type at ${points.map(({ volts }) => show(volts, 'V')).join(' and ')}`,
      by: 'type',
      ...typeSpread,
      plate_V,
    },
    lack: { lacks: `${lacks}: its type's published current is taken`, add },
  }
}

function cathodeCurrent(
  equipment: Equipment,
  lines: readonly ChartVolts[],
): { A: number; how: string } | null {
  let sum_A = 0
  const words: string[] = []
  for (const line of lines) {
    const A = currentThrough(equipment, line)
    const resistor = resistorAt(equipment, line)
    if (A === null || resistor === null || !(A > 0)) return null
    // The chart's own meter stood beside the resistor and took its share.
    sum_A += A + line.volts / line.meter_ohm
    words.push(`${show(line.volts, 'V')} at its cathode over ${show(resistor.ohm, 'Ω')}`)
  }
  return words.length === 0 ? null : { A: sum_A, how: words.join(', ') }
}

/** Plate and screen current through the resistors that feed them; a screen without one by its type's proportion. */
function fedCurrent(
  equipment: Equipment,
  plates: readonly ChartVolts[],
  screens: readonly ChartVolts[],
): { A: number; how: string } | null {
  const through = (lines: readonly ChartVolts[]): number | null => {
    let sum_A = 0
    for (const line of lines) {
      const A = currentThrough(equipment, line)
      if (A === null || !(A < 0)) return null
      sum_A += -A - line.volts / line.meter_ohm
    }
    return lines.length === 0 || sum_A <= 0 ? null : sum_A
  }
  const plate_A = through(plates)
  const [plate] = plates
  if (plate_A === null || plate === undefined || plate.of === null) return null
  const how = `${show(Math.abs((chartVolts(equipment, plate.through?.to ?? '', plate.mode) ?? 0) - plate.volts), 'V')} dropped to its plate over ${show(plate.through?.ohm ?? 0, 'Ω')}`
  const tube = equipment.tubes[plate.of.tube]
  const screened = tube !== undefined && recordOf(tube)?.sections[plate.of.section]?.model?.form === 'screen'
  if (!screened) return { A: plate_A, how }
  const screen_A = through(screens)
  if (screen_A !== null) return { A: plate_A + screen_A, how: `${how}, and its screen's` }
  const point = nearestPoint(
    equipment,
    plate.of,
    plate.volts,
    ({ plate_A: I, screen_A: S }) => I !== null && I > 0 && S !== null,
  )
  const part = point === null ? null : (point.screen_A ?? 0) / (point.plate_A ?? 1)
  if (part === null) return null
  return {
    A: plate_A * (1 + part),
    how: `${how}, and ${show(plate_A * part, 'A')} of screen as its type has it`,
  }
}

/** The rail's expected current by the chart, scaled to other rail volts. */
export function chartEstimate(
  currents: ChartCurrents,
  rail: Rail,
  bench: RailBench,
  volts: number,
): Estimate & { readonly scaled: readonly (ChartShare & { readonly lower_A: number })[] } {
  const bleeder = terminalBleeder_ohm(rail, bench)
  const bleeder_A = bleeder === null ? 0 : volts / bleeder
  const ratio = volts / currents.at_V
  const linear = currents.shares.filter(({ by }) => by === 'resistor')
  const tubes = currents.shares.filter(({ by }) => by !== 'resistor')
  const sum_A = total(tubes)
  const spread = {
    low: 1 - commonSpread - rootSum(tubes, 'low') / sum_A,
    high: 1 + commonSpread + rootSum(tubes, 'high') / sum_A,
  }
  const scaled = scaledEstimate(
    sum_A,
    ratio,
    { low: Math.max(0.2, spread.low), high: spread.high },
    bleeder_A,
  )
  const resistors_A = ratio * total(linear)
  const bench_words = bleeder === null ? '' : `, and ${show(bleeder_A, 'A')} of bench bleeder`
  const largest = [...currents.shares].sort((a, b) => b.A - a.A)
  const named = largest.slice(0, 4).map(({ part, A, how }) => `${part} ${show(A, 'A')} (${how})`)
  const more = largest.length > 4 ? `, and ${largest.length - 4} more` : ''
  const part = (share: ChartShare): number => raisedBetween(share, ratio)
  return {
    expected_A: scaled.expected_A + resistors_A,
    lower_A: scaled.lower_A + 0.8 * resistors_A,
    upper_A: scaled.upper_A + 1.2 * resistors_A,
    band: `each tube ${1 - tubeSpread.low} to ${1 + tubeSpread.high} × its chart current by itself${tubes.some(({ by }) => by === 'type') ? ' (known by type alone: 0.3 to 1.5 ×)' : ''}, and ${100 * commonSpread} % on all for resistors as marked and the set the chart was taken on${Math.abs(ratio - 1) < 0.005 ? '' : '; falling with V^1.5 at the steepest and V at the flattest'}`,
    text: `handbook chart of ${currents.mode} with ${currents.rail} at ${show(currents.at_V, 'V')}: ${named.join(', ')}${more}; ${show(total(currents.shares), 'A')} together, scaled to ${show(volts, 'V')}${bench_words}`,
    source: currents.sources.join('; '),
    ...(currents.sources.some(saidFromMemory) && { unverified: 'figure' as const }),
    scaled: currents.shares.map((share) => ({
      ...share,
      A: share.A * part(share),
      lower_A: share.A * part(share) * (1 - share.low),
    })),
  }
}

/** What a share has become at another part of its rail volts: Ohm's law for a resistor, V^1.4 for a tube (as `level1`). */
function raisedBetween({ by }: ChartShare, ratio: number): number {
  return by === 'resistor' ? ratio : ratio > 0 ? Math.exp(1.4 * Math.log(ratio)) : 0
}

/** A charted tube where its rail stands, and the most it may draw there. */
export interface ChartAllowed {
  readonly share: ChartShare
  readonly type: string
  readonly plate_V: number
  readonly allowed: ChartMost
  /** What all else on the rail draws at least. */
  readonly others_A: number
}

export function chartAllowed(
  equipment: Equipment,
  currents: ChartCurrents,
  rail: Rail,
  bench: RailBench,
  volts: number,
): ChartAllowed[] {
  const { scaled } = chartEstimate(currents, rail, bench, volts)
  const bleeder = terminalBleeder_ohm(rail, bench)
  const least_A = scaled.reduce((sum, { lower_A }) => sum + lower_A, bleeder === null ? 0 : volts / bleeder)
  return scaled.flatMap((share) => {
    const tube = equipment.tubes[share.part]
    if (tube === undefined || share.by !== 'chart') return []
    const plate_V = share.plate_V === null ? volts : (share.plate_V * volts) / currents.at_V
    const stage = drivenStages(equipment, currents.mode).find((each) => each.tube === share.part)
    const allowed = stage === undefined ? allowedOf(tube, plate_V) : allowedByService(equipment, stage, volts)
    if (allowed === null) return []
    return [{ share, type: tube.type, plate_V, allowed, others_A: least_A - share.lower_A }]
  })
}

/** Each charted tube at its own rating while all others draw the least: what the rail may then carry. */
export function chartGuards(all: readonly ChartAllowed[], rail: RailName): Guard[] {
  return all.map(({ share, plate_V, allowed, others_A }) => ({
    part: share.part,
    ceiling_A: allowed.A + others_A,
    text: `${share.part}'s ${allowed.rating} (${allowed.system}, ×${allowed.factor}) allows ${show(allowed.A, 'A')} with ${show(plate_V, 'V')} at its plate; all else on ${rail} draws at least ${show(others_A, 'A')} by the chart`,
    source: allowed.source,
    unverified: allowed.unverified,
    remedy: 'Stop the profile lower, or correct the chart.',
  }))
}

/** The most a tube may draw by a rating of its own, rating factor included. */
interface ChartMost {
  readonly A: number
  /** `plate dissipation`. */
  readonly what: string
  readonly rating: string
  readonly system: string
  readonly factor: number
  readonly source: string
  readonly unverified?: Doubt | undefined
}

function allowedOf(tube: Tube, plate_V: number): ChartMost | null {
  const record = recordOf(tube)
  if (record === null || !(plate_V > 0)) return null
  const factor = ratingFactor[record.rating_system]
  const amplifying = record.sections.flatMap(({ name }, i) => (/diode/i.test(name) ? [] : [i]))
  const own = amplifying.filter((i) => record.sections[i]?.max !== undefined).map((i) => ratingsOf(record, i))
  const sections = Math.max(own.length === 0 ? 1 : 0, amplifying.length - own.length)
  const { plate_W, screen_W, screen_V, cathode_A } = record.max
  // A section that is rated otherwise takes its own.
  const more_W = own.reduce((sum, each) => sum + (each.plate_W?.value ?? 0), 0)
  const more_A = own.reduce((sum, each) => sum + (each.cathode_A?.value ?? 0), 0)
  const screen_A = screen_W === undefined ? 0 : screen_W.value / Math.min(plate_V, screen_V?.value ?? plate_V)
  const of = { system: record.rating_system, factor }
  const all = [
    ...(plate_W === undefined
      ? []
      : [
          {
            ...of,
            A: (plate_W.value / plate_V + screen_A) * factor * sections + (more_W / plate_V) * factor,
            what: 'plate dissipation',
            rating: `${show(plate_W.value, 'W')} plate rating`,
            ...toldByAll([plate_W, ...(screen_W === undefined ? [] : [screen_W])], record, factor),
          },
        ]),
    ...(cathode_A === undefined
      ? []
      : [
          {
            ...of,
            A: cathode_A.value * factor * sections + more_A * factor,
            what: 'cathode current',
            rating: `${show(cathode_A.value, 'A')} cathode rating`,
            ...toldBy(cathode_A, record, factor),
          },
        ]),
  ]
  return all.length === 0 ? null : all.reduce((least, each) => (each.A < least.A ? each : least))
}

/** A driven stage is held by what its service allows, without any factor on top. */
function allowedByService(equipment: Equipment, of: StageInMode, volts: number): ChartMost | null {
  const most = drivenMost(equipment, of, volts)
  const known = drivenRating(equipment, of)
  if (most === null || known === null) return null
  const { A, source, unverified } = most
  return {
    A,
    what: `current in ${known.text}`,
    rating: `rating in ${known.text}`,
    system: 'of its service',
    factor: 1,
    source: unverified === undefined ? source : `unverified, check your manual (${source})`,
    unverified,
  }
}

/** Parts vary each by itself, so their spreads add as squares. */
function rootSum(shares: readonly ChartShare[], side: 'low' | 'high'): number {
  return Math.sqrt(shares.reduce((sum, share) => sum + share.A * share[side] * share.A * share[side], 0))
}

function total(shares: readonly ChartShare[]): number {
  return shares.reduce((sum, { A }) => sum + A, 0)
}

function show(value: number, unit: 'A' | 'V' | 'W' | 'Ω'): string {
  return formatQuantity(Number(value.toPrecision(3)), unit)
}
