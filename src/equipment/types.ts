import type { DrivenBy, DrivenFigures, TubeRecord } from '../tubes/index.js'

/**
 * What a set is, as far as its file says. Everything is in SI units; every node is a name.
 * The loader (files room) turns YAML into this; `network.ts` here turns it into something solvable.
 */

export type RailName = string
export type NodeName = string
export type PartName = string
export type ModeName = string

export type RailRole = 'heater' | 'bias' | 'HT' | 'screen' | 'drive' | 'other'
export type RailClass = 'programmed' | 'watched' | 'hand'

/** Where a figure came from. `from memory` sources are printed as "unverified". */
export interface Sourced {
  readonly value: number
  readonly source: string
}

export interface Rail {
  readonly role: RailRole
  readonly positive: NodeName
  readonly negative: NodeName
  /** Of the driven (hot) side against chassis; `floating` where neither node is chassis. */
  readonly polarity: 'positive' | 'negative' | 'floating'
  /** Wanted class; absent = what the bench can do (a channel: programmed; a meter on a line: watched; else hand). */
  readonly class?: RailClass
  /** Working voltage of the set at this rail, V(positive) − V(negative), never negative. */
  readonly working_V: number
  /** Highest voltage anything may put on this rail, with its source. */
  readonly max_V: Sourced
  readonly feeds: Feeds
  /** Handbook's total current by mode, taken at `at_V` (level 1 and up). */
  readonly totals: Readonly<
    Record<ModeName, { readonly at_V: number; readonly current_A: number; readonly source: string }>
  >
  /** Modes in which a bias rail must stand, and at what grid-return volts (with sign, against chassis). */
  readonly required_bias?: {
    readonly node: NodeName
    readonly at_least_V: number
    readonly nominal_V: number
    /** Resistor from the grid return to chassis that no part of the file stands for; its current shows a whole lead. */
    readonly preload_ohm?: number
    readonly source: string
  }
  /** DC heater rails: whether a mains-transformer winding is still connected across it. */
  readonly winding_connected?: boolean
  /** Heater rails: what joins their middle to chassis while the bench feeds them. */
  readonly earthed_at?: 'centre tap' | 'hum potentiometer'
  /** What the winding is rated for that all of the rail flows through in the set. */
  readonly winding?: { readonly rated_A: number; readonly source: string }
  /** A limit stated by hand, with its written reason; marked in every later view. */
  readonly manual?: { readonly trip_A: number; readonly reason: string }
}

/** How the bench is joined to the rail. Printed as the hook-up sheet, confirmed wire by wire. */
export interface Feeds {
  /** Where positive and negative leads are clipped, in the set's own words. */
  readonly positive_at: string
  readonly negative_at: string
  /** Wires to lift before, tubes to pull (rectifier!), in order. */
  readonly lift: readonly string[]
  readonly pull: readonly PartName[]
  readonly fuse_A?: number
  readonly blocking_diode?: boolean
  /** Series resistor between supply and set, ohm (feed resistor when reforming). */
  readonly series_ohm?: number
  /** Fixed bleeder clipped across the supply's terminals, ohm. */
  readonly bench_bleeder_ohm?: number
  /** Its tolerance, where the file states one. */
  readonly bench_bleeder_tolerance?: number
}

export interface Mode {
  /** Control positions that matter, prompted before judging: { "send switch": "receive" }. */
  readonly controls: Readonly<Record<string, string>>
  /** Whether this mode keys a driven stage (drive is expected). */
  readonly driven: boolean
}

