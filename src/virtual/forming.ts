/**
 * The oxide of an electrolytic that has stood: leakage that falls under voltage and slowly comes back without. The published
 * law for reforming is t^-n with n 0.5..1 (physics.md section 4); others occur, so there are three, of which nothing that
 * judges knows any. The time scales are common practice, no source.
 */
export interface Oxide {
  readonly F: number
  readonly rated_V: number
  /** Leakage at rated volts once formed, A: a share of the period limit K·C + 0.3 mA (JAN-C-62). */
  formed_A: number
  /** How many times the formed leakage it draws when first put under voltage. */
  fresh: number
  n: number
  /** Time under (rated) voltage so far, s. */
  worked_s: number
  /** How it falls; the power law where absent. */
  law?: Law
  /** Draws the bursts of a law by steps. */
  seed?: number
  /** Above this share of rated volts its oxide breaks down, and for how long it has stood there. */
  runs_away?: { readonly above: number; over_s: number }
}
export type Law = 'power' | 'exponentials' | 'steps'

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

/** Part of the unformed leakage that is left. */
function left({ law, worked_s, n, seed }: Oxide): number {
  switch (law ?? 'power') {
    case 'power':
      return Math.exp(-n * Math.log1p(worked_s / scale_s))
    case 'exponentials':
      return (
        0.5 * Math.exp(-worked_s / 120) +
        0.35 * Math.exp(-worked_s / (900 / n)) +
        0.15 * Math.exp(-worked_s / (5000 / n))
      )
    case 'steps':
      return (
        Math.exp(-n * Math.LN2 * Math.floor(Math.log1p(worked_s / scale_s) / Math.LN2)) *
        bursts(worked_s, seed ?? 1)
      )
  }
}

/** A weak spot heals with a burst: in three of ten stretches of ten minutes, up to three times the leakage, gone in a minute. */
function bursts(worked_s: number, seed: number): number {
  const slot = Math.floor(worked_s / 600)
  const draw = (salt: number): number => {
    let h = Math.imul(slot + 1, 0x9e3779b1) ^ Math.imul(seed + salt, 0x85ebca6b)
    h = Math.imul(h ^ (h >>> 15), 0xc2b2ae35)
    return ((h ^ (h >>> 13)) >>> 0) / 4294967296
  }
  if (draw(1) > 0.3) return 1
  const since_s = worked_s - slot * 600 - 400 * draw(2)
  return since_s < 0 ? 1 : 1 + 2 * draw(3) * Math.exp(-since_s / 20)
}

/** Most that a breakdown multiplies the leakage by, and how fast it grows, s (common practice, no source). */
const breakdown = { most: 40, s: 900 } as const

/** Leakage conductance now with `volts` across, S. Grows with voltage towards rated: current ∝ V² (common practice, no source). */
export function leakage_S(oxide: Oxide, volts: number): number {
  const unformed = 1 + (oxide.fresh - 1) * left(oxide)
  const reversed = volts < -0.5
  const share = Math.min(1.2, Math.abs(volts) / oxide.rated_V)
  const away =
    oxide.runs_away === undefined
      ? 1
      : Math.min(breakdown.most, Math.exp(oxide.runs_away.over_s / breakdown.s))
  const conductance = (oxide.formed_A / oxide.rated_V) * unformed * away * (0.05 + 0.95 * share)
  // Reversed, the oxide hardly blocks at all.
  return reversed ? Math.max(conductance, 1e-3) : conductance
}

/** Forms (or forgets) by `dt_s` with `volts` across. */
export function form(oxide: Oxide, volts: number, dt_s: number): void {
  const share = Math.max(0, Math.min(1, volts / oxide.rated_V))
  oxide.worked_s =
    share > 0.02 ? oxide.worked_s + share * dt_s : oxide.worked_s * Math.exp(-dt_s / forgetting_s)
  if (oxide.runs_away !== undefined && share > oxide.runs_away.above) oxide.runs_away.over_s += dt_s
}

/** What a fault makes of an oxide. */
export function spoilOxide(oxide: Oxide, kind: string, value: number | null): void {
  if (kind === 'by-steps') oxide.law = 'steps'
  if (kind === 'by-exponentials') oxide.law = 'exponentials'
  if (kind === 'runs-away') oxide.runs_away = { above: value ?? 0.7, over_s: 0 }
  if (kind === 'slow') {
    oxide.n = 0.4
    oxide.fresh = 6
    oxide.formed_A = (value ?? 0.65) * periodLimit_A(oxide.F, oxide.rated_V)
  }
}
