import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, OwnMains } from '../equipment/index.js'
import type { LimitsDesk } from '../limits/index.js'
import type { Profile, Stage } from '../profile/index.js'
import type { PlanOptions } from './made.js'

/** What a plan on the set's own pack is made from. */
export interface OwnAsked {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
  readonly desk: LimitsDesk
  readonly mode: ModeName
  readonly stage: Extract<Stage, { do: 'own mains' }>
  readonly options: PlanOptions
}

/** The same, where the set's file says what that pack is. */
export interface OwnContext extends OwnAsked {
  readonly own: OwnMains
}