interface PartBase {
  /** For people: what it does, where it sits. */
  readonly note?: string
}
export interface Resistor extends PartBase {
  readonly kind: 'resistor'
  readonly between: readonly [NodeName, NodeName]
  readonly ohm: number
  /** Relative, e.g. 0.1. */
  readonly tolerance: number
  readonly rated_W: number | null
  readonly make: 'carbon composition' | 'film' | 'wirewound'
}
export interface Capacitor extends PartBase {
  readonly kind: 'capacitor'
  /** Positive first for electrolytics. */
  readonly between: readonly [NodeName, NodeName]
  readonly F: number
  readonly rated_V: number
  readonly dielectric: 'electrolytic' | 'paper' | 'film' | 'mica' | 'ceramic'
  /** Sections of one can share its name. */
  readonly can?: string
}
export interface Choke extends PartBase {
  readonly kind: 'choke' | 'winding'
  readonly between: readonly [NodeName, NodeName]
  readonly H: number
  readonly ohm: number
  readonly rated_A: number | null
  /** Windings of one transformer share its name. */
  readonly of?: string
}
export interface Potentiometer extends PartBase {
  readonly kind: 'potentiometer'
  readonly ends: readonly [NodeName, NodeName]
  readonly wiper: NodeName
  readonly ohm: number
  readonly tolerance: number
  /** 0 = at the first end, 1 = at the second; by mode, else `position`. */
  readonly position: number
  readonly positions: Readonly<Record<ModeName, number>>
  readonly rated_W: number | null
}
export interface Contact extends PartBase {
  readonly kind: 'contact'
  readonly between: readonly [NodeName, NodeName]
  readonly closed_in: readonly ModeName[]
  /** The control (relay, switch) it belongs to. */
  readonly control: string
}
export interface Fuse extends PartBase {
  readonly kind: 'fuse'
  readonly between: readonly [NodeName, NodeName]
  readonly rated_A: number
  readonly ohm: number
}
/** A dial lamp is a heater. Placed by a heater chain, or `between` nodes. */
export interface Lamp extends PartBase {
  readonly kind: 'lamp'
  readonly volts: number
  readonly amps: number
  /** Where its file names a type: where that type's figures are from, and whether they were recalled. */
  readonly known?: { readonly type: string; readonly source: string; readonly recalled: boolean }
  readonly between?: readonly [NodeName, NodeName]
}
export interface Diode extends PartBase {
  readonly kind: 'diode'
  readonly between: readonly [NodeName, NodeName]
}
export type Part = Resistor | Capacitor | Choke | Potentiometer | Contact | Fuse | Lamp | Diode

/** One electron-stream section of a tube: absent electrodes are not fitted. */
export interface Section {
  readonly plate: NodeName
  readonly screen?: NodeName
  readonly grid?: NodeName
  readonly cathode: NodeName
  /** Wired as a triode: screen to plate. */
  readonly triode_connected?: boolean
  /** How it is used in modes in which it is driven: judged there by service data on top of the static model. */
  readonly driven?: DrivenStage
}

