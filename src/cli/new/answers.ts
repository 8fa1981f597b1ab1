import type { TubeRecord } from '../../tubes/index.js'

/** What a supply with a line can do, as its owner says. */
export interface SupplyAnswers {
  /** Serial port, or null on the virtual bench. */
  readonly path: string | null
  readonly max_V: number
  readonly max_A: number
  readonly resolution_V: number
  readonly resolution_A: number
  readonly output_F: number
  readonly isolation_V: number
  readonly interface_isolated: 'yes' | 'no' | 'unknown'
  readonly bleeder_ohm: number | null
}

export interface TubeAnswer {
  readonly name: string
  readonly type: string
  readonly record: TubeRecord
}

/** Its own transformer, to be tried and joined on a variable transformer. */
export interface OwnPackAnswers {
  readonly volts: number
  readonly primary_ohm: number
  readonly fuse_A: number
  /** Of each half of its HT winding, or of the whole of one without a centre tap. */
  readonly half_V: number
  readonly centre_tapped: boolean
  readonly earthed: boolean
}

/** All answers of `slowglow new`. */
export interface Answers {
  readonly name: string
  readonly chassis: 'isolated' | 'live'
  readonly isolating_transformer: string | null
  readonly modes: readonly string[]
  /** Volts of its heater rails, one or two: see `heaterRails`. */
  readonly heater_V: readonly number[]
  readonly tubes: readonly TubeAnswer[]
  /** Chains of groups in parallel of tube names, as the file has them. */
  readonly chains: readonly (readonly (readonly string[])[])[]
  readonly HT_V: number
  readonly HT_max_V: number
  readonly total: { readonly A: number; readonly source: string } | null
  readonly capacitors: readonly { readonly F: number; readonly rated_V: number }[]
  readonly bias: { readonly V: number; readonly least_V: number; readonly preload_ohm: number } | null
  readonly virtual: boolean
  readonly HT_supply: SupplyAnswers | null
  readonly heater_supplies: Readonly<Record<HeaterRail, SupplyAnswers | null>>
  readonly bias_supply: SupplyAnswers | null
  readonly meter: { readonly ohm: number; readonly resolution_V: number }
  /** A relay that cuts the HT supply once nobody feeds it. */
  readonly cut_off: { readonly path: string | null; readonly feed: string; readonly after_s: number } | null
  /** Electrolytics are lifted and formed behind such resistors, read by hand. */
  readonly forming: { readonly feed_ohm: number; readonly feed_W: number } | null
  readonly own_pack: OwnPackAnswers | null
  /** Ammeters that stay in a lead while the set runs. */
  readonly ammeters: readonly { readonly rail: FedRail; readonly resolution_A: number }[]
}

/** Rails of these files, by the names they have there. */
export type FedRail = 'HT' | HeaterRail | 'bias'
export type HeaterRail = 'heaters' | 'heaters2'

/** Heater rails in the order of their volts in the answers. */
export const heaterRails = ['heaters', 'heaters2'] as const

/** Volts of a chain of groups: those of the first heater of each group, added up. */
export function chainVolts(chain: Answers['chains'][number], tubes: readonly TubeAnswer[]): number {
  return chain.reduce((volts, group) => volts + (heaterOf(tubes, group[0] ?? '')?.volts.value ?? 0), 0)
}

export function heaterOf(tubes: readonly TubeAnswer[], name: string): TubeRecord['heater'] {
  return tubes.find((tube) => tube.name === name)?.record.heater ?? null
}

/** Which of these volts lie nearest. */
export function nearest(volts: number, of: readonly number[]): number {
  return of.reduce((best, V, at) => (Math.abs(V - volts) < Math.abs((of[best] ?? 0) - volts) ? at : best), 0)
}

/** The rail that a chain hangs on. */
export function railOf(chain: Answers['chains'][number], a: Pick<Answers, 'heater_V' | 'tubes'>): HeaterRail {
  return heaterRails[nearest(chainVolts(chain, a.tubes), a.heater_V)] ?? 'heaters'
}

/** The mode that the first bring-up and the handbook's total are for: receiving where the set can, else transmitting. */
export function firstMode(modes: readonly string[]): string {
  return modes.find((mode) => /receiv/i.test(mode)) ?? modes[0] ?? 'receive'
}

/** A set that can only transmit is brought up as a transmitter. */
export function isTransmitting(modes: readonly string[]): boolean {
  return /transmit|send/i.test(firstMode(modes))
}

/** Rectifiers are pulled on bench supplies, but for those whose heater a series chain needs. */
export function isPulled(tube: TubeAnswer, chains: Answers['chains']): boolean {
  return isRectifier(tube) && !chains.flat(2).includes(tube.name)
}

export function isLamp({ record }: TubeAnswer): boolean {
  return record.kind === 'lamp'
}

export function isRectifier({ record }: TubeAnswer): boolean {
  return record.kind.startsWith('rectifier')
}

/** Filaments alone, of a dry cell's volts in series or not, and no rectifier: such a set has no transformer to lift wires from. */
export function isBattery({ tubes }: Pick<Answers, 'tubes'>): boolean {
  return (
    tubes.length > 0 &&
    tubes.every(
      (tube) =>
        !isRectifier(tube) &&
        tube.record.cathode === 'direct' &&
        (tube.record.heater?.volts.value ?? 9) <= 2.8,
    )
  )
}
