import { screenTubeWithSlopes, triodeWithSlopes } from './models.js'
import type { OperatingPoint, ScreenModel, TriodeModel } from './types.js'

/*
 * One type's parameters from all its published points together: weighted least squares in the parameters'
 * logarithms (Levenberg-Marquardt), with priors that carry what a few points cannot tell. Spreads and priors are
 * ours (physics.md section 1), tried on these data. Deterministic: the same points give the same parameters.
 */

/** What a family of types has in common; each `spread` is one standard deviation, of the logarithm unless in volts. */
interface Family {
  readonly x: Prior
  readonly kr: Prior
  readonly Vct: { readonly middle_V: number; readonly spread_V: number }
  readonly mu_spread: number
  readonly r: Prior
  readonly n: Prior
}
interface Prior {
  readonly middle: number
  readonly spread: number
}

type Cutoff = 'sharp' | 'remote'
export interface Kind {
  readonly curves: 'triode' | 'screen'
  readonly cathode: 'indirect' | 'direct'
  /** Volts across a filament whose negative end the rows' volts are against; 0 where they are against its middle. */
  readonly filament_V: number
  readonly cut_off: Cutoff
  readonly beam: boolean
}

/** The priors' table of physics.md section 1. */
function family(kind: Kind): Family {
  const remote = kind.cut_off === 'remote'
  const triode = kind.curves === 'triode'
  const x = triode ? 1.35 : remote ? 1.55 : 1.42
  return {
    x: { middle: x, spread: (remote ? 0.15 : 0.05) / x },
    kr: {
      middle: triode ? 7 : remote ? 2.5 : 5,
      spread: remote ? 0.5 : 0.4,
    },
    Vct:
      kind.cathode === 'direct'
        ? // Along the filament the grid is on average half its volts more negative than against its negative end.
          { middle_V: -kind.filament_V / 2, spread_V: 0.3 }
        : triode
          ? { middle_V: 0.65, spread_V: 0.15 }
          : { middle_V: 0.5, spread_V: 0.2 },
    // A triode's printed mu is the surest of its figures: 5 % told both chosen and kept-back types better than 10 %.
    mu_spread: triode ? 0.05 : 0.15,
    r: { middle: kind.beam ? 0.08 : 0.25, spread: 0.8 },
    n: { middle: kind.beam ? 1.1 : 0.2, spread: 0.5 },
  }
}

/** Volts between electrodes and cathode: rows with cathode bias print supply volts. */
interface Place {
  readonly plate_V: number
  readonly screen_V: number
  readonly grid_V: number | null
}
function place(point: OperatingPoint): Place {
  const screen_V = point.screen_V ?? 0
  if (point.grid_V !== null || point.cathode_ohm === null || point.plate_A === null) {
    return { plate_V: point.plate_V, screen_V, grid_V: point.grid_V }
  }
  const bias_V = point.cathode_ohm * (point.plate_A + (point.screen_A ?? 0))
  return { plate_V: point.plate_V - bias_V, screen_V: screen_V - bias_V, grid_V: -bias_V }
}

export type Fitted = TriodeModel | ScreenModel

interface Currents {
  readonly plate_A: number
  readonly screen_A: number
  readonly gm_S: number
  readonly gp_S: number
}
function currents(model: Fitted, plate_V: number, screen_V: number, grid_V: number): Currents {
  if (model.form === 'triode') {
    const at = triodeWithSlopes(model, plate_V, grid_V)
    return { plate_A: at.plate_A, screen_A: 0, gm_S: at.plate_by_grid_S, gp_S: at.plate_by_plate_S }
  }
  const at = screenTubeWithSlopes(model, plate_V, screen_V, grid_V)
  return {
    plate_A: at.plate_A,
    screen_A: at.screen_A,
    gm_S: at.plate_by_grid_S,
    gp_S: at.plate_by_plate_S,
  }
}

/** What a model says at a published point; where the row states its plate current but no grid volts, these are found. */
export function atPoint(model: Fitted, point: OperatingPoint): Currents {
  const { plate_V, screen_V, grid_V } = place(point)
  if (grid_V !== null) return currents(model, plate_V, screen_V, grid_V)
  let low = -screen_V - plate_V
  let high = 50
  for (let i = 0; i < 60; i++) {
    const middle = (low + high) / 2
    if (currents(model, plate_V, screen_V, middle).plate_A > (point.plate_A ?? 0)) high = middle
    else low = middle
  }
  return currents(model, plate_V, screen_V, low)
}

