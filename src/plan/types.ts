import type { InputLimit, Measures, TakenOutput } from '../bench/index.js'
import type { HeaterSign, LetThrough, RailLimits, RatingWatch, Reason } from '../limits/index.js'
import type { ModeName, NodeName, PartName, RailClass, RailName, RailRole } from '../equipment/index.js'
import type { PlanCharts } from './chart-types.js'
import type { OffPlan } from './off-types.js'
import type { ReformPlan, ReformStep } from './reform-types.js'

export type * from './chart-types.js'
export type * from './off-types.js'
export type * from './reform-types.js'

export type { HeaterSign, InputLimit, Measures, RailLimits, RatingWatch, Reason, TakenOutput }

/**
 * A plan is data: JSON all the way down, so that it is printed, recorded, sent to the controller and replayed as it is.
 * SI units; every limit has its reason.
 */
export interface Plan {
  readonly format: 'slowglow plan 1'
  readonly equipment: string
  readonly profile: string
  readonly bench: string
  readonly bench_kind: 'real' | 'virtual'
  readonly kind: 'reform' | 'receive' | 'transmit' | 'bring-up' | 'qualify'
  readonly level: 1 | 2 | 3
  /** SHA-256 over the plan without this field (hex), filled in by the shell. */
  readonly hash: string
  readonly rails: Readonly<Record<RailName, RailPlan>>
  readonly meters: Readonly<Record<string, MeterPlan>>
  readonly hookup: readonly HookupLine[]
  /** Where the set is proved dead with a meter, before anyone touches it to hook it up. */
  readonly prove_dead: readonly { readonly rail: RailName; readonly node: NodeName; readonly at: string }[]
  /** Every connection and preparation of the hook-up, in the order in which a person makes and confirms them. */
  readonly wires: readonly Wire[]
  readonly unproved: readonly string[]
  /** A relay that cuts the HT of these channels once the loop no longer feeds it, and the watched input of its contact. */
  readonly cut_off?: { readonly meter: string; readonly channels: readonly string[] }
  /** The run is to go on with nobody there: what switches off without this program, and what forbids it; absent = somebody stays. */
  readonly unattended?: UnattendedPlan
  /** What is known of the supplies that take part. */
  readonly supplies?: readonly SupplyFigures[]
  /** What the handbook's charts add, and where circuit and chart disagree; absent where the file has none. */
  readonly charts?: PlanCharts
  /** What limits had to do without, and what to add to the set's file for it. */
  readonly lacks?: readonly { readonly rail: RailName; readonly lacks: string; readonly add: string }[]
  /** Limits stated by hand, each with its written reason: every later view of the plan and its runs says so. */
  readonly by_hand?: readonly { readonly rail: RailName; readonly trip_A: number; readonly text: string }[]
  /** What the set's cold checks say to this plan, as its book stood when it was made; absent where no set is joined to the bench. */
  readonly cold_checks?: ColdChecks
  /** Bands that this set's own earlier good runs drew closer, with those runs; absent where none did. */
  readonly learned?: { readonly from: readonly string[]; readonly lines: readonly string[] }
  /** Directly heated stages and what the polarity of their supply does; absent where there is none. */
  readonly filaments?: readonly FilamentPlan[]
  readonly steps: readonly Step[]
  /** Steps that the program would have filled in and does not hold, each with its reason. */
  readonly left_out?: readonly { readonly rail: RailName; readonly V: number; readonly text: string }[]
  /** Gas tubes that the way to a step leaves lit, or leaves open whether they are; absent where that changes no limit. */
  readonly gas?: readonly { readonly step: number; readonly text: string }[]
  /** Each time that the key is down in intermittent duty (ICAS); absent where it is not. */
  readonly key_down?: readonly KeyDown[]
  /** What a fault takes at worst before the outputs are off, for each step that raises plates, screens or drive. */
  readonly let_through?: readonly (LetThrough & { readonly step: number })[]
  readonly rules: readonly Rule[]
  readonly off: OffPlan
  readonly figures: Figures
  readonly heaters: readonly HeaterWatch[]
  /** Lifted electrolytics and what is judged of them; absent in every other plan. */
  readonly reform?: ReformPlan
  readonly time_budget_s: number
  /**
   * Run seconds per real second where the run's clock goes faster than life (virtual bench only): what is about line and computer
   * and not about the set is given that much longer. Absent = 1.
   */
  readonly pace?: number
  readonly prompt_timeout_s: number
  readonly expected_s: number
  readonly stale_s: number
}

