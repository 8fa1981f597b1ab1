import type { RailLimits } from '../../plan/index.js'
import type { RailView } from '../../sequencer/index.js'

/** How a rail stands against its limits: a word and a shape, never a colour alone. */
export type Verdict =
  | 'within the band'
  | 'above the band'
  | 'below the band'
  | 'above the trip'
  | 'at the ceiling'
  | 'heaters cold, at the supply’s limit'
  | 'not judged here'
  | 'not read'

export const shapes: Readonly<Record<Verdict, string>> = {
  'within the band': '●',
  'above the band': '▲',
  'below the band': '▼',
  'above the trip': '■',
  'at the ceiling': '■',
  'heaters cold, at the supply’s limit': '◒',
  'not judged here': '○',
  'not read': '✕',
}

type Judged = Pick<RailLimits, 'lower_A' | 'upper_A' | 'trip_A' | 'ceiling_A'>

/** Only a word beside the figure: what is done about it is decided elsewhere, from every reading. */
export function verdictOf(
  amps: number | null,
  limits: Judged | null,
  { charging_A = 0, soft_start }: Pick<RailView, 'charging_A' | 'soft_start'> = {},
): Verdict {
  if (amps === null) return 'not read'
  if (limits === null) return 'not judged here'
  if (soft_start === true && amps > limits.upper_A) return 'heaters cold, at the supply’s limit'
  // As it is judged: what charges a reservoir is allowed for.
  if (amps > limits.ceiling_A + charging_A) return 'at the ceiling'
  if (amps > limits.trip_A + charging_A) return 'above the trip'
  if (amps > limits.upper_A) return 'above the band'
  if (amps < limits.lower_A) return 'below the band'
  return 'within the band'
}