/** A point the static curves can be held against. */
export function usable(point: OperatingPoint): boolean {
  return (
    point.doubtful === null &&
    (point.plate_A === null
      ? point.gm_S !== null && point.grid_V !== null
      : point.grid_V !== null || point.cathode_ohm !== null || point.gm_S !== null)
  )
}
/** Whether a row is a push-pull stage without signal. */
export function isIdle(point: OperatingPoint): boolean {
  return /idle|zero signal|AB/.test(point.class)
}

/** Class AB and idle rows are rounder than class A ones: half weight; cut-off rows only say where currents end. */
function weight(point: OperatingPoint): number {
  if (/cut-off/.test(point.class)) return 0.004
  const share = isIdle(point) ? 0.5 : 1
  return point.disputed == null ? share : 0.25 * share
}

/** Residual spreads: how far published rows of one type lie from a smooth curve; idle screen currents are the roughest. */
const spread = { plate_A: 0.03, gm: 0.04, rp_triode: 0.12, rp_screen: 0.2, screen_A: 0.08 }

/** Fits one section; null where no usable point tells its current. */
export function fitSection(points: readonly OperatingPoint[], kind: Kind): Fitted | null {
  const used = points.filter(usable)
  const first =
    used.find((p) => p.gm_S !== null && place(p).grid_V !== null) ??
    used.find((p) => place(p).grid_V !== null) ??
    used[0]
  if (first === undefined) return null
  const about = family(kind)
  const triode = kind.curves === 'triode'
  const where = place(first)
  const driver_V = triode ? where.plate_V : where.screen_V
  if (!(driver_V > 0)) return null
  const sheet = mean(used.flatMap((p) => (triode ? muOf(p) : p.mu_g1g2 == null ? [] : [p.mu_g1g2])))
  const drive_V =
    first.gm_S === null || first.plate_A === null ? null : (about.x.middle * first.plate_A) / first.gm_S
  const guessed =
    drive_V === null || where.grid_V === null
      ? guessedMu(driver_V, where.grid_V, kind.cut_off)
      : driver_V / Math.max(0.5, drive_V - where.grid_V - about.Vct.middle_V)
  const mu = sheet ?? guessed
  const mu_spread = sheet === null || kind.cut_off === 'remote' ? 1 : about.mu_spread
  const screens = used.map((p) => place(p).screen_V)
  const Vk = Math.max(2, 0.05 * Math.max(...screens))

  const build = (v: readonly number[]): Fitted => {
    const at = (i: number): number => v[i] ?? 0
    const shared = {
      K: Math.exp(at(0)),
      x: Math.exp(at(1)),
      mu: Math.exp(at(2)),
      kr: Math.exp(at(3)),
      Vct: at(4),
    }
    if (triode) return { form: 'triode', ...shared }
    return {
      form: 'screen',
      ...shared,
      Vk: Math.exp(at(5)),
      Va: Math.exp(at(6)),
      r: Math.exp(at(7)),
      n: Math.exp(at(8)),
    }
  }
  const middles = [
    { middle: Math.log(about.x.middle), spread: about.x.spread },
    { middle: Math.log(mu), spread: mu_spread },
    { middle: Math.log(about.kr.middle), spread: about.kr.spread },
    { middle: about.Vct.middle_V, spread: about.Vct.spread_V },
    ...(triode
      ? []
      : [
          { middle: Math.log(Vk), spread: 0.7 },
          { middle: Math.log(3000), spread: 0.7 },
          { middle: Math.log(about.r.middle), spread: about.r.spread },
          { middle: Math.log(about.n.middle), spread: about.n.spread },
        ]),
  ]
  const residuals = (v: readonly number[]): number[] => {
    const model = build(v)
    const found = middles.map((prior, i) => ((v[i + 1] ?? 0) - prior.middle) / prior.spread)
    for (const point of used) {
      const at = atPoint(model, point)
      const w = Math.sqrt(weight(point))
      if (place(point).grid_V !== null) found.push((w * apart(at.plate_A, point.plate_A)) / spread.plate_A)
      found.push((w * apart(at.gm_S, point.gm_S)) / spread.gm)
      found.push((w * apart(1 / at.gp_S, point.rp_ohm)) / (triode ? spread.rp_triode : spread.rp_screen))
      const ws = isIdle(point) ? 0.3 * w : w
      if (!triode) found.push((ws * apart(at.screen_A, point.screen_A)) / spread.screen_A)
    }
    return found
  }
  const start = [0, ...middles.map((p) => p.middle)]
  const unscaled = atPoint(build(start), first)
  if (where.grid_V === null) start[0] = Math.log((first.plate_A ?? 0.05) / 200)
  else if (first.plate_A !== null) start[0] = Math.log(first.plate_A / unscaled.plate_A)
  else start[0] = Math.log((first.gm_S ?? 0.001) / unscaled.gm_S)
  return build(leastSquares(residuals, start))
}

