import type { Doubt } from './types.js'

/** How hard a part works against one of its ratings. */
export interface Stress {
  readonly part: string
  readonly element: string
  readonly what: string
  /** Of what the rating allows (1 = at the rating × its factor). */
  readonly ratio: number
  /** Of the bare rating. */
  readonly of_rating: number
  readonly rating: string
  readonly source: string
  readonly unverified?: Doubt | undefined
  /** Whether more rail current means more of this; a voltage rating does not follow current. */
  readonly by_current: boolean
  /** Volts without which the part cannot reach its rating at all, across it or behind what feeds it; 0 where nothing says. */
  readonly needs_V: number
  /** Amps through the part that this stress goes with. */
  readonly A: number
  /** Power ratings of resistors grow with the square of the current; all others in proportion. */
  readonly squared: boolean
  /** Of a tube: how that current parts, and the volts that the part which is rated flows at. */
  readonly draws?: {
    readonly plate_A: number
    readonly screen_A: number
    readonly V: number
    readonly of: 'plate' | 'screen'
  }
  /** The rating is not this type's own but what is usual: said, never refused. */
  readonly assumed?: true
  /** Watts in the part and what it is rated for, where heat is what the rating is about, and what kind of part takes them. */
  readonly heat: { readonly W: number; readonly rated_W: number; readonly of: HeatTaker } | null
}

export interface Drawn {
  readonly plate_A: number
  readonly screen_A: number
  readonly plate_V: number
  readonly screen_V: number
}

export function drawsOf(
  what: string,
  { plate_A, screen_A, plate_V, screen_V }: Drawn,
): NonNullable<Stress['draws']> {
  return what.startsWith('screen')
    ? { plate_A, screen_A, V: screen_V, of: 'screen' }
    : { plate_A, screen_A, V: plate_V, of: 'plate' }
}

export type HeatTaker = 'resistor' | 'electrode' | 'winding'
