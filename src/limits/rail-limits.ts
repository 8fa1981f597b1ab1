import { type Rail, saidFromMemory } from '../equipment/index.js'
import { formatQuantity, type Unit } from '../quantities/index.js'
import { fitLogNormal, logNormalPoint, type points, quantile } from './spread.js'
import type {
  Doubt,
  Guard,
  HeaterVolts,
  LimitProblem,
  RailBench,
  RailLimits,
  RatingWatch,
  Reason,
} from './types.js'

/** What is known of a rail's current at one set-point, however it was found. */
export interface Expectation {
  readonly expected_A: number
  readonly text: string
  readonly source: string
  readonly unverified?: Doubt | undefined
  readonly spread:
    | {
        readonly kind: 'samples'
        readonly A: readonly number[]
        /** Another healthy state of the same sets: the band is the union of both. */
        readonly or_A?: readonly number[]
        readonly text: string
        readonly source: string
      }
    | {
        readonly kind: 'bounds'
        readonly lower_A: number
        readonly upper_A: number
        readonly text: string
        readonly source: string
      }
  readonly guards: readonly Guard[]
  readonly charging_F: number
  /** What each single tube takes off the rail when missing. */
  readonly shares: readonly { readonly tube: string; readonly A: number }[]
  /** Tubes that lead the rail, and where each would pass its bare rating. */
  readonly ratings?: readonly RatingWatch[]
  /** Heater rails: volts of each heater. */
  readonly heaters?: readonly HeaterVolts[]
  /** Nothing says what the rail should draw: the limit stated by hand is all there is. */
  readonly manual_alone?: true
}

export interface Standing {
  readonly rail: Rail
  readonly bench: RailBench
  readonly at_V: number
  /** Slew of the raise that leads here; 0 where the rail only stands. */
  readonly slew_V_per_s: number
  /** A ceiling the profile states for this rail, or null. */
  readonly profile_ceiling_A: number | null
}

const ours = "slowglow's own choice, no published source"

/** Smallest room around a limit: 2 mA, three steps of the read-back, or 3 % of expected, whichever is most. */
export function floor_A(expected_A: number, resolution_A: number): number {
  return Math.max(0.002, 3 * resolution_A, 0.03 * expected_A)
}