/** A stage driven by radio frequency or audio in some modes. */
export interface DrivenStage {
  readonly in: readonly ModeName[]
  readonly by: DrivenBy
  /** As in the tube data: "class C telegraphy", "class C plate-modulated", "class AB2"… */
  readonly service: string
  readonly duty: 'CCS' | 'ICAS'
  /** What holds the tube when drive is lost. */
  readonly bias: 'fixed' | 'cathode resistor' | 'grid leak'
  /** Without a circuit: the rail that a fixed bias comes from, where the file has several. */
  readonly bias_rail?: RailName
  /** Without a circuit: its screen keeps its volts when it draws less, and does not rise to its rail behind a dropper. */
  readonly fixed_screen?: true
  /** Whether the stages before it rise with the same HT. */
  readonly drive: 'with HT' | 'steady'
  /** Tube whose output drives it. */
  readonly from?: PartName
  /** Of a modulator: the tube whose plate it modulates. Without that tube's plate current nothing loads its transformer. */
  readonly modulates?: PartName
  /** The handbook's own figures, where the tube data have none for this service or the set is run otherwise. */
  readonly figures?: DrivenFigures & { readonly source: string }
  /** Most that the service allows, where the tube data do not say. */
  readonly rating?: DrivenRating
  /** Where a meter on the bench shows the grid current as volts. */
  readonly shows?: {
    readonly node: NodeName
    readonly against: NodeName
    /** Resistor between the two, where no circuit tells it. */
    readonly ohm?: number
  }
  /** The set's own meter that shows it, outside the case: a person reads it there before HT goes to its top. */
  readonly panel?: string
}
export interface DrivenRating {
  readonly plate_V: number | null
  readonly plate_A: number
  readonly screen_W: number | null
  readonly grid_A: number | null
  readonly plate_input_W: number | null
  readonly screen_V?: number | null
  readonly plate_W?: number | null
  readonly source: string
}
export interface Tube {
  /** As in the catalogue (aliases resolved by the loader; the owner's own word kept in `written`). */
  readonly type: string
  readonly written: string
  /** The set's own record of this type, where its file defines one or its owner checked figures; else the catalogue's. */
  readonly record?: TubeRecord
  readonly does?: string
  readonly sections: readonly Section[]
  /** Where no nodes are given: how it is used in modes in which it is driven. */
  readonly driven?: DrivenStage
  /** Level 1: which rail it draws from, where no nodes are given. */
  readonly rail?: RailName
  /** Modes in which it conducts at level 1; all when absent. */
  readonly modes?: readonly ModeName[]
  /** Pulled for this set-up (rectifier not used on bench supplies). */
  readonly pulled?: boolean
  /** Of a gas regulator whose base joins two pins: what hangs behind that link is open while the tube is out of its socket. */
  readonly jumper?: readonly [NodeName, NodeName]
  /** Of a mercury-vapour rectifier: its file says that its mercury is not where it belongs. */
  readonly mercury?: 'first use' | 'moved'
}

/** Level-1 capacitors have no nodes: they hang on a rail. */
export interface RailCapacitor {
  readonly rail: RailName
  readonly F: number
  readonly rated_V: number
  readonly dielectric: Capacitor['dielectric']
  readonly can?: string
}

/**
 * A heater chain across a rail: elements in series from the rail's positive to its negative node.
 * An inner list is in parallel. Elements name tubes, lamps, or resistor parts without nodes.
 */
export interface HeaterChain {
  readonly rail: RailName
  readonly series: readonly (readonly PartName[])[]
  /** Overrides the warm-up time with its source. */
  readonly warm_up_s?: Sourced
  /** Resistance of the leads from the supply to this chain, ohm, both ways. */
  readonly lead_ohm: number
}
/** A chain element that only lives in heater chains. */
export interface HeaterResistor extends PartBase {
  readonly kind: 'heater resistor'
  readonly ohm: number
  readonly tolerance: number
  readonly rated_W: number | null
}

export type Electrode = 'plate' | 'screen' | 'grid' | 'cathode'

/** One line of a handbook's voltage chart: against chassis, in one mode with that mode's controls. */
export interface ChartVolts {
  readonly node: NodeName
  readonly mode: ModeName
  /** As its own meter read it. */
  readonly volts: number
  /** Resistance of that meter on the range it was taken on, ohm: it loaded the node. */
  readonly meter_ohm: number
  /** Its range, where it has ranges. */
  readonly range_V: number | null
  /** That meter in words: "a 1000 Ω/V meter on 250 V". */
  readonly meter: string
  /** The chart names no range: the lowest usual one that holds the reading is taken. */
  readonly range_taken: boolean
  /** Electrode it is measured at; null where neither name nor file says so. */
  readonly of: { readonly tube: PartName; readonly electrode: Electrode; readonly section: number } | null
  /** A resistor that ends at this node: with the volts at `to` it tells a current. */
  readonly through: { readonly ohm: number; readonly to: NodeName } | null
  readonly rail: RailName | null
  /** Positions it was taken at, where they are not its mode's own. */
  readonly controls: Readonly<Record<string, string>>
  readonly source: string
}

