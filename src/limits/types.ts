import type { StrikeDoubt } from './gas-tubes.js'
import type { NodeName, PartName, RailClass, RailName, RailRole } from '../equipment/index.js'

/** Limits in force on one rail at one set-point. SI units; each figure has its `Reason`. */
export interface RailLimits {
  /** Set-point this rail stands at in this step. */
  readonly at_V: number
  readonly expected_A: number
  /** 5 % and 95 % points. */
  readonly lower_A: number
  readonly upper_A: number
  /** Below this, once settled, the run holds and asks. */
  readonly ask_A: number
  readonly trip_A: number
  readonly ceiling_A: number
  /** Allowance added to trip_A while this rail is being raised (charging). */
  readonly charge_A: number
  readonly supply_limit_A: number
  readonly over_voltage_V: number
  readonly because: readonly Reason[]
  /** A limit stated by hand in the set's file, with its written reason; marked in every view that shows the trip. */
  readonly manual?: ManualLimit
  /** Smallest single-tube change the rail current can show here; null where not computed. */
  readonly sees: string | null
  /** Tubes that may go beyond their bare rating inside this trip: the run goes on, says so and has the cathode read. */
  readonly ratings?: readonly RatingWatch[] | undefined
  /** Where a heater rail is raised: volts each heater gets, with their 5 % and 95 % points. */
  readonly heaters?: readonly HeaterVolts[] | undefined
  /** Where a heater rail is raised: what each single fault of it would change here. */
  readonly signs?: readonly HeaterSign[] | undefined
}

export interface HeaterVolts {
  readonly part: PartName
  readonly volts: number
  readonly lower_V: number
  readonly upper_V: number
  readonly rated_V: number
}

/** A tube's rating where its rating system leaves room above it (design-centre × 1.2, design-maximum × 1.1). */
export interface RatingWatch {
  readonly part: PartName
  /** `V8 (6V6GT) plate dissipation`. */
  readonly what: string
  /** Part of the bare rating used with nominal parts. */
  readonly of_rating: number
  /** What the tube takes of the rail's expected current. */
  readonly share_A: number
  /** Rail current at which the tube would stand at its bare rating, the rest of the rail at what is expected. */
  readonly at_A: number
  readonly rating: string
  readonly source: string
  readonly unverified?: Doubt | undefined
  /** Where its current can be read as volts against chassis: nominal, at the bare rating, at what the rating system allows. */
  readonly cathode: {
    readonly node: NodeName
    readonly V: number
    readonly rated_V: number
    readonly most_V: number
  } | null
}

/** Single faults of a heater rail that its current cannot tell apart, and what they change. */
export interface HeaterSign {
  readonly what: 'open' | 'wrong rating' | 'shorted section'
  /** Which fault exactly, in words. */
  readonly of: string
  readonly chains: readonly string[]
  readonly parts: readonly PartName[]
  /** Change of the rail's current, A, with its volts held. */
  readonly change_A: number
  /** Change of the volts behind the bench's leads, V. */
  readonly set_change_V: number
  /** Heater that it drives furthest beyond its rated volts. */
  readonly over: { readonly part: PartName; readonly volts: number; readonly rated_V: number } | null
  readonly text: string
}

/** `in_force`: the trip is this limit; `alone`: nothing else in the file says what the rail should draw. */
export interface ManualLimit {
  readonly trip_A: number
  readonly reason: string
  readonly in_force: boolean
  readonly alone: boolean
}

/** Why one figure is what it is, in words a restorer reads, and where it comes from. */
export interface Reason {
  readonly limit:
    | 'expected'
    | 'band'
    | 'ask'
    | 'trip'
    | 'ceiling'
    | 'supply limit'
    | 'over-voltage'
    | 'slew'
    | 'hold'
  readonly value: number
  readonly unit: 'A' | 'V' | 'V/s' | 's'
  /** The whole sentence: limit and figure, a colon, then why. */
  readonly text: string
  readonly source: string
  /** The figure behind it was recalled, not looked up: `text` says so too, to be checked in the manual. */
  readonly unverified?: true
  /** The figure is stated by hand in the set's file. */
  readonly by_hand?: true
}

/** What of a limit was recalled and not looked up: its figure, or only what its rating system allows above it. */
export type Doubt = 'figure' | 'rating system'

/** A sentence that stops a plan (`error`) or that goes with it (`warning`). */
export interface LimitProblem {
  readonly severity: 'error' | 'warning'
  readonly what: string
  readonly remedy: string
}

/** Read-back error: fraction of reading + absolute. */
export interface Accuracy {
  readonly of_reading: number
  readonly plus: number
}

/** What the bench gives and sees on one rail: its channels (stacked ones added up) or its meters. */
export interface RailBench {
  readonly name: RailName
  readonly role: RailRole
  readonly class: RailClass
  /** `SUPPLY.CHANNEL`, in stacking order. */
  readonly channels: readonly string[]
  /** Highest volts the channels can make together; the rail's own highest where nothing is programmed. */
  readonly reach_V: number
  readonly max_A: number
  /** Lowest settable current limit and the step of setting it. */
  readonly min_A: number
  readonly step_A: number
  readonly resolution_V: number
  readonly resolution_A: number
  readonly accuracy_V: Accuracy
  readonly accuracy_A: Accuracy
  readonly over_voltage: boolean
  readonly over_voltage_margin_V: number
  /** Leads and what is in them, both ways. */
  readonly lead_ohm: number
  /** All bleeders across the supply's terminals together; null = none. */
  readonly bleeder_ohm: number | null
  /** The widest tolerance that the bench file states for one of them. */
  readonly bleeder_tolerance?: number
  readonly output_F: number
  readonly volts_meter: string | null
  readonly amps_meter: string | null
}