/** Limits of one rail at one set-point, each with its reason. */
export function railLimits(
  standing: Standing,
  from: Expectation,
): { limits: RailLimits; problems: LimitProblem[] } {
  const { rail, bench, at_V } = standing
  const { expected_A } = from
  const problems: LimitProblem[] = []
  const because: Reason[] = []
  const say = (
    limit: Reason['limit'],
    value: number,
    unit: Reason['unit'],
    text: string,
    source: string,
    unverified?: Doubt,
  ): void => {
    because.push(
      marked({ limit, value, unit, text: `${limit} ${show(value, unit)}: ${text}`, source }, unverified),
    )
  }
  if (from.manual_alone === true)
    because.push({
      limit: 'expected',
      value: expected_A,
      unit: 'A',
      text: `expected: ${from.text}`,
      source: from.source,
    })
  else say('expected', expected_A, 'A', from.text, from.source, from.unverified)

  const floor = floor_A(expected_A, bench.resolution_A)
  const band = bandOf(from, expected_A)
  because.push({
    limit: 'band',
    value: band.upper_A,
    unit: 'A',
    text: `band ${show(band.lower_A, 'A')} to ${show(band.upper_A, 'A')}: ${band.text}`,
    source: band.source,
  })

  const ceiling = lowestCeiling(standing, from, band.upper_A)
  say('ceiling', ceiling.ceiling_A, 'A', ceiling.text, ceiling.source, ceiling.unverified)

  const statistical_A = band.high_A + floor
  const manual = rail.manual
  const wished_A = manual === undefined ? statistical_A : Math.min(manual.trip_A, statistical_A)
  const trip_A = Math.min(wished_A, ceiling.ceiling_A)
  const floorWords = `${show(floor, 'A')} (the most of 2 mA, 3 read-back steps, 3 % of expected)`
  const byHand = manual !== undefined && manual.trip_A <= statistical_A && trip_A >= manual.trip_A
  say(
    'trip',
    trip_A,
    'A',
    (trip_A < wished_A
      ? `the ceiling is lower than what a healthy set may reach (${show(statistical_A, 'A')}): ${ceiling.text}`
      : byHand
        ? `stated by hand: ${manual.reason}`
        : `${band.highWords} ${show(band.high_A, 'A')}, and ${floorWords} of room`) +
      (manual === undefined || byHand
        ? ''
        : `; the ${show(manual.trip_A, 'A')} stated by hand (${manual.reason}) is higher and not in force`),
    trip_A < wished_A ? ceiling.source : byHand ? 'stated by hand in the set file' : band.source,
    trip_A < wished_A ? ceiling.unverified : undefined,
  )

  const stated = because.at(-1)
  if (byHand && stated !== undefined) because[because.length - 1] = { ...stated, by_hand: true }

  const ask_A = Math.max(0, Math.min(band.low_A - floor, band.lower_A - floor))
  say('ask', ask_A, 'A', `${band.lowWords} ${show(band.low_A, 'A')}, less ${floorWords}`, band.source)

  const charge_A = from.charging_F * standing.slew_V_per_s
  const supply_limit_A = supplyLimit(bench, trip_A, charge_A, rail.role === 'heater', band.upper_A)
  say(
    'supply limit',
    supply_limit_A,
    'A',
    supplyWords(rail.role === 'heater', charge_A, from, standing),
    ours,
  )

  const over = overVoltage(bench, at_V, rail.max_V.value)
  const over_voltage_V = over.level_V
  say(
    'over-voltage',
    over_voltage_V,
    'V',
    (bench.over_voltage
      ? `set-point ${show(at_V, 'V')} and the room the supply needs above it (${show(bench.over_voltage_margin_V, 'V')}, at least 2 % and 3 steps)`
      : 'the supply has no over-voltage level: slowglow judges the volts itself') +
      (over.capped
        ? `; held to the rail's own most, ${show(rail.max_V.value, 'V')} (${rail.max_V.source})`
        : ''),
    'the bench file',
  )

  problems.push(...wouldStopHealthy(standing, from, band, { trip_A, ceiling }))
  return {
    limits: {
      at_V,
      expected_A,
      lower_A: band.lower_A,
      upper_A: band.upper_A,
      ask_A,
      trip_A,
      ceiling_A: ceiling.ceiling_A,
      charge_A,
      supply_limit_A,
      over_voltage_V,
      because,
      ...(manual !== undefined && {
        manual: {
          trip_A: manual.trip_A,
          reason: manual.reason,
          in_force: byHand,
          alone: from.manual_alone === true,
        },
      }),
      sees: seenWords(from, band.upper_A - band.lower_A),
      ...inside(from.ratings ?? [], trip_A),
    },
    problems,
  }
}

/** Ratings that can be passed without a trip. */
function inside(ratings: readonly RatingWatch[], trip_A: number): Pick<RailLimits, 'ratings'> {
  const within = ratings.filter(({ at_A }) => at_A < trip_A)
  return within.length > 0 ? { ratings: within } : {}
}

/** A figure that somebody remembered is never printed as one that was looked up. */
function marked(reason: Reason, unverified: Doubt | undefined): Reason {
  if (unverified === undefined) return reason
  const words = unverified === 'figure' ? 'unverified' : 'its rating system is unverified'
  return { ...reason, text: `${reason.text}; ${words}, check your manual`, unverified: true }
}

interface Band {
  readonly lower_A: number
  readonly upper_A: number
  /** 0.1 % and 99.9 % points. */
  readonly low_A: number
  readonly high_A: number
  readonly lowWords: string
  readonly highWords: string
  readonly text: string
  readonly source: string
}

