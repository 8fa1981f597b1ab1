import type { ReformCode, ReformJudgement, ReformPart, ReformPlan, ReformStep } from '../plan/index.js'
import { atMost_F, capacitanceOf, type Capacitance, together } from './charge.js'
import { type Block, lowest_A, withBlock } from './decay.js'
import { charging_A, feedWith_ohm, settling_s } from './feed.js'
import { feed_A, ownCurrent_A, stands } from './figures.js'
import { judge } from './judge.js'
import { stopAtOnce } from './stop-rules.js'
import type { Told } from './told.js'

/**
 * One part under treatment, followed reading by reading. Plain data in, plain data out; logarithms are taken here and never in
 * the sequencer, which is told the judgement and stores it.
 */
export interface PartWatch {
  readonly part: ReformPart
  readonly supply: Reading | null
  readonly meter: Reading | null
  /** Areas under supply and meter since the supply stood at its new volts, V·s. */
  readonly areas: { readonly supply: number; readonly meter: number }
  /** What stood lately: smoothed supply and meter, V. */
  readonly lately: { readonly supply: number; readonly meter: number } | null
  readonly ramp: Ramp | null
  readonly hold: Hold | null
  readonly F: Capacitance | null
  /** The two lowest bounds of its capacitance from rises that found it charged sooner than could be measured, F. */
  readonly mosts_F: readonly number[]
  /** How long the run has waited for this part, in holds that it let end, s. */
  readonly waited_s: number
  /** Readings in a row that break a rule which waits for nothing. */
  readonly breaking: { readonly code: ReformCode; readonly times: number } | null
  /** Verdict given, or given up: nothing more is judged. */
  readonly over: boolean
}
interface Reading {
  readonly V: number
  readonly t_us: number
}
interface Ramp {
  readonly before: { readonly drop_V: number; readonly V: number }
  readonly target_V: number
  /** The last reading of the part's meter that found it at its old volts, or as good as. */
  readonly still: Reading
  /** The supply was read at its new volts. */
  readonly there: boolean
  /** Readings of the part's meter since then, until it has settled: areas begin at the first. */
  readonly path: readonly OnPath[]
}
interface OnPath {
  readonly t_us: number
  readonly meter_V: number
  /** Areas under supply and meter up to here, V·s. */
  readonly supply: number
  readonly meter: number
}
export interface Hold {
  readonly step: number
  readonly of: ReformStep
  readonly target_V: number
  /** The volts stand from here on: charging is over. */
  readonly settled_us: number
  readonly blocks: readonly Block[]
  readonly lowest_A: number | null
  readonly open: Open
  readonly last_V: { readonly V: number; readonly t_us: number } | null
  /** When a judgement is next told without anything new in it, s. */
  readonly tell_s: number
  readonly said: ReformJudgement['act']
}
/** A block being filled: sums of readings since. */
interface Open {
  readonly from_us: number
  readonly supply: number
  readonly supplies: number
  readonly meter: number
  readonly meters: number
}

/** A feed resistor that is measured at the start may be off by all its tolerance until that was done. */
export const watchPart = (part: ReformPart): PartWatch => ({
  part: part.feed_untold === undefined ? part : { ...part, feed_error: part.feed_untold },
  supply: null,
  meter: null,
  areas: { supply: 0, meter: 0 },
  lately: null,
  ramp: null,
  hold: null,
  F: part.measured_F ?? null,
  mosts_F: [],
  waited_s: 0,
  breaking: null,
  over: false,
})

const block_s = 10
/** A reading counts for what stood lately with this time constant, s. */
const lately_s = 3
/** The supply counts as there from this part of its new volts on, and half a volt (read-back is off by less). */
const arrived = 0.005
const nearly = 0.02
/** A part counts as still at its old volts up to this part of what the supply rises. */
const stirring = 0.05

/** The set-point is about to move: what stands now is what the standing current is reckoned from. */
export function beginRamp(watch: PartWatch, target_V: number): PartWatch {
  const { supply, meter, lately, part } = watch
  const known = supply !== null && meter !== null && lately !== null
  return {
    ...watch,
    areas: { supply: 0, meter: 0 },
    ramp: known ? newRamp(stands(part, lately), target_V, meter.t_us) : null,
    hold: null,
    breaking: null,
  }
}

const newRamp = (before: Ramp['before'], target_V: number, t_us: number): Ramp => ({
  before,
  target_V,
  still: { V: before.V, t_us },
  there: false,
  path: [],
})

/** The set-point has arrived: charging dies away, then the hold is judged. */
export function beginHold(
  watch: PartWatch,
  step: number,
  of: ReformStep,
  target_V: number,
  t_us: number,
): PartWatch {
  const settled_us = t_us + Math.round(1e6 * settling_s(watch.part))
  return {
    ...watch,
    hold: {
      step,
      of,
      target_V,
      settled_us,
      blocks: [],
      lowest_A: null,
      open: nothing(settled_us),
      last_V: null,
      tell_s: 60,
      said: 'wait',
    },
  }
}