/** What the readings of the cold set, kept in its book, say to a plan. */
export interface ColdChecks {
  /** Nothing is energised while anything stands here. */
  readonly blocks: readonly {
    readonly item: string
    readonly why: 'out of range' | 'not taken' | 'book'
    readonly text: string
  }[]
  /** On a virtual bench: what a real one would ask for before its first volt, and nobody has read. */
  readonly not_asked: readonly string[]
  /** All else that was not taken. */
  readonly not_taken: readonly string[]
  /** Taken, and old: of an age that is stated, or before the last repair. Absent in older records. */
  readonly old?: readonly string[]
  readonly marginal: readonly string[]
  /** With their written reasons: every later view of the plan and its runs says so. */
  readonly waived: readonly { readonly item: string; readonly text: string }[]
  /** Waived once and no longer so, being read again or mended: told for ever. Absent in older records. */
  readonly once_waived?: readonly string[]
}

/** Unattended work: a layer below this program for each supply of plates and screens, and what stands in the way. */
export interface UnattendedPlan {
  readonly layers: readonly Layer[]
  /** Nothing is energised unattended while anything stands here. */
  readonly refused: readonly { readonly what: string; readonly remedy: string }[]
}
/** What switches a supply off when computer and line are gone, proved in that start; to what time a timer is set is the person's. */
export interface Layer {
  readonly port: string
  readonly by: 'dead-man' | 'cut-off relay' | 'outside timer'
  readonly text: string
}

/** How far one channel's figures can be trusted. */
export interface SupplyFigures {
  readonly channel: string
  readonly rail: RailName
  readonly state: 'measured' | 'old' | 'foreign' | 'failed' | 'none'
  readonly date: string | null
  /** Figures in force: one reading to the next, and our OFF to no drive. */
  readonly poll_s: number
  readonly off_s: number
  readonly text: string
  /** Said with the cautions: a dead-man that is stated to take it was seen not to. */
  readonly stays_on?: string
}

/** What the sequencer must know of a rail. Names of channels are `SUPPLY.CHANNEL`. */
export interface RailPlan {
  readonly name: RailName
  readonly role: RailRole
  readonly class: RailClass
  readonly channels: readonly ChannelPlan[]
  /** Watched rails: the meters that see volts and amps, if any. */
  readonly volts_meter: string | null
  readonly amps_meter: string | null
  readonly positive: NodeName
  readonly negative: NodeName
  readonly max_V: number
  /** Its volts above which what it feeds may stand above the touch limit: HT behind a set's own transformer. Absent: the touch limit. */
  readonly touch_V?: number
  /** Another node that holds its charge: a reservoir that a fuse parts from it. */
  readonly charged_at?: NodeName
  /** Bias: grid-return volts (signed, against chassis) needed before and during HT. */
  readonly bias: BiasPlan | null
  /** Its tubes modulate a stage fed from this rail: only while that draws its plate current is their transformer loaded. */
  readonly modulates?: RailName
  /** Its readings are too old beyond this, s: by its own supplies or meters. Absent: the plan's. */
  readonly stale_s?: number
  /** The same from the moment it is told ON until the outcome of that, s: its line has less time for readings then. Absent: `stale_s`. */
  readonly on_stale_s?: number
  /** Path for charge at the supply's terminals. */
  readonly discharge: { readonly ohm: number; readonly F: number; readonly through: string } | null
  readonly can: readonly string[]
  readonly cannot: readonly string[]
}
export interface ChannelPlan {
  readonly channel: string
  readonly port: string
  /** Part of the rail's volts this channel makes (1 unless stacked). */
  readonly share: number
  readonly set_digits_V: number
  readonly set_digits_A: number
  readonly min_V: number
  readonly min_A: number
  readonly max_V: number
  readonly max_A: number
  readonly resolution_V: number
  readonly resolution_A: number
  readonly accuracy_V: { readonly of_reading: number; readonly plus: number }
  readonly accuracy_A: { readonly of_reading: number; readonly plus: number }
  readonly over_voltage: boolean
  readonly over_voltage_margin_V: number
  readonly off_order: number
  /** Its supply has a dead-man that is put to rest once all outputs are confirmed off. */
  readonly dead_man?: true
  /** Its supply has a word that gives the panel back: said last. */
  readonly panel?: true
}
export interface BiasPlan {
  readonly node: NodeName
  /** Magnitude that must stand at the node, and its sign. */
  readonly at_least_V: number
  readonly nominal_V: number
  readonly sign: 1 | -1
  /** Meter on a line at the node; null = typed before HT. */
  readonly meter: string | null
  /** That meter's reading is too old beyond this, s. Absent: the plan's. */
  readonly stale_s?: number
  /** Current of the preload at the grid-return end (at nominal), whose loss shows an open lead; null = no preload there. */
  readonly preload_A: number | null
  /** Bleeder at the supply's own terminals: what it still feeds with the lead to the set off; absent = none. */
  readonly bleeder_ohm?: number
  /** Its tolerance, where a file states one. */
  readonly bleeder_tolerance?: number
  readonly source: string
}
export interface MeterPlan {
  readonly name: string
  /** Port name on a line, or null where a person reads it. */
  readonly port: string | null
  readonly measures: Measures
  readonly at: NodeName | null
  readonly against: NodeName | null
  readonly rail: RailName | null
  readonly ohm: number
  readonly resolution: number
  readonly accuracy: { readonly of_reading: number; readonly plus: number }
  /** How it is watched; absent where a person reads it. */
  readonly watch?: WatchPlan
}
/** What a meter on a line is for, and what is judged by it. */
export interface WatchPlan {
  /** What its reading is used for, in words. */
  readonly uses: readonly string[]
  /** Quiet for longer than `stale_s` it makes safe; otherwise its loss is only said. */
  readonly needed: boolean
  readonly stale_s: number
  readonly limits: readonly InputLimit[]
  /** What the node it stands at falls by once its supply is off: the set's own path, or null where none is known. */
  readonly falls: { readonly ohm: number; readonly F: number } | null
}

