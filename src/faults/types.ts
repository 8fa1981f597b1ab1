import type { RegulatorModel, ScreenModel, TriodeModel } from '../tubes/index.js'
import type { ModeName, NodeName, PartName, RailName } from '../equipment/index.js'

/** What a fault makes of one element of the network, or of one heater. Plain data: it is applied to whatever that element is in the set at hand. */
export type Change =
  | { readonly element: string; readonly is: 'resistance'; readonly ohm: number }
  | { readonly element: string; readonly is: 'ohm times'; readonly by: number }
  | { readonly element: string; readonly is: 'leaks'; readonly ohm: number }
  | { readonly element: string; readonly is: 'emission times'; readonly by: number }
  | { readonly element: string; readonly is: 'gas'; readonly of_plate: number }
  | { readonly element: string; readonly is: 'dark' }
  | { readonly element: string; readonly is: 'model'; readonly model: Model }
  | { readonly element: string; readonly is: 'contact'; readonly closed: boolean }

/** What another type in the socket conducts by. */
type Model = TriodeModel | ScreenModel | RegulatorModel

/** One fault of one part, as changes to the network. */
export interface Fault {
  /** `PART:KIND[=VALUE]`, as `rehearse --fault` takes it where the virtual bench knows the kind. */
  readonly fault: string
  readonly part: PartName
  readonly kind: FaultKind
  /** `C17 shorted`. */
  readonly text: string
  /** Weight against the other faults: common practice, no source. */
  readonly weight: number
  readonly changes: readonly Change[]
  /** Heater of a chain that is open; or shorted. */
  readonly heater: PartName | null
  readonly heater_shorted?: true
  /** The other fault, where two stand together. */
  readonly with?: string
}

export type FaultKind =
  | 'open'
  | 'short'
  | 'drift'
  | 'leaky'
  | 'low'
  | 'missing'
  | 'heater-open'
  | 'heater-short'
  | 'no-emission'
  | 'weak'
  | 'strong'
  | 'gassy'
  | 'grid-short'
  | 'screen-short'
  | 'heater-leak'
  | 'plate-open'
  | 'screen-open'
  | 'grid-open'
  | 'cathode-open'
  | 'wrong-type'
  | 'wiper-open'
  | 'stuck'
  | 'lead-off'
  | 'bias-lost'

/** Rails as they stand, and in which mode. */
export interface Point {
  readonly mode: ModeName
  readonly volts: Readonly<Record<RailName, number>>
  /** Heaters on: else no tube conducts. */
  readonly hot: boolean
  /** Supplies' current limits; none where absent. */
  readonly limits_A?: Readonly<Record<RailName, number>>
}

/** What a bench shows at a point: rail currents, and the volts of its meters on lines. */
export interface Shown {
  readonly amps: Readonly<Record<RailName, number>>
  readonly nodes: Readonly<Record<NodeName, number>>
}