function bandOf(from: Expectation, expected_A: number): Band {
  const { spread } = from
  if (spread.kind === 'bounds') {
    const { lower_A, upper_A, text, source } = spread
    return {
      lower_A,
      upper_A,
      low_A: lower_A,
      high_A: upper_A,
      lowWords: 'the lower end of the band,',
      highWords: 'the upper end of the band,',
      text,
      source,
    }
  }
  const states = spread.or_A === undefined ? [spread.A] : [spread.A, spread.or_A]
  const lower_A = Math.min(expected_A, ...states.map((A) => quantile(A, 0.05)))
  const upper_A = Math.max(expected_A, ...states.map((A) => quantile(A, 0.95)))
  const shapes = states.map(fitLogNormal)
  const ends = (point: keyof typeof points): number[] =>
    shapes.map((shape) => (shape === null ? 0 : logNormalPoint(shape, point)))
  return {
    lower_A,
    upper_A,
    low_A: Math.min(lower_A, ...ends('0.1 %')),
    high_A: Math.max(upper_A, ...ends('99.9 %')),
    lowWords: '999 of 1000 healthy sets stay above',
    highWords: '999 of 1000 healthy sets stay below',
    text: spread.text,
    source: spread.source,
  }
}

function lowestCeiling(standing: Standing, from: Expectation, upper_A: number): Guard {
  const { rail, bench, profile_ceiling_A } = standing
  const all: Guard[] = [...from.guards]
  if (Number.isFinite(bench.max_A)) {
    all.push({
      part: bench.name,
      ceiling_A: bench.max_A,
      text: 'the most its supply can give',
      source: 'the bench file',
      remedy: 'Use a supply that gives more, or a profile that stops lower.',
    })
  }
  if (rail.feeds.fuse_A !== undefined) {
    const text = `the lead fuse of ${show(rail.feeds.fuse_A, 'A')}`
    all.push({
      part: 'lead fuse',
      ceiling_A: rail.feeds.fuse_A,
      text,
      source: 'the set file',
      remedy: 'Fit a larger fuse and state it, or use a profile that stops lower.',
    })
  }
  if (rail.winding !== undefined) {
    all.push({
      part: 'winding',
      ceiling_A: rail.winding.rated_A,
      text: 'the winding that all of this rail flows through is rated no higher',
      source: rail.winding.source,
      ...(saidFromMemory(rail.winding.source) && { unverified: 'figure' as const }),
      remedy: 'Stop the profile lower, or correct the rating of the winding.',
    })
  }
  if (profile_ceiling_A !== null) {
    all.push({
      part: 'profile',
      ceiling_A: profile_ceiling_A,
      text: 'set by the profile',
      source: 'the profile',
      remedy: 'Raise the ceiling in the profile or leave it out, or stop lower.',
    })
  }
  // Where nothing in the file bounds the rail, twice what a healthy set may draw does.
  const plain = 2 * upper_A + floor_A(upper_A, bench.resolution_A)
  all.push({
    part: bench.name,
    ceiling_A: plain,
    text: 'twice the most that a healthy set draws',
    source: ours,
  })
  return all.reduce((lowest, guard) => (guard.ceiling_A < lowest.ceiling_A ? guard : lowest))
}

/**
 * A plan that stops healthy sets is refused: expected, or where healthy sets were drawn their 95 % point, above a limit.
 * The upper end of a band that is only our bound (a set known by its rails) above a limit is said, not refused: such a set
 * may well stay below.
 */
function wouldStopHealthy(
  { rail, bench, at_V }: Standing,
  from: Expectation,
  band: Band,
  { trip_A, ceiling }: { readonly trip_A: number; readonly ceiling: Guard },
): LimitProblem[] {
  const lowest_A = Math.min(trip_A, ceiling.ceiling_A)
  const must = from.expected_A > lowest_A
  if (!must && band.upper_A <= lowest_A) return []
  const byHand = rail.manual !== undefined && rail.manual.trip_A < ceiling.ceiling_A
  const limit = byHand
    ? `the trip of ${show(rail.manual.trip_A, 'A')} stated by hand`
    : `the ceiling of ${show(ceiling.ceiling_A, 'A')}: ${ceiling.text} (${ceiling.source})`
  const draws = must
    ? `${bench.name} should draw ${show(from.expected_A, 'A')} at ${show(at_V, 'V')} (${from.text})`
    : `A healthy set may draw ${show(band.upper_A, 'A')} from ${bench.name} at ${show(at_V, 'V')}`
  const certain = must || from.spread.kind === 'samples'
  return [
    {
      severity: certain ? 'error' : 'warning',
      what: `${draws}, more than ${limit}. ${certain ? 'The run would stop a healthy set.' : 'The run would stop such a set.'}`,
      remedy: byHand
        ? 'Raise it, or leave it out: the computed trip is then in force.'
        : (ceiling.remedy ?? 'Stop the profile lower, or correct the set file.'),
    },
  ]
}