/** One thing done with the hands before the first volt. */
export interface Wire {
  /** The rail, `first` or `meters`. */
  readonly of: string
  readonly text: string
}

export interface HookupLine {
  readonly rail: RailName
  readonly supply: string
  readonly positive: string
  readonly negative: string
  /** In order: what is lifted, pulled, fused, fitted first. */
  readonly first: readonly string[]
  /** How the wiring will be proved, in words. */
  readonly proved_by: string
  /** What would let less through, each with its arithmetic and source: fuse, series resistor, bleeder. Not asked for. */
  readonly advice?: readonly string[] | undefined
}

/** Charge and heat a rail stands for. Every step names limits for every rail that is energised in it. */
export interface Step {
  /** Its number as everything shows it, from 1: no place in a list (see `stepNumbered`). */
  readonly index: number
  readonly stage: string
  readonly mode: ModeName
  readonly do: 'hook-up check' | 'raise' | 'hold' | 'ask' | 'lower' | 'prove'
  /** The rail that moves or is asked about; null for hold over all. */
  readonly rail: RailName | null
  readonly target_V: number
  readonly slew_V_per_s: number
  readonly hold_s: number
  /** Hold goes on until settled, at most this long more. 0 = by the clock alone. */
  readonly settle_within_s: number
  /** Limits in force by rail while this step runs and holds. */
  readonly limits: Readonly<Record<RailName, RailLimits>>
  readonly hookup: HookupTest | null
  readonly ask: Ask | null
  /** What of the supply is put to the proof (`do: 'prove'`, plans of kind qualify only). */
  readonly proof?: Proof
  /** Electrolytics are formed in the circuit: its pace is what the rail draws, and a rise after a fall ends the run. */
  readonly in_place?: InPlace
  /** Its end is decided by what the estimator says of the parts. */
  readonly reform?: ReformStep
  /** Passed over unless one of these parts did not come to its volts and may be taken nearer behind its smaller feed resistor. */
  readonly exchange?: readonly PartName[]
  /** Passed over unless a part was given up and is still connected. */
  readonly aside?: true
  /** Node voltages expected at the end of the step (level 3). */
  readonly nodes: Readonly<Record<NodeName, number>>
  /** Heater steps: in current limit while warming, at most this long. 0 = not planned. */
  readonly soft_start_s: number
  /** All heater chains must have been in band for their warm-up before this step may raise. */
  readonly needs_heaters: boolean
  /** Bias must stand before this step may raise. */
  readonly needs_bias: boolean
  /** Rail of plates that must stand before a screen rail may; of a modulated stage, that must draw its current before its modulators'. */
  readonly needs_plate: RailName | null
  /** Filaments stand below 80 % of their volts in this step: no question may keep them there for more than 2 min. */
  readonly filaments_low?: boolean
  /** Driven stages whose grid current shows here, and how; empty where none shows yet, absent where nothing is driven. */
  readonly drive?: readonly DriveWatch[] | undefined
  /** Stages whose modulators stand on a rail of their own, and the part of their rail's expected current that must flow. */
  readonly modulated?: readonly Modulated[] | undefined
  /** Tubes whose drive must have been seen before this step may raise. */
  readonly needs_drive?: readonly PartName[] | undefined
  /** The step first takes the rail above 60 V, or follows a prompt above 60 V: "hands clear", sound, 5 s. */
  readonly hands_clear: boolean
  /** Steps from this one on held the key down at reduced power: their line errors are counted before this one may raise. */
  readonly lines_quiet_since?: number
  /** What may not stand longer than a time: a stage off tune, a key held down. Steps in a row with one name share its time. */
  readonly time_limits?: readonly TimeLimit[] | undefined
  readonly expected_s: number
  /** Passed over unless this tube was read over its bare rating in an earlier step; `rated_V`: its cathode at the rating. */
  readonly only_if?: { readonly over_rating: PartName; readonly rated_V: number } | undefined
}

