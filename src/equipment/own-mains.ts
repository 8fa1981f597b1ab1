import type { RectifiedSource } from '../tubes/index.js'
import { recordOf } from './known.js'
import type { Equipment, ModeName, OwnMains } from './types.js'

/** What stands for all of a set's rails while its own transformer feeds them: the volts of the variable transformer. */
export const ownMainsRail = 'own mains'

/** A winding's resistance where the file does not say: so much of its volts at its rated amps (common practice, no source). */
const usualHalf_ohm = 100

/** RMS volts of one half at full mains in this mode. */
function half_V({ HT, windings }: OwnMains, mode: ModeName): number {
  return HT.taps[mode] ?? windings[HT.halves[0] ?? ''] ?? 0
}

/**
 * The set's own HT source at a part of its mains volts; `emission`: what the rectifier's filament gives there. The other windings
 * load the transformer too: what they take from its volts is the file's to say by volts read under load.
 */
export function ownRectified(
  { own_mains, parts, tubes }: Pick<Equipment, 'own_mains' | 'parts' | 'tubes'>,
  mode: ModeName,
  part: number,
  emission: number,
): RectifiedSource | null {
  if (own_mains === undefined) return null
  const { HT, volts, primary_ohm } = own_mains
  const V = half_V(own_mains, mode)
  const own = HT.halves.flatMap((name) => {
    const winding = parts[name]
    return winding !== undefined && winding.kind === 'winding' ? [winding.ohm] : []
  })
  const half_ohm = own.length === 0 ? usualHalf_ohm : Math.max(...own)
  const ratio = V / volts
  const tube = HT.rectifier === null ? undefined : tubes[HT.rectifier]
  const model = tube === undefined ? undefined : recordOf(tube)?.sections[0]?.model
  return {
    peak_V: Math.SQRT2 * V * part,
    ohm: half_ohm + primary_ohm * ratio * ratio,
    valve: model?.form === 'diode' ? model : null,
    emission: model?.form === 'diode' ? emission : 1,
  }
}
