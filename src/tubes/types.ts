/** A catalogue record and the models fitted to it. Volts relative to the cathode, amps, SI. */

export type Confidence = 'published' | 'from memory' | 'owner'
export interface Figure {
  readonly value: number
  readonly source: string
  readonly confidence: Confidence
}
export type RatingSystem = 'design-centre' | 'design-maximum' | 'absolute' | 'unknown'

export type TubeKind =
  | 'triode'
  | 'twin-triode'
  | 'pentode'
  | 'beam-tetrode'
  | 'heptode'
  | 'triode-hexode'
  | 'triode-heptode'
  | 'triode-pentode'
  | 'twin-diode-triode'
  | 'diode'
  | 'indicator'
  | 'diode-triode'
  | 'diode-pentode'
  | 'rectifier-vacuum'
  | 'rectifier-mercury'
  | 'regulator-gas'
  | 'lamp'
  | 'barretter'

/**
 * Smooth-cut-off space charge (physics.md section 1):
 * E = w·ln(1+exp((Vg + Vct + Vx/mu)/w)), w = Vx/(kr·mu), S = K·E^x; Vx = plate (triode) or screen volts.
 */
export interface TriodeModel {
  readonly form: 'triode'
  readonly K: number
  readonly x: number
  readonly mu: number
  readonly kr: number
  readonly Vct: number
}
/** Ia = S·(2/π)·atan(Vp/Vk)·(1+Vp/Va); Is = r·S·((Vp+0.05·Vs)/Vs)^-n. */
export interface ScreenModel {
  readonly form: 'screen'
  readonly K: number
  readonly x: number
  readonly mu: number
  readonly kr: number
  readonly Vct: number
  readonly Vk: number
  readonly Va: number
  readonly r: number
  readonly n: number
}
/** Vacuum rectifier or signal diode: I = K·V^1.5; a mercury arc: I = K·(V − drop_V)^1.5 with a steep K. */
export interface DiodeModel {
  readonly form: 'diode'
  readonly K: number
  /** Arc drop of a mercury rectifier; absent for vacuum. */
  readonly drop_V?: number
}
export interface RegulatorModel {
  readonly form: 'regulator'
  readonly operating_V: number
  readonly strike_V: number
  /** The most a healthy one needs to strike; between strike_V and this it may be lit or dark. */
  readonly strike_most_V?: number
  readonly extinction_V: number
  readonly slope_ohm: number
  readonly min_A: number
  readonly max_A: number
}
export type SectionModel = TriodeModel | ScreenModel | DiodeModel | RegulatorModel

/** Model error alone: currents lie within [low·I − plus, high·I + plus]. */
export interface ModelBand {
  readonly low: number
  readonly high: number
  readonly plus_A: number
  /** The lowest plate volts of its rows; below them `plus_A` falls as the currents do, with V^1.5. */
  readonly plus_from_V: number
}

/** One tube's own error near cut-off: amps on top of what its curves say, or (negative) kept from it; see `astray`. */
export interface Astray {
  readonly A: number
  readonly from_V: number
}

/** A gas regulator's figures, each with its source. */
export interface RegulatorFigures {
  readonly operating_V: Figure
  readonly strike_V: Figure
  readonly strike_most_V: Figure
  readonly extinction_V: Figure
  readonly slope_ohm: Figure
  readonly min_A: Figure
  readonly max_A: Figure
}

/** How the band of a section is known. */
export interface Told {
  /**
   * `checked`: sharp cut-off, class A rows told from each other; `few`: too few for that, or remote cut-off: the band of
   * its kind; `vague`: no row tells where the grid stands; `disputed`: sources disagree on all rows, which are told from
   * each other; `either`: its rows are for this connection of the filament or for the other, and the band holds both.
   */
  readonly basis: 'checked' | 'few' | 'vague' | 'disputed' | 'either'
  /** Rows told by a fit that had not seen them, and how far the worst of these lay off, as a part of it. */
  readonly rows: number
  readonly worst: number
}

export type Ratings = Readonly<
  Partial<
    Record<
      | 'plate_V'
      | 'plate_W'
      | 'screen_V'
      | 'screen_W'
      | 'cathode_A'
      | 'heater_cathode_V'
      | 'peak_inverse_V'
      | 'dc_output_A'
      | 'regulator_A',
      Figure
    >
  >
