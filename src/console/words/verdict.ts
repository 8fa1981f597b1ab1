import type { RailLimits } from '../../plan/index.js'

/** How a rail stands against its limits: a word and a shape, never a colour alone. */
export type Verdict =
  | 'within the band'
  | 'above the band'
  | 'below the band'
  | 'above the trip'
  | 'at the ceiling'
  | 'not judged here'
  | 'not read'

export const shapes: Readonly<Record<Verdict, string>> = {
  'within the band': '●',
  'above the band': '▲',
  'below the band': '▼',
  'above the trip': '■',
  'at the ceiling': '■',
  'not judged here': '○',
  'not read': '✕',
}

type Judged = Pick<RailLimits, 'lower_A' | 'upper_A' | 'trip_A' | 'ceiling_A'>

/** Only a word beside the figure: what is done about it is decided elsewhere, from every reading. */
export function verdictOf(amps: number | null, limits: Judged | null): Verdict {
  if (amps === null) return 'not read'
  if (limits === null) return 'not judged here'
  if (amps >= limits.ceiling_A) return 'at the ceiling'
  if (amps > limits.trip_A) return 'above the trip'
  if (amps > limits.upper_A) return 'above the band'
  if (amps < limits.lower_A) return 'below the band'
  return 'within the band'
}
