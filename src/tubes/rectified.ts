import type { DiodeModel } from './types.js'

/**
 * A transformer, a rectifier and a reservoir: full-wave, the reservoir large (its ripple is small beside its volts). In each half
 * period the rectifier conducts while the winding stands above the reservoir, from −θ to θ about its peak, with cos θ = V/Vp;
 * behind a resistance R the mean current is (2·Vp/πR)·(sin θ − θ·cos θ). Derived; held against a wave followed in time by a test.
 */
export interface RectifiedSource {
  /** Of the winding that feeds one conduction, V. */
  readonly peak_V: number
  /** Of that winding with what the primary adds, Ω. */
  readonly ohm: number
  /** A valve, at its full emission; null = semiconductors, whose drop does not count. */
  readonly valve: DiodeModel | null
  /** Share of the valve's emission that its filament gives now. */
  readonly emission: number
}

/** Mean current into a reservoir at `V`, and how it falls with more volts there (S, never positive). */
export function rectified(
  source: RectifiedSource,
  V: number,
): { readonly A: number; readonly slope_S: number } {
  const { peak_V } = source
  const above_V = peak_V - Math.max(0, V)
  if (!(above_V > 0)) return { A: 0, slope_S: 0 }
  const ohm = ohmAtPeak(source, above_V)
  if (!Number.isFinite(ohm)) return { A: 0, slope_S: 0 }
  const cosine = Math.max(0, V) / peak_V
  const theta = Math.acos(Math.min(1, cosine))
  const A = ((2 * peak_V) / (Math.PI * ohm)) * (Math.sin(theta) - theta * cosine)
  return { A, slope_S: -(2 * theta) / (Math.PI * ohm) }
}

/** Volts at which this source gives these amps, V: where the two meet. */
export function rectified_V(source: RectifiedSource, load_A: number): number {
  let low = 0
  let high = source.peak_V
  // Current falls all the way as volts rise.
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2
    if (rectified(source, middle).A > load_A) low = middle
    else high = middle
  }
  return (low + high) / 2
}

/** What winding and valve together are at the peak of the current: a valve's drop is taken there, as a resistance. */
function ohmAtPeak({ ohm, valve, emission }: RectifiedSource, above_V: number): number {
  if (valve === null) return Math.max(ohm, 1e-3)
  const K = valve.K * Math.max(0, emission)
  const arc_V = valve.drop_V ?? 0
  if (K <= 0 || above_V <= arc_V) return Infinity
  // K·d^1.5 through `ohm` and d across the valve make up what there is.
  let low = 0
  let high = above_V - arc_V
  for (let i = 0; i < 60; i++) {
    const d = (low + high) / 2
    if (d + ohm * K * d * Math.sqrt(d) > above_V - arc_V) high = d
    else low = d
  }
  const d = (low + high) / 2
  return above_V / (K * d * Math.sqrt(d))
}