/** The rail goes down: nothing is judged, and no ramp is under way. */
export const letGo = (watch: PartWatch): PartWatch => ({ ...watch, ramp: null, hold: null, breaking: null })

const nothing = (from_us: number): Open => ({ from_us, supply: 0, supplies: 0, meter: 0, meters: 0 })

/* Copies by name: a reading of the supply is one of every part's, and spreads of so many fields are most of what it costs. */

function seen(
  { part, F, mosts_F, waited_s, breaking, over }: PartWatch,
  now: Pick<PartWatch, 'supply' | 'meter' | 'areas' | 'lately' | 'ramp' | 'hold'>,
): PartWatch {
  const { supply, meter, areas, lately, ramp, hold } = now
  return { part, supply, meter, areas, lately, ramp, hold, F, mosts_F, waited_s, breaking, over }
}

function withHold(
  { part, supply, meter, areas, lately, ramp, F, mosts_F, waited_s, breaking, over }: PartWatch,
  hold: Hold,
): PartWatch {
  return { part, supply, meter, areas, lately, ramp, hold, F, mosts_F, waited_s, breaking, over }
}

function withOpen(hold: Hold, open: Open): Hold {
  const { step, of, target_V, settled_us, blocks, lowest_A, last_V, tell_s, said } = hold
  return { step, of, target_V, settled_us, blocks, lowest_A, open, last_V, tell_s, said }
}

function added({ from_us, supply, supplies, meter, meters }: Open, of: 'supply' | 'meter', V: number): Open {
  return of === 'supply'
    ? { from_us, supply: supply + V, supplies: supplies + 1, meter, meters }
    : { from_us, supply, supplies, meter: meter + V, meters: meters + 1 }
}

export function seeSupply(watch: PartWatch, V: number, t_us: number): PartWatch {
  const { hold, ramp } = watch
  const areas =
    ramp === null || ramp.path.length === 0
      ? watch.areas
      : { meter: watch.areas.meter, supply: watch.areas.supply + under(watch.supply, V, t_us) }
  const arrives = ramp?.there === false && V >= ramp.target_V * (1 - arrived) - 0.5
  return seen(watch, {
    supply: { V, t_us },
    meter: watch.meter,
    areas,
    lately: smoothed(watch, 'supply', V, t_us),
    ramp: arrives ? { ...ramp, there: true } : ramp,
    hold: hold === null || t_us < hold.settled_us ? hold : withOpen(hold, added(hold.open, 'supply', V)),
  })
}

/** A reading of its meter; what there is to be said of it. `left_s`: what the run may still spend on waiting; `beside_W`: heat of its can's other sections. */
export function seeMeter(
  before: PartWatch,
  V: number,
  t_us: number,
  plan: ReformPlan,
  left_s: number,
  beside_W = 0,
): Told {
  const { ramp } = before
  const begun = ramp !== null && ramp.path.length > 0
  const begins = ramp?.there === true && !begun
  const areas = begun
    ? { supply: before.areas.supply, meter: before.areas.meter + under(before.meter, V, t_us) }
    : before.areas
  const onWay = ramp !== null && (begins || begun) && (before.hold === null || t_us < before.hold.settled_us)
  const { hold } = before
  const now = seen(before, {
    // Both areas begin at the first: the supply stands at what it was read at last.
    supply: begins && before.supply !== null ? { V: before.supply.V, t_us } : before.supply,
    meter: { V, t_us },
    areas,
    lately: smoothed(before, 'meter', V, t_us),
    ramp: onWay
      ? { ...ramp, path: [...ramp.path, pointAt(before.supply, areas, begins, V, t_us)] }
      : ramp === null || ramp.path.length > 0
        ? ramp
        : waiting(before, ramp, V, t_us),
    hold,
  })
  if (now.over || now.supply === null) return { watch: now, told: null }
  const atOnce = stopAtOnce(now, plan, t_us, beside_W)
  if (atOnce.told !== null) return { watch: { ...atOnce.watch, over: true }, told: atOnce.told }
  if (hold === null || t_us < hold.settled_us) return { watch: atOnce.watch, told: null }
  return judge(filled(atOnce.watch, hold, V, t_us), plan, t_us, left_s)
}

/** Before it is read on its way: whether this reading still found it where it was. */
function waiting({ part, supply }: PartWatch, ramp: Ramp, meter_V: number, t_us: number): Ramp {
  if (supply === null) return ramp
  const { V } = stands(part, { supply: supply.V, meter: meter_V })
  const { drop_V, V: old_V } = ramp.before
  const rises_V = ramp.target_V - drop_V - old_V
  return V - old_V <= stirring * rises_V ? { ...ramp, still: { V, t_us } } : ramp
}

function pointAt(
  supply: Reading | null,
  areas: PartWatch['areas'],
  first: boolean,
  meter_V: number,
  t_us: number,
): OnPath {
  const since = supply === null || first ? 0 : (supply.V * (t_us - supply.t_us)) / 1e6
  return { t_us, meter_V, supply: areas.supply + since, meter: areas.meter }
}

