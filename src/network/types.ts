import type { Astray, DiodeModel, Driven, RegulatorModel, ScreenModel, TriodeModel } from '../tubes/index.js'

/** One element between named nodes. Values in SI. `name` is unique; a fault is a change to one element. */
export type Element =
  | {
      readonly kind: 'resistor'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly ohm: number
    }
  /** `leak_S` conducts at DC; `series_ohm` only matters to transients. */
  | {
      readonly kind: 'capacitor'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly F: number
      readonly leak_S: number
      readonly series_ohm: number
    }
  | {
      readonly kind: 'inductor'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly H: number
      readonly ohm: number
    }
  /** A bench supply: holds V up to limit_A, never sinks; `ohm` is leads and output resistance. */
  | {
      readonly kind: 'supply'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly V: number
      readonly limit_A: number
      readonly ohm: number
    }
  /** Ideal small resistance when closed, open when not. */
  | {
      readonly kind: 'contact'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly closed: boolean
      readonly ohm: number
    }
  | {
      readonly kind: 'meter'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly ohm: number
    }
  /** Semiconductor diode, a → b. */
  | { readonly kind: 'junction'; readonly name: string; readonly a: string; readonly b: string }
  /**
   * `emission` 0..1+ scales the space current (cold, weak, strong tube); `gas_A_per_A` adds grid current of a gassy tube.
   * `reference_V`: a filament's point that its model's volts are against stands this much above its cathode node; 0 when absent.
   */
  | {
      readonly kind: 'triode'
      readonly name: string
      readonly plate: string
      readonly grid: string
      readonly cathode: string
      readonly model: TriodeModel
      readonly emission: number
      readonly gas: number
      readonly reference_V?: number
      /** What drive adds, where the stage is driven; scaled by emission as the rest is. */
      readonly driven?: Driven | undefined
      /** How far it stands off its curves near cut-off; scaled by emission too. */
      readonly astray?: Astray | undefined
    }
  | {
      readonly kind: 'screen tube'
      readonly name: string
      readonly plate: string
      readonly screen: string
      readonly grid: string
      readonly cathode: string
      readonly model: ScreenModel
      readonly emission: number
      readonly gas: number
      readonly reference_V?: number
      readonly driven?: Driven | undefined
      readonly astray?: Astray | undefined
    }
  | {
      readonly kind: 'diode tube'
      readonly name: string
      readonly plate: string
      readonly cathode: string
      readonly model: DiodeModel
      readonly emission: number
    }
  | {
      readonly kind: 'regulator'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly model: RegulatorModel
      readonly lit: boolean
    }
  /**
   * Heater or lamp: I = hot_A·(V/hot_V)^0.58 when hot (`warmth` 1); `warmth` 0..1 sets resistance between cold and hot for
   * transients. `cold_ratio` is hot over cold resistance, that of an indirect heater when absent.
   */
  | {
      readonly kind: 'heater'
      readonly name: string
      readonly a: string
      readonly b: string
      readonly hot_V: number
      readonly hot_A: number
      readonly warmth: number
      readonly cold_ratio?: number
    }

export interface Network {
  readonly ground: string
  readonly elements: readonly Element[]
}

/** Currents flow into the named terminal. Two-terminal elements: `a` (into a, out of b). */
export interface ElementCurrents {
  readonly a?: number
  readonly plate?: number
  readonly screen?: number
  readonly grid?: number
}

export interface Solution {
  readonly converged: boolean
  readonly volts: Readonly<Record<string, number>>
  readonly currents: Readonly<Record<string, ElementCurrents>>
  /** Names of supplies in current limit. */
  readonly limiting: readonly string[]
  readonly iterations: number
  /** What the reason of non-convergence or a floating node is, for people; null when well. */
  readonly trouble: string | null
}

/** As it comes from a solver. */
export interface Solved extends Solution {
  /** Volts of one node, 0 where there is none: of a solution of which few currents are wanted, all of them are named only when asked for. */
  readonly volt: (node: string) => number
}
