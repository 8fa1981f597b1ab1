/**
 * The oxide of an electrolytic that has stood: leakage that falls under voltage as t^-n and slowly comes back without.
 * n 0.5..1 is published for reforming (physics.md section 4); the time scales are common practice, no source.
 */
export interface Oxide {
  readonly F: number
  readonly rated_V: number
  /** Leakage at rated volts once formed, A: a share of the period limit K·C + 0.3 mA (JAN-C-62). */
  readonly formed_A: number
  /** How many times the formed leakage it draws when first put under voltage. */
  readonly fresh: number
  readonly n: number
  /** Time under (rated) voltage so far, s. */
  worked_s: number
}

const scale_s = 30
/** Time without voltage in which the work undone equals the work done: days. */
const forgetting_s = 30 * 86_400

/** K of JAN-C-62, mA per µF, by rated volts: 0.01, 0.02, 0.025, 0.04 up to 100, 250, 350, 450 V. */
function periodFactor(rated_V: number): number {
  if (rated_V <= 100) return 0.01
  if (rated_V <= 250) return 0.02
  return rated_V <= 350 ? 0.025 : 0.04
}
/** Largest leakage a new period part was allowed at rated volts after 5 min, A (JAN-C-62: I(mA) = K·C(µF) + 0.3). */
export function periodLimit_A(F: number, rated_V: number): number {
  return 1e-3 * (periodFactor(rated_V) * F * 1e6 + 0.3)
}

/** Leakage conductance now with `volts` across, S. Grows with voltage towards rated: current ∝ V² (common practice, no source). */
export function leakage_S(oxide: Oxide, volts: number): number {
  const unformed = 1 + (oxide.fresh - 1) * Math.exp(-oxide.n * Math.log1p(oxide.worked_s / scale_s))
  const reversed = volts < -0.5
  const share = Math.min(1.2, Math.abs(volts) / oxide.rated_V)
  const conductance = (oxide.formed_A / oxide.rated_V) * unformed * (0.05 + 0.95 * share)
  // Reversed, the oxide hardly blocks at all.
  return reversed ? Math.max(conductance, 1e-3) : conductance
}

/** Forms (or forgets) by `dt_s` with `volts` across. */
export function form(oxide: Oxide, volts: number, dt_s: number): void {
  const share = Math.max(0, Math.min(1, volts / oxide.rated_V))
  oxide.worked_s =
    share > 0.02 ? oxide.worked_s + share * dt_s : oxide.worked_s * Math.exp(-dt_s / forgetting_s)
}