/** Shares of what the rail draws: five minutes that differ by no more are still; so far above the lowest of the hold is a rise. */
export interface InPlace {
  readonly still: number
  readonly rise: number
}

/** A stage whose plate current alone loads the transformer of its modulators. */
export interface Modulated {
  /** Of the stage, and of its modulators. */
  readonly rail: RailName
  readonly by: RailName
  readonly tube: PartName
  /** What the stage takes of its rail's expected current, and the part of that current below which it is taken as lost. */
  readonly own_A: number
  readonly least: number
}

/** The rail may stand above these volts no longer than `s`, counted over all steps in a row that name it. */
export interface TimeLimit {
  readonly name: string
  readonly rail: RailName
  readonly above_V: number
  readonly s: number
  /** Why, as a sentence without its full stop. */
  readonly text: string
  readonly source: string
}

/** A key held down in intermittent duty, over these steps. */
export interface KeyDown {
  readonly mode: ModeName
  readonly from: number
  readonly to: number
  readonly expected_s: number
  readonly allowed_s: number
  readonly text: string
  readonly source: string
}

/** Grid current proves drive. It shows at a meter on a line, or as what a bias supply no longer gives; either alone counts. */
export interface DriveWatch {
  readonly tube: PartName
  readonly grid_A: number
  /** Signed volts that the meter shows with drive and without. */
  readonly meter: { readonly name: string; readonly volts: number; readonly lost_V: number } | null
  /** Amps of the bias rail with drive and without. */
  readonly bias: { readonly rail: RailName; readonly with_A: number; readonly lost_A: number } | null
  readonly text: string
}

/** How one channel's wiring is proved before anything goes above 5 V. */
export interface HookupTest {
  readonly rail: RailName
  readonly channel: string
  readonly method: 'low volts' | 'ohmmeter'
  /** low volts: set this (1-5 V) with this limit, and expect volts over amps in this window, ohm. */
  readonly test_V: number
  readonly limit_A: number
  readonly ohm_low: number
  readonly ohm_high: number
  /** What nominal parts make, where the file says. */
  readonly usual_ohm?: number
  /** Heaters may stand in current limit and are judged by volts over amps. */
  readonly may_limit: boolean
  /** The ammeter is too coarse to see what should flow: no more than that is all that can be shown. Absent where it is not. */
  readonly coarse?: boolean
  /** Polarity: a meter at this node against chassis, its sign; by a meter on a line or asked. Null: a load that has none. */
  readonly polarity: {
    readonly node: NodeName
    readonly sign: 1 | -1
    readonly low_V: number
    readonly high_V: number
    readonly meter: string | null
  } | null
  /** How a person is asked for it, where not at a rail's lead ends. */
  readonly asked?: string
  readonly because: string
}