/** A part whose rating the rail's current bounds: beyond `ceiling_A` on the rail the part may be beyond its allowance. */
export interface Guard {
  readonly part: PartName
  readonly ceiling_A: number
  readonly text: string
  readonly source: string
  readonly unverified?: Doubt | undefined
  /** What a person can do where this ceiling lies below what the rail should draw. */
  readonly remedy?: string
}

/** Nominal solution and spread of one operating point. */
export interface OperatingPoint {
  /** Rail → amps with nominal parts. */
  readonly expected_A: Readonly<Record<RailName, number>>
  /** Rail → amps of each sampled set of parts, read-back error included. */
  readonly samples_A: Readonly<Record<RailName, readonly number[]>>
  /** The same with the gas tubes dark that may be lit or dark here, which are lit in `samples_A`. */
  readonly dark_A?: Readonly<Record<RailName, readonly number[]>>
  readonly nodes: Readonly<Record<NodeName, number>>
  /** Rail → what each single tube takes off it when it is missing, amps. */
  readonly shares: Readonly<Record<RailName, readonly { readonly tube: PartName; readonly A: number }[]>>
  readonly guards: Readonly<Record<RailName, readonly Guard[]>>
  readonly ratings: Readonly<Record<RailName, readonly RatingWatch[]>>
  /** Effective capacitance a rail charges, F. */
  readonly charging_F: Readonly<Record<RailName, number>>
  /** Joules in the set's own capacitors at this point. */
  readonly stored_J: number
  readonly problems: readonly LimitProblem[]
  readonly unguarded: readonly string[]
  /** Electrolytics whose leakage may heat them too much unseen. */
  readonly cans: readonly CanHeat[]
  /** Rail → what makes its band wide, in words. */
  readonly contributors: Readonly<Record<RailName, string>>
  readonly shorts: readonly ShortCase[]
  readonly driven: readonly DrivenNow[]
  readonly strikes: readonly StrikeDoubt[]
  /** Gas tubes whose state hangs on the way here, a sentence each. */
  readonly gas: readonly string[]
}

/** A driven stage at one operating point, with nominal parts; `lost_…`: once its own drive is gone. */
export interface DrivenNow {
  readonly tube: PartName
  readonly type: string
  readonly service: string
  readonly duty: 'CCS' | 'ICAS'
  readonly by: 'RF' | 'audio'
  readonly bias: 'fixed' | 'cathode resistor' | 'grid leak'
  readonly plate_A: number
  readonly screen_A: number
  readonly grid_A: number
  /** Most grid current that its service allows. */
  readonly grid_most_A: number | null
  /** Where a bench meter shows the grid current: signed volts with drive and without. */
  readonly shows: {
    readonly node: NodeName
    readonly against: NodeName
    readonly volts: number
    readonly lost_V: number
  } | null
  /** The set's own grid-current meter, outside the case. */
  readonly panel: string | null
  readonly lost_A: Readonly<Record<RailName, number>>
  readonly lost_plate_A: number
  readonly lost_stress: {
    readonly what: string
    readonly ratio: number
    readonly of_rating: number
    readonly rating: string
    readonly source: string
  } | null
  /** What it draws and what that is scaled from. */
  readonly text: string
  readonly source: string
  readonly unverified?: Doubt | undefined
}

/** An electrolytic whose leakage heats its can too much while its rail reads what healthy sets do. */
export interface CanHeat {
  readonly part: PartName
  readonly rail: RailName
  readonly V: number
  readonly leaks_A: number
  /** What it turns into heat by that. */
  readonly W: number
}

/** A capacitor shorted at one operating point: what the rails then draw, and the parts that would stand beyond their ratings. */
export interface ShortCase {
  readonly capacitor: PartName
  /** Volts across it while it is whole. */
  readonly stands_V: number
  readonly amps: Readonly<Record<RailName, number>>
  /** Its worst stress of each part, `of_rating` 1 at the bare rating. */
  readonly over: readonly {
    readonly part: PartName
    readonly what: string
    readonly of_rating: number
    readonly rating: string
    /** Watts in it, and what it is rated for, where the rating is about heat. */
    readonly heat: {
      readonly W: number
      readonly rated_W: number
      readonly of: 'resistor' | 'electrode' | 'winding'
    } | null
  }[]
}

/** Energy that a fault takes at worst before the output is off, at one set-point of one rail. */
export interface LetThrough {
  readonly rail: RailName
  readonly at_V: number
  /** In the supply's own output capacitor, in the set's capacitors, and given by the supply at its limit meanwhile. */
  readonly supply_J: number
  readonly set_J: number
  readonly fed_J: number
  readonly total_J: number
  /** From the fault to off, and whether the bench's share of it was measured. */
  readonly for_s: number
  readonly off_measured: boolean
  /** Null where no part with a rating comes to harm, or the file knows no circuit. */
  readonly weakest: WeakestPart | null
  readonly text: string
}

/** The part that a fault brings nearest to what it stands once. */
export interface WeakestPart {
  readonly part: PartName
  readonly fault: string
  readonly takes_J: number
  readonly stands_J: number
  readonly of_stands: number
  readonly text: string
}

/** A short that no rail's current gives away: it stays inside every trip while a part burns. */
export interface HiddenShort extends ShortCase {
  /** Rail whose current the short moves most, with what it reads then. */
  readonly rail: RailName
  readonly at_V: number
  readonly reads_A: number
  readonly trip_A: number
  /** The current falls below "ask", so that the run holds and asks at the end of the step. */
  readonly asked: boolean
}
