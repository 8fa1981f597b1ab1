import type { PartName } from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { strikeSpread } from './sampling.js'

/** A gas regulator that may or may not have struck at these set-points: no current can be judged while it may be either. */
export interface StrikeDoubt {
  readonly regulator: PartName
  /** Volts across it while dark. */
  readonly dark_V: number
  /** From here to there one may strike and another not. */
  readonly low_V: number
  readonly high_V: number
}

/** Two standard deviations of the striking volts, or the most its sheet allows. */
export function strikeDoubts(elements: readonly Element[], dark: Solution): StrikeDoubt[] {
  return elements.flatMap((element) => {
    if (element.kind !== 'regulator') return []
    const { strike_V, strike_most_V = 0 } = element.model
    const low_V = strike_V * (1 - 2 * strikeSpread)
    const high_V = Math.max(strike_most_V, strike_V * (1 + 2 * strikeSpread))
    const dark_V = (dark.volts[element.a] ?? 0) - (dark.volts[element.b] ?? 0)
    return dark_V > low_V && dark_V < high_V ? [{ regulator: element.name, dark_V, low_V, high_V }] : []
  })
}