/**
 * Where no row tells the slope: idle stages are biased to about 85 % of cut-off; 20 for mixers, whose rows state
 * the bias of another grid. Both ours, tried on these data, only a start and a loose prior.
 */
function guessedMu(driver_V: number, grid_V: number | null, cut_off: Cutoff): number {
  return cut_off === 'remote' || grid_V === null || grid_V > -3 ? 20 : driver_V / (-1.15 * grid_V)
}

function muOf(point: OperatingPoint): number[] {
  if (point.mu !== null) return [point.mu]
  return point.gm_S === null || point.rp_ohm === null ? [] : [point.gm_S * point.rp_ohm]
}
function mean(values: readonly number[]): number | null {
  return values.length === 0 ? null : values.reduce((a, b) => a + b, 0) / values.length
}
/** ln(model / published), bounded so that a wild start still points the way; 0 where nothing is published. */
function apart(model: number, published: number | null): number {
  if (published === null || !(published > 0)) return 0
  return Math.max(-20, Math.min(20, Math.log(Math.max(model, 1e-30) / published)))
}

/** Levenberg-Marquardt with a numeric Jacobian. */
function leastSquares(residuals: (v: readonly number[]) => number[], start: readonly number[]): number[] {
  let best = [...start]
  let at = residuals(best)
  let cost = sumOfSquares(at)
  let damping = 1e-2
  for (let round = 0; round < 300; round++) {
    const columns = best.map((value, i) => {
      const moved = [...best]
      moved[i] = value + 1e-6
      return residuals(moved).map((r, k) => (r - (at[k] ?? 0)) / 1e-6)
    })
    const normal = columns.map((a) => columns.map((b) => dot(a, b)))
    const downhill = columns.map((a) => -dot(a, at))
    let improved = false
    while (!improved && damping < 1e12) {
      const damped = normal.map((row, i) => row.map((c, j) => (i === j ? c * (1 + damping) + 1e-12 : c)))
      const step = gauss(damped, downhill)
      const next = best.map((value, i) => value + Math.max(-1, Math.min(1, step[i] ?? 0)))
      const there = residuals(next)
      const less = sumOfSquares(there)
      if (less < cost) {
        const gain = cost - less
        best = next
        at = there
        cost = less
        damping = Math.max(1e-9, damping / 5)
        if (gain < 1e-12 * cost) return best
        improved = true
      } else damping *= 4
    }
    if (!improved) return best
  }
  return best
}
function dot(a: readonly number[], b: readonly number[]): number {
  return a.reduce((sum, value, i) => sum + value * (b[i] ?? 0), 0)
}
function sumOfSquares(a: readonly number[]): number {
  return dot(a, a)
}
/** Solves a small system by elimination with row pivoting. */
function gauss(matrix: readonly (readonly number[])[], right: readonly number[]): number[] {
  const rows = matrix.map((row, i) => [...row, right[i] ?? 0])
  const n = rows.length
  for (let c = 0; c < n; c++) {
    let pivot = c
    for (let r = c + 1; r < n; r++) if (Math.abs(cell(rows, r, c)) > Math.abs(cell(rows, pivot, c))) pivot = r
    const top = rows[pivot] ?? []
    rows[pivot] = rows[c] ?? []
    rows[c] = top
    for (let r = c + 1; r < n; r++) {
      const factor = cell(rows, r, c) / (top[c] ?? 1)
      rows[r] = (rows[r] ?? []).map((value, k) => value - factor * (top[k] ?? 0))
    }
  }
  const found = new Array<number>(n).fill(0)
  for (let r = n - 1; r >= 0; r--) {
    let sum = cell(rows, r, n)
    for (let k = r + 1; k < n; k++) sum -= cell(rows, r, k) * (found[k] ?? 0)
    found[r] = sum / cell(rows, r, r)
  }
  return found
}
function cell(rows: readonly (readonly number[])[], r: number, c: number): number {
  return rows[r]?.[c] ?? 0
}
