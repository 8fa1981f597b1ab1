import {
  type Driven,
  type DrivenFigures,
  drivenOf,
  ratingOf,
  screenTubeCurrents,
  type SectionModel,
  type ServicePoint,
  servicesOf,
  triodeCurrents,
  type TubeRecord,
  typicalOf,
} from '../tubes/index.js'
import { recordOf } from './known.js'
import { feedOf } from './stand-in.js'
import type { DrivenRating, DrivenStage, Equipment, ModeName, PartName, RailName } from './types.js'

/** Driven stages of a set: which they are in a mode, and what their tubes' data or the set's file say of them. */

export interface StageInMode {
  readonly tube: PartName
  readonly type: string
  /** Counts from 0; a tube without nodes counts as its first. */
  readonly section: number
  readonly stage: DrivenStage
}

/** Every stage that is driven in this mode; pulled tubes are not. */
export function drivenStages(equipment: Equipment, mode: ModeName): StageInMode[] {
  return Object.entries(equipment.tubes).flatMap(([tube, { type, sections, driven, pulled }]) => {
    if (pulled === true) return []
    const own = sections.map(({ driven: stage }, section) => ({ section, stage }))
    const all = driven === undefined ? own : [...own, { section: 0, stage: driven }]
    return all.flatMap(({ section, stage }) =>
      stage?.in.includes(mode) === true ? [{ tube, type, section, stage }] : [],
    )
  })
}

/** Plate volts at which the set works: of its highest HT rail. */
export function plateWorking_V(equipment: Equipment): number {
  const hot = Object.values(equipment.rails).filter(({ role }) => role === 'HT')
  return Math.max(1, ...hot.map(({ working_V }) => working_V))
}

export interface KnownFigures {
  readonly figures: DrivenFigures
  /** Whether the set's own file gives them: then at the volts that its rails work at, whatever is dropped on the way. */
  readonly own: boolean
  /** Plate and screen of an audio stage at rest in the same row, A; null where the row has none. */
  readonly rest_A: number | null
  /** Part of its plate input that leaves it as output in the same row; null where the row prints none. */
  readonly output: number | null
  /** "typical operation at 600 V, 100 mA, ICAS". */
  readonly text: string
  readonly source: string
  readonly from_memory: boolean
}

/** What a driven stage is scaled from: the set's own figures, else the tube's typical operation; null where there is none. */
export function figuresOf(equipment: Equipment, { tube, stage }: StageInMode): KnownFigures | null {
  if (stage.figures !== undefined) {
    const { source, ...figures } = stage.figures
    const text = `the handbook's ${figures.plate_V} V, ${mA(figures.plate_A)}`
    return {
      figures,
      own: true,
      rest_A: null,
      output: null,
      text,
      source,
      from_memory: saidFromMemory(source),
    }
  }
  const of = equipment.tubes[tube]
  const record = of === undefined ? null : recordOf(of)
  if (record === null) return null
  const typical = typicalOf(record, stage.service, stage.duty, plateWorking_V(equipment))
  const figures = typical === null ? null : drivenOf(typical, stage.by)
  if (typical === null || figures === null) return null
  const { driven } = typical
  const whose = typical.borrowed
    ? `${driven.duty === 'unknown' ? 'of no duty named' : driven.duty}, none for ${stage.duty}`
    : stage.duty
  const { rest } = typical
  return {
    figures,
    own: false,
    rest_A: rest?.plate_A == null ? null : rest.plate_A + (rest.screen_A ?? 0),
    output: outputPart(driven),
    text: `typical operation at ${figures.plate_V} V, ${mA(driven.plate_A ?? 0)} (${whose})`,
    source: driven.source,
    from_memory: driven.confidence === 'from memory' && driven.checked?.includes('plate_A') !== true,
  }
}

function outputPart({ plate_V, plate_A, output_W }: ServicePoint): number | null {
  const input_W = (plate_V ?? 0) * (plate_A ?? 0)
  return output_W === undefined || !(output_W < input_W) ? null : output_W / input_W
}