/**
 * Something a supply should do by itself, brought about on a dummy load on purpose: OFF, its current limit, a protection, its
 * dead-man. What happens is measured and kept; the rules it breaks are expected while it lasts.
 */
export interface Proof {
  readonly of:
    | 'off'
    | 'current limit'
    | 'over-voltage'
    | 'over-current'
    | 'dead-man'
    | 'cut-off relay'
    | 'outside timer'
  readonly channel: string
  /** Told to bring it about: the current limit it must hold, or the level it must trip at; null where OFF or silence does it. */
  readonly limit_A: number | null
  readonly level: number | null
  /** It must have happened within this; `hold_s` of the step is how long what stands then is read. */
  readonly within_s: number
  readonly because: string
  /** The supply answers whether it was this that switched off: volts that go without its word prove nothing (a dip of the mains takes them too). */
  readonly says?: true
  /** Of a dead-man: other outputs of the supply, on at a few volts with nothing connected, and what they are stated to do when it fires. */
  readonly others?: readonly {
    readonly channel: string
    readonly rail: RailName
    readonly stated: TakenOutput['stated']
  }[]
}

export interface Ask {
  readonly text: string
  /** A reading, or a plain confirmation. */
  readonly wants:
    | { readonly kind: 'confirm' }
    | {
        readonly kind: 'reading'
        readonly node: NodeName | null
        readonly rail: RailName | null
        readonly unit: 'V' | 'A' | 'Ω'
        readonly low: number
        readonly high: number
        /** The meter that the window was computed for: it loads what it reads. Absent where that does not matter. */
        readonly meter?: { readonly name: string; readonly ohm: number }
        /** Why the window is what it is. */
        readonly because?: string
      }
  /** The rail whose figures a person watches while the question stands open, large and of now: tuning, peaking. */
  readonly figure?: RailName
  readonly timeout_s: number
  /** HT is brought down and watched before, returned by the same steps without holds after. */
  readonly inside: boolean
  /** What the answer permits: 'mode' sets the mode's controls. */
  readonly about: string
  /** Answered, the supply of this channel is told again to be remote: it may have been worked at its panel. */
  readonly takes_panel?: string
}

/** A trip rule with the thresholds in force: printed, recorded, obeyed. Codes are listed in `rules.ts`. */
export interface Rule {
  readonly code: string
  readonly text: string
  readonly warn: number | null
  readonly trip: number | null
  readonly for_s: number
  readonly unit: string
  readonly source: string
}

export interface HeaterWatch {
  readonly chain: string
  readonly rail: RailName
  readonly volts: number
  readonly warm_up_s: number
  readonly tubes: readonly PartName[]
  readonly source: string
  /** Mercury-vapour rectifiers among them; absent where there is none. */
  readonly mercury?: MercuryWatch
}

/** A directly heated stage on direct current: which end of its filament is positive is part of its bias. */
export interface FilamentPlan {
  readonly part: PartName
  readonly section: number
  readonly rail: RailName
  readonly filament_V: number
  /** The point its published volts are against, V above its cathode node, and the same with the leads exchanged. */
  readonly reference_V: number
  readonly exchanged_V: number
  /** Plate current both ways at working volts; null where no solution was found. */
  readonly plate_A: number | null
  readonly exchanged_A: number | null
  readonly text: string
}

/** Filaments that heat alone before any HT: longer when the mercury may not lie where it belongs. */
export interface MercuryWatch {
  readonly tubes: readonly PartName[]
  /** Filament alone when the person cannot say that the tubes stand as they last worked. */
  readonly first_use_s: number
  /** The set's file says that one is new or was moved: nobody is asked, `warm_up_s` is the long time already. */
  readonly stated: string | null
  /** The mercury may only condense between these, °C, or the ratings do not hold. */
  readonly condensed_low_C: number
  readonly condensed_high_C: number
  readonly text: string
  readonly source: string
}

export interface Figures {
  readonly highest_V: number
  readonly stored_J: number
  readonly stored_where: string
  readonly discharge_s: number | null
  readonly hazards: readonly string[]
  readonly unattended: boolean
}