/**
 * HT and others: just above the trip, so that slowglow speaks first and the supply holds what slowglow would miss. Heaters:
 * just below it, so that the planned soft start in current limit is no trip, and above what hot heaters draw.
 */
function supplyLimit(
  bench: RailBench,
  trip_A: number,
  charge_A: number,
  heater: boolean,
  upper_A: number,
): number {
  const error = bench.accuracy_A.of_reading * trip_A + bench.accuracy_A.plus
  if (heater) {
    const below = Math.max(upper_A, trip_A - error - bench.resolution_A)
    return settable(bench, Math.min(below, trip_A), 'down')
  }
  return settable(bench, trip_A + charge_A + Math.max(2 * bench.resolution_A, 0.02 * trip_A, error), 'up')
}

function settable(bench: RailBench, amps: number, way: 'up' | 'down'): number {
  const steps = amps / bench.step_A
  const whole = (way === 'up' ? Math.ceil(steps - 1e-9) : Math.floor(steps + 1e-9)) * bench.step_A
  return Math.min(bench.max_A, Math.max(bench.min_A, tidy(whole)))
}

function supplyWords(heater: boolean, charge_A: number, from: Expectation, standing: Standing): string {
  if (standing.bench.class !== 'programmed')
    return 'slowglow cannot set it: set it by hand where your supply has a limit'
  if (heater)
    return 'just below the trip: cold heaters draw several times their current and are held here while they warm'
  const charging =
    charge_A > 0
      ? `, and ${show(charge_A, 'A')} to charge ${formatQuantity(short(from.charging_F), 'F')} at ${show(standing.slew_V_per_s, 'V/s')}`
      : ''
  return `just above the trip${charging}`
}

/**
 * Room for the supply above the set-point, but never beyond what the rail may carry at most: a supply that wants more room than
 * there is may then trip by itself, which harms nothing. Three steps stay in any case, or it would trip on its own noise.
 */
function overVoltage(
  bench: RailBench,
  at_V: number,
  most_V: number,
): { readonly level_V: number; readonly capped: boolean } {
  const room = Math.max(bench.over_voltage_margin_V, 0.02 * at_V, 3 * bench.resolution_V)
  const step = bench.resolution_V > 0 ? bench.resolution_V : 0.1
  const up = (V: number): number => tidy(Math.ceil(V / step - 1e-9) * step)
  const wanted_V = up(at_V + room + bench.resolution_V)
  const least_V = up(at_V + 3 * step)
  const cap_V = Math.max(least_V, tidy(Math.floor(most_V / step + 1e-9) * step))
  return wanted_V > cap_V ? { level_V: cap_V, capped: true } : { level_V: wanted_V, capped: false }
}

/** What a missing tube would show as here, and which would not: for certain is more than the whole width of the band. */
function seenWords(from: Expectation, room_A: number): string | null {
  const shares = from.shares.filter(({ A }) => A > 0).sort((a, b) => a.A - b.A)
  if (shares.length === 0) return null
  const smallest = shares.find(({ A }) => A > room_A)
  const hidden = shares.filter(({ A }) => A <= room_A).map(({ tube }) => tube)
  const seen =
    smallest === undefined
      ? 'no single missing tube shows in this current for certain'
      : `the smallest single loss that shows for certain is ${smallest.tube} (${show(smallest.A, 'A')})`
  return hidden.length === 0 ? seen : `${seen}; may hide: ${hidden.join(', ')}`
}

/** Binary fractions of decimal steps leave tails like 0.30000000000000004, which would be printed and sent. */
function tidy(value: number): number {
  return Number(value.toPrecision(12))
}

function short(value: number): number {
  return Number(value.toPrecision(3))
}

/** A figure for people: three digits. */
export function show(value: number, unit: Unit): string {
  return formatQuantity(short(value), unit)
}