/** Of what a set's file prints, its own words are all that says how it is known. */
export function saidFromMemory(source: string): boolean {
  return /\bfrom memory\b|\bunverified\b/i.test(source)
}

/** What a driven stage of a set without a circuit draws, by its service alone. */
export interface DrivenDraw {
  readonly plate_A: number
  readonly screen_A: number
  /** Of an audio stage, at rest: in `plate_A` and `screen_A` too. */
  readonly rest_A: number
  readonly grid_A: number
  readonly known: KnownFigures
}

/**
 * A driven stage where its rail works at `working_V`, for sets whose circuit the file does not give: the set's own figures as
 * they stand, typical operation in proportion to its plate volts (as in `drivenAdd`), never raised above what is published.
 */
export function drivenDraw(equipment: Equipment, of: StageInMode, working_V: number): DrivenDraw | null {
  const known = figuresOf(equipment, of)
  if (known === null) return null
  const { figures, own } = known
  const part = own ? 1 : Math.min(1, working_V / figures.plate_V)
  const rest_A =
    of.stage.by === 'RF' ? 0 : part * (known.rest_A ?? restByCurves_A(equipment, of, figures) ?? 0)
  return {
    plate_A: part * figures.plate_A + rest_A,
    screen_A: part * figures.screen_A,
    rest_A,
    grid_A: figures.grid_A,
    known,
  }
}

/** Plate and screen at the bias of the figures with no signal, by the type's curves; null where it has none. */
function restByCurves_A(
  equipment: Equipment,
  { tube, section }: StageInMode,
  at: DrivenFigures,
): number | null {
  const of = equipment.tubes[tube]
  const model = of === undefined ? undefined : recordOf(of)?.sections[section]?.model
  if (model?.form === 'triode') return triodeCurrents(model, at.plate_V, at.grid_V).plate_A
  if (model?.form !== 'screen') return null
  const { plate_A, screen_A } = screenTubeCurrents(model, at.plate_V, at.screen_V ?? at.plate_V, at.grid_V)
  return plate_A + screen_A
}

/** The part of its whole grid current that shows where its HT stands at this part of working volts: at least so much. */
export function gridPart({ stage }: StageInMode, { figures }: KnownFigures, part: number): number {
  if (stage.drive === 'steady') return 1
  // Its own bias falls along where a grid leak makes it, and more would show: a fixed one leaves the least.
  return Math.max(0, (figures.grid_V + figures.peak_V * part) / Math.max(1, figures.grid_V + figures.peak_V))
}

/** The rail that feeds this tube's plate; null where the file does not tell. */
export function plateRailOf(equipment: Equipment, tube: PartName): RailName | null {
  const of = equipment.tubes[tube]
  const plate = of?.sections[0]?.plate
  return of?.rail ?? (plate === undefined ? null : feedOf(equipment, plate))
}

/** Modulators on a rail of their own: that rail, the tube that they modulate, and the rail of its plate. */
export interface ModulatorRail {
  readonly own: RailName
  readonly modulates: PartName
  readonly other: RailName
}

/** In one mode, or in any where none is named. */
export function modulatorsOf(equipment: Equipment, mode: ModeName | null): ModulatorRail[] {
  return Object.entries(equipment.tubes).flatMap(([name, { sections, driven, pulled }]) => {
    if (pulled === true) return []
    return [driven, ...sections.map((section) => section.driven)].flatMap((stage): ModulatorRail[] => {
      if (stage?.modulates === undefined || (mode !== null && !stage.in.includes(mode))) return []
      const [own, other] = [plateRailOf(equipment, name), plateRailOf(equipment, stage.modulates)]
      return own === null || other === null || own === other
        ? []
        : [{ own, modulates: stage.modulates, other }]
    })
  })
}