/** One line of a handbook's resistance chart: set off, tubes in place. */
export interface ChartOhms {
  readonly node: NodeName
  readonly to: NodeName
  /** The mode whose controls it was taken with; null: in every mode. */
  readonly mode: ModeName | null
  readonly ohm: number
  readonly of: ChartVolts['of']
  readonly source: string
}

export interface Charts {
  /** How far a healthy set may be off, relative. */
  readonly within: number
  readonly voltages: readonly ChartVolts[]
  readonly resistances: readonly ChartOhms[]
}

/**
 * The set's own mains transformer and rectifier: its most irreplaceable part, tried early with nothing on it and joined last, by a
 * variable transformer that a person turns.
 */
export interface OwnMains {
  /** RMS volts that the primary is set for. */
  readonly volts: number
  readonly transformer: string
  /** From pin to pin of the plug, its switch on, cold. */
  readonly primary_ohm: number
  /** RMS volts of each winding with the primary at its volts and nothing on it. */
  readonly windings: Readonly<Record<PartName, number>>
  /** What it takes with nothing on it. */
  readonly no_load_A?: Sourced
  readonly fuse_A: number
  readonly HT: {
    readonly rail: RailName
    /** The two halves of a winding with a centre tap, or the one across a bridge. */
    readonly halves: readonly PartName[]
    /** RMS volts of each half in modes in which a relay changes its tap. */
    readonly taps: Readonly<Record<ModeName, number>>
    /** Valve; null = semiconductors. */
    readonly rectifier: PartName | null
    /** How HT is kept off while heaters and bias are looked at, in words. */
    readonly opened_by: string
    /** Where a charge stands all the same while HT is kept off so: the reservoir before a fuse. */
    readonly leaves_charged?: NodeName
    /** Where a person reads its current, in words. */
    readonly read_at: string
  }
  /** Its cord joins the chassis to the mains earth. */
  readonly earthed: boolean
  readonly source: string
}

export type Hazard =
  | 'live chassis'
  | 'HT on key jack'
  | 'HT on phone jack'
  | 'aerial behind blocking capacitor'
  | 'mercury'
  | 'radium'
  | 'PCB oil'
  | 'asbestos'
  | 'beryllia'
  | 'selenium'
  | 'X-rays'

export interface Equipment {
  readonly name: string
  /** What its book is called, whatever its file is called; absent: as its file. */
  readonly id?: string
  /** Where its book lies, from the set's file; absent where it lies beside it. */
  readonly book?: string
  /** A cold reading stands this long, s; absent: the usual. */
  readonly cold_valid_s?: number
  /** 1 rails, 2 charts, 3 network; what the file allows, found by the loader. */
  readonly level: 1 | 2 | 3
  readonly chassis: 'isolated' | 'live'
  readonly isolating_transformer?: string
  /** What the set itself lives on, the mains when absent: one made for batteries has no plug and no mains transformer. */
  readonly power?: 'mains' | 'battery'
  /** Name of the node that is the metal chassis. */
  readonly chassis_node: NodeName
  readonly hazards: readonly Hazard[]
  readonly panel_controls: readonly string[]
  readonly modes: Readonly<Record<ModeName, Mode>>
  readonly rails: Readonly<Record<RailName, Rail>>
  readonly parts: Readonly<Record<PartName, Part | HeaterResistor>>
  readonly rail_capacitors: Readonly<Record<PartName, RailCapacitor>>
  readonly tubes: Readonly<Record<PartName, Tube>>
  readonly spares: readonly string[]
  readonly heater_chains: Readonly<Record<string, HeaterChain>>
  readonly charts: Charts
  /** Nodes worth watching by name in plan and prompts (grid return, reservoir…): node → words for people. */
  readonly test_points: Readonly<Record<NodeName, string>>
  /** Absent: the file says nothing of its own transformer. */
  readonly own_mains?: OwnMains
  /** No set but electrolytics lifted out of one, to be formed. */
  readonly lifted?: true
}
