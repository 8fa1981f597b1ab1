import type { LeakageLimit } from '../plan/index.js'
import type { ReformTarget } from '../profile/index.js'
import { formatShort } from '../quantities/index.js'

/* Leakage limits in print, each with the words it is printed with. C in F, U in V, currents in A. */

/** K of JAN-C-62, mA per µF, by rated volts. */
export function periodFactor(rated_V: number): number {
  // Its last band ends at 450 V by one source, at 500 V by another; above it is carried on, which `limitOf` says.
  if (rated_V <= 100) return 0.01
  if (rated_V <= 250) return 0.02
  return rated_V <= 350 ? 0.025 : 0.04
}

/** JAN-C-62: I(mA) = K·C(µF) + 0.3. */
export const period_A = (F: number, rated_V: number): number => 1e-3 * (periodFactor(rated_V) * F * 1e6 + 0.3)

/** k·C·U in µA with an addition (`plus`) or a floor (`or`), µA. */
export function byCharge_A(
  F: number,
  V: number,
  k: number,
  more: { readonly plus?: number; readonly or?: number },
): number {
  return 1e-6 * Math.max(k * F * 1e6 * V + (more.plus ?? 0), more.or ?? 0)
}

/** Resistance that leaks as much, ohm. */
export const leak_ohm = (V: number, leak_A: number): number => V / leak_A

/** What a part is held against. `V` is across it, `rated_V` on its can. */
export function limitOf(target: ReformTarget, F: number, rated_V: number, V: number): LeakageLimit {
  const made = (amps: number, after_s: number, words: string, source: string): LeakageLimit => ({
    target,
    amps,
    after_s,
    text: `${formatShort(amps, 'A')} after ${after_s / 60} min: ${words}`,
    source,
  })
  switch (target) {
    case 'period':
      return made(
        period_A(F, rated_V),
        300,
        `${periodFactor(rated_V)} mA per µF and 0.3 mA, for parts rated ${formatShort(rated_V, 'V')}${rated_V > 450 ? ', carried on from 450 V, where one source has it end (500 V in another)' : ''}`,
        'JAN-C-62, as two independent pages report it (second-hand); read after 5 min: MIL-C-62F 4.5.3',
      )
    case 'catalogue 1968':
      return rated_V <= 100
        ? made(
            byCharge_A(F, V, 0.08, { plus: 100 }),
            600,
            '0.08 C·U + 100 µA',
            'British catalogue of 1968 (second-hand)',
          )
        : made(
            byCharge_A(F, V, 0.05, { plus: 250 }),
            600,
            '0.05 C·U + 250 µA',
            'British catalogue of 1968 (second-hand)',
          )
    case 'general':
      return made(
        byCharge_A(F, V, 0.01, { or: 3 }),
        120,
        '0.01 C·U or 3 µA, the greater',
        "a maker's data sheet built on IEC 60384-4",
      )
    case 'low leakage':
      return made(
        byCharge_A(F, V, 0.002, { plus: 3 }),
        300,
        '0.002 C·U + 3 µA',
        "a maker's data sheet built on IEC 60384-4",
      )
    case 'maker':
      return made(1e-3, 300, 'never more than 1 mA a part', "a maker's note of October 1993 (second-hand)")
  }
}

/* Stop figures. */
/** Above the target by this factor after an hour, it will not come. The trade's "10 % drop" rule said so for its own resistors. */
export const overTarget = { factor: 2, after_s: 3600 } as const
/** Held at the top at least so long: a maker's note of October 1993 (second-hand), s. */
export const top_s = 4 * 3600
/** Four to twenty-four hours are usual (common practice, no source), s. */
export const night_s = 24 * 3600
/** Heat that a can may take, W: no published figure, our choice. */
export const can_W = 0.5
/** Case above what it was at the start, K: common practice, no source. */
export const case_K = 10
/** Marginal from this part of the limit on; capacitance low or high, and dried out (our choice, physics.md section 4). */
export const marginalFrom = 0.7
export const capacitance = { low: 0.8, high: 1.5, replace: 0.6 } as const