/** Rails whose tubes modulate a stage on another rail, and that rail: they come after it, and go before it. */
export function modulatorRails(equipment: Equipment): ReadonlyMap<RailName, RailName> {
  return new Map(modulatorsOf(equipment, null).map(({ own, other }) => [own, other]))
}

/** The bias rail that holds this stage, and that its grid current relieves; null where no bias rail does. */
export function biasRailOf(equipment: Equipment, { stage }: StageInMode): RailName | null {
  if (stage.bias !== 'fixed') return null
  const rails = biasRails(equipment)
  if (stage.bias_rail !== undefined) return rails.includes(stage.bias_rail) ? stage.bias_rail : null
  return rails.length === 1 ? (rails[0] ?? null) : null
}

export function biasRails({ rails }: Equipment): RailName[] {
  return Object.entries(rails).flatMap(([name, { role }]) => (role === 'bias' ? [name] : []))
}

function mA(A: number): string {
  return `${Number((1e3 * A).toPrecision(3))} mA`
}

export interface KnownRating {
  readonly rating: DrivenRating
  /** "class C plate-modulated, CCS", with what it was borrowed from. */
  readonly text: string
  readonly source: string
  /** Figures of it that were recalled, and that no owner has checked. */
  readonly recalled: ReadonlySet<RatedFigure>
}
export type RatedFigure = Exclude<keyof DrivenRating, 'source'>
const ratedFigures: readonly RatedFigure[] = [
  'plate_V',
  'plate_A',
  'screen_V',
  'screen_W',
  'grid_A',
  'plate_input_W',
  'plate_W',
]

/** What the service allows; null where neither the set's file nor the tube data say. */
export function drivenRating(equipment: Equipment, { tube, stage }: StageInMode): KnownRating | null {
  const name = `${stage.service}, ${stage.duty}`
  if (stage.rating !== undefined) {
    const { source } = stage.rating
    const recalled = new Set(saidFromMemory(source) ? ratedFigures : [])
    return { rating: stage.rating, text: name, source, recalled }
  }
  const of = equipment.tubes[tube]
  const record = of === undefined ? null : recordOf(of)
  const found = record === null ? null : ratingOf(record, stage.service, stage.duty)
  if (found === null) return null
  const { point, borrowed } = found
  if (point.plate_A === null && point.plate_input_W === undefined) return null
  return {
    rating: {
      plate_V: point.plate_V,
      plate_A: point.plate_A ?? (point.plate_input_W ?? 0) / (point.plate_V ?? 1),
      screen_W: point.screen_W,
      grid_A: point.grid_A,
      plate_input_W: point.plate_input_W ?? null,
      screen_V: point.screen_V,
      plate_W: point.plate_W,
      source: point.source,
    },
    text: borrowed
      ? `${stage.service}, ${point.duty === 'unknown' ? 'no duty named' : point.duty} (none known for ${stage.duty})`
      : name,
    source: point.source,
    recalled: new Set(
      point.confidence === 'from memory'
        ? ratedFigures.filter((key) => point.checked?.includes(key) !== true)
        : [],
    ),
  }
}

/** The stage as the network's element takes it; null where its figures are not known. */
export function drivenElement(equipment: Equipment, of: StageInMode, model: SectionModel): Driven | null {
  const known = figuresOf(equipment, of)
  if (known === null || (model.form !== 'triode' && model.form !== 'screen')) return null
  return {
    ...known.figures,
    screen_V: model.form === 'screen' ? known.figures.screen_V : null,
    by: of.stage.by,
    whole_at_V: of.stage.drive === 'with HT' ? plateWorking_V(equipment) : null,
    mu: model.mu,
    plate: 1,
    screen: 1,
    grid: 1,
    bend: 0,
  }
}

/** Services that the tube data know of a type, for messages. */
export function knownServices(record: TubeRecord | null): string {
  const names = record === null ? [] : servicesOf(record)
  return names.length === 0 ? 'none' : names.join(', ')
}