>

export interface TubeRecord {
  readonly type: string
  readonly aliases: readonly string[]
  /** Where the other names are from; absent where there are none. */
  readonly aliases_source?: string | undefined
  readonly kind: TubeKind
  readonly cathode: 'indirect' | 'direct' | 'cold'
  /** Directly heated amplifiers: the point of the filament that grid and plate volts of its curves are against. */
  readonly filament_reference?: 'middle' | 'negative end'
  readonly heater: { readonly volts: Figure; readonly amps: Figure } | null
  /** Time from heater on until HT may come; published for the type, else the default of the cathode kind. */
  readonly warm_up_s: Figure
  readonly rating_system: RatingSystem
  /** Where the rating system is printed, or that none was found. */
  readonly rating_source: string
  readonly rating_confidence: Confidence
  readonly max: Ratings
  /** One model per section, in the order of a set file's `sections`; null where none could be fitted. */
  readonly sections: readonly {
    readonly name: string
    readonly model: SectionModel | null
    readonly band: ModelBand
    readonly told: Told
    /** The type whose rows tell its curves, where that is another. */
    readonly like?: string
    /** Why there are no curves, or why they are vague, where that has to be said. */
    readonly why?: string
    /** What is rated otherwise for this section than for the type; see `ratingsOf`. */
    readonly max?: Ratings
  }[]
  /** Published points, class A and others, as fitted or checked. */
  readonly points: readonly OperatingPoint[]
  /** Typical and maximum operation by service and duty. */
  readonly service: readonly ServicePoint[]
  readonly regulator?: RegulatorFigures
  /** A barretter's current and the volts between which it holds it. */
  readonly barretter?: { readonly amps: Figure; readonly least_V: Figure; readonly most_V: Figure }
  /** Of a mercury-vapour rectifier: what its mercury asks for beside the warm-up at each start. */
  readonly mercury?: MercuryRules
  /** What else is known: pins, limits of a heater, production limits. */
  readonly notes: readonly Note[]
}
export interface MercuryRules {
  /** Filament alone for this long on first use, and after the tube was moved or tilted. */
  readonly first_use_s: Figure
  /** Temperature of the coolest part of the bulb, where mercury condenses, between which its ratings hold, °C. */
  readonly condensed_low_C: Figure
  readonly condensed_high_C: Figure
}
export interface Note {
  readonly text: string
  readonly source: string
  readonly confidence: Confidence
}
export interface OperatingPoint {
  readonly class: string
  readonly section: number
  readonly plate_V: number
  readonly screen_V: number | null
  readonly grid_V: number | null
  readonly cathode_ohm: number | null
  readonly plate_A: number | null
  readonly screen_A: number | null
  readonly gm_S: number | null
  readonly rp_ohm: number | null
  readonly mu: number | null
  /** Amplification of the screen: what `mu` is in a screen-grid model. */
  readonly mu_g1g2?: number | null
  readonly source: string
  readonly confidence: Confidence
  /** Why it is not used, where it is not. */
  readonly doubtful: string | null
  /** Why sources do not agree on it: used lightly by the fit, never counted when fits are judged. */
  readonly disputed?: string | null | undefined
}
export interface ServicePoint {
  readonly service: string
  readonly duty: 'CCS' | 'ICAS' | 'unknown'
  readonly rating: boolean
  readonly plate_V: number | null
  readonly screen_V: number | null
  readonly grid_V: number | null
  readonly plate_A: number | null
  readonly screen_A: number | null
  readonly grid_A: number | null
  readonly plate_W: number | null
  readonly screen_W: number | null
  /** Plate volts × plate amps that the service allows. */
  readonly plate_input_W?: number | undefined
  readonly output_W?: number | undefined
  /** Peak of the radio-frequency drive at the grid, against its bias. */
  readonly peak_grid_V?: number | undefined
  readonly source: string
  readonly confidence: Confidence
  /** Its figures that the owner holds a sheet of. */
  readonly checked?: readonly string[]
  readonly disputed?: string | null | undefined
}