/** Area under a straight line from the reading before, V·s. */
const under = (before: Reading | null, V: number, t_us: number): number =>
  before === null ? 0 : (0.5 * (before.V + V) * (t_us - before.t_us)) / 1e6

function smoothed(watch: PartWatch, which: 'supply' | 'meter', V: number, t_us: number): PartWatch['lately'] {
  const last = which === 'supply' ? watch.supply : watch.meter
  const lately = watch.lately ?? { supply: watch.supply?.V ?? V, meter: watch.meter?.V ?? V }
  const s = last === null ? lately_s : (t_us - last.t_us) / 1e6
  const share = s / (s + lately_s)
  const next = lately[which] + share * (V - lately[which])
  return which === 'supply' ? { supply: next, meter: lately.meter } : { supply: lately.supply, meter: next }
}

/** The reading in its block; a whole one becomes a leakage, and the first of a hold a capacitance. */
function filled(watch: PartWatch, hold: Hold, V: number, t_us: number): PartWatch {
  const { part, ramp } = watch
  const open = added(hold.open, 'meter', V)
  const whole = t_us - open.from_us >= block_s * 1e6 && open.supplies > 0
  if (!whole) return withHold(watch, withOpen(hold, open))
  const mean = { supply: open.supply / open.supplies, meter: open.meter / open.meters }
  const { drop_V, V: part_V } = stands(part, mean)
  const middle_us = (open.from_us + t_us) / 2
  const rise = hold.blocks.length === 0 ? ramp : null
  const stand = { drop_V, V: part_V }
  const F = rise === null ? watch.F : together(watch.F, ofRamp(watch, rise, stand))
  const mosts_F = rise === null ? watch.mosts_F : withMost(watch.mosts_F, mostOfRamp(watch, rise, stand))
  const slope =
    hold.last_V === null ? 0 : (1e6 * (part_V - hold.last_V.V)) / Math.max(1, middle_us - hold.last_V.t_us)
  const leak_A = feed_A(part, drop_V) - ownCurrent_A(part, part_V) - charging_A(F?.F ?? part.F, slope)
  const block: Block = {
    t_s: (middle_us - hold.settled_us) / 1e6,
    A: leak_A,
    long_s: (t_us - open.from_us) / 1e6,
  }
  const blocks = withBlock(hold.blocks, block)
  return {
    ...watch,
    F,
    mosts_F,
    hold: {
      ...hold,
      blocks,
      lowest_A: lowest_A(hold.lowest_A, blocks),
      open: nothing(t_us),
      last_V: { V: part_V, t_us: middle_us },
    },
  }
}

function ofRamp(
  { part }: PartWatch,
  ramp: Ramp,
  after: { readonly drop_V: number; readonly V: number },
): Capacitance | null {
  const at = (meter_V: number): number => stands(part, { supply: after.V + after.drop_V, meter: meter_V }).V
  const [first] = ramp.path
  if (first === undefined) return null
  const from_V = at(first.meter_V)
  // Charge goes in until a fiftieth is left; after that only leakage would be added up.
  const near_V = after.V - nearly * (after.V - from_V)
  const last = ramp.path.find(({ meter_V }) => at(meter_V) >= near_V) ?? ramp.path.at(-1)
  if (last === undefined || last === first) return null
  const rest_Vs = last.supply - last.meter
  const areas =
    part.across === 'part'
      ? { drop_Vs: rest_Vs, part_Vs: last.meter }
      : { drop_Vs: last.meter, part_Vs: rest_Vs }
  const read_V = part.meter_error.resolution
  return capacitanceOf(
    {
      s: (last.t_us - first.t_us) / 1e6,
      from_V,
      to_V: at(last.meter_V),
      meter_ohm: part.across === 'part' ? part.meter_ohm : null,
      ...areas,
      before: ramp.before,
      after,
    },
    feedWith_ohm(part),
    part.feed_error,
    read_V,
  )
}

/**
 * How far the times of two readings may be off, s: of one meter by how long its answers take; where the supply's own volts are in
 * them, also by how long it shows what stood before (common practice, no source).
 */
const lags_s = { part: 0.1, feed: 0.7 } as const

/** No larger than this, by how near to its new volts the first reading found it. */
function mostOfRamp(
  { part }: PartWatch,
  ramp: Ramp,
  after: { readonly drop_V: number; readonly V: number },
): number | null {
  const [first] = ramp.path
  if (first === undefined) return null
  return atMost_F(
    {
      s: (first.t_us - ramp.still.t_us) / 1e6 + lags_s[part.across],
      from_V: ramp.still.V,
      seen_V: stands(part, { supply: after.V + after.drop_V, meter: first.meter_V }).V,
      after,
    },
    feedWith_ohm(part),
    part.meter_error.resolution,
  )
}

/** The two lowest. */
const withMost = (before: readonly number[], most_F: number | null): readonly number[] =>
  most_F === null ? before : [...before, most_F].sort((a, b) => a - b).slice(0, 2)
