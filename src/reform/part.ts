import type {
  ReformCode,
  ReformFigures,
  ReformJudgement,
  ReformPart,
  ReformPlan,
  ReformStep,
} from '../plan/index.js'
import { capacitanceOf, type Capacitance, together } from './charge.js'
import {
  type Block,
  forecast,
  isClimbing,
  isRising,
  lowest_A,
  medianBetween,
  now_A,
  withBlock,
} from './decay.js'
import { feedWith_ohm, resolves_A, settling_s } from './feed.js'
import { overTarget } from './limits.js'
import { verdictOf } from './verdict.js'

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
interface Hold {
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
  breaking: null,
  over: false,
})

const block_s = 10
/** A reading counts for what stood lately with this time constant, s. */
const lately_s = 3
const inARow = 3
/** The supply counts as there from this part of its new volts on, and half a volt (read-back is off by less). */
const arrived = 0.005
const nearly = 0.02

/** The set-point is about to move: what stands now is what the standing current is reckoned from. */
export function beginRamp(watch: PartWatch, target_V: number): PartWatch {
  const { supply, meter, lately, part } = watch
  const known = supply !== null && meter !== null && lately !== null
  return {
    ...watch,
    areas: { supply: 0, meter: 0 },
    ramp: known ? { before: stands(part, lately), target_V, there: false, path: [] } : null,
    hold: null,
    breaking: null,
  }
}

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

/** Drop across the feed resistor and volts across the part. */
export function stands(
  { across }: ReformPart,
  { supply, meter }: { readonly supply: number; readonly meter: number },
): { readonly drop_V: number; readonly V: number } {
  return across === 'part' ? { drop_V: supply - meter, V: meter } : { drop_V: meter, V: supply - meter }
}

/* Copies by name: a reading of the supply is one of every part's, and spreads of so many fields are most of what it costs. */

function seen(
  { part, F, breaking, over }: PartWatch,
  now: Pick<PartWatch, 'supply' | 'meter' | 'areas' | 'lately' | 'ramp' | 'hold'>,
): PartWatch {
  const { supply, meter, areas, lately, ramp, hold } = now
  return { part, supply, meter, areas, lately, ramp, hold, F, breaking, over }
}

function withHold(
  { part, supply, meter, areas, lately, ramp, F, breaking, over }: PartWatch,
  hold: Hold,
): PartWatch {
  return { part, supply, meter, areas, lately, ramp, hold, F, breaking, over }
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

/** A reading of its meter; what there is to be said of it. `left_s`: what the run may still spend on waiting. */
export function seeMeter(
  before: PartWatch,
  V: number,
  t_us: number,
  plan: ReformPlan,
  left_s: number,
): { readonly watch: PartWatch; readonly told: ReformJudgement | null } {
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
    ramp: onWay ? { ...ramp, path: [...ramp.path, pointAt(before.supply, areas, begins, V, t_us)] } : ramp,
    hold,
  })
  if (now.over || now.supply === null) return { watch: now, told: null }
  const atOnce = stopAtOnce(now, plan, t_us)
  if (atOnce.told !== null) return { watch: { ...atOnce.watch, over: true }, told: atOnce.told }
  if (hold === null || t_us < hold.settled_us) return { watch: atOnce.watch, told: null }
  return judge(filled(atOnce.watch, hold, V, t_us), plan, t_us, left_s)
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

/** What waits for no estimate: a short, a part the wrong way round, heat in the can. */
function stopAtOnce(
  watch: PartWatch,
  plan: ReformPlan,
  t_us: number,
): { readonly watch: PartWatch; readonly told: ReformJudgement | null } {
  const { hold, supply, meter, part } = watch
  if (supply === null || meter === null) return { watch, told: null }
  const { drop_V, V } = stands(part, { supply: supply.V, meter: meter.V })
  const feed_A = drop_V / feedWith_ohm(part)
  const settled = hold !== null && t_us >= hold.settled_us
  let broken: { code: ReformCode; text: string } | null = null
  if (V < -0.5)
    broken = {
      code: 'reversed',
      text: `it stands at ${V.toFixed(1)} V: it is connected the wrong way round, or its meter is`,
    }
  else if (settled && V < 0.2 * hold.target_V && hold.target_V > 5)
    broken = {
      code: 'not-following',
      text: `with ${hold.target_V.toFixed(0)} V on its feed resistor it stands at ${V.toFixed(1)} V: shorted, or not connected as the hook-up sheet says`,
    }
  else if (settled && V * feed_A > plan.heat_W)
    broken = {
      code: 'heat',
      text: `it turns ${(V * feed_A).toFixed(2)} W into heat, and ${plan.heat_W.toFixed(2)} W is what its can may take`,
    }
  if (broken === null)
    return { watch: watch.breaking === null ? watch : { ...watch, breaking: null }, told: null }
  const times = watch.breaking?.code === broken.code ? watch.breaking.times + 1 : 1
  const counted = { ...watch, breaking: { code: broken.code, times } }
  if (times < inARow) return { watch: counted, told: null }
  const leak_A = Math.max(0, feed_A - ownCurrent_A(part, V))
  return { watch: counted, told: givenUp(counted, plan, { V, leak_A, held_s: held_s(hold, t_us) }, broken) }
}

export const held_s = (hold: Hold | null, t_us: number): number =>
  hold === null ? 0 : Math.max(0, (t_us - hold.settled_us) / 1e6)

/** What a meter across the part takes past it. */
export const ownCurrent_A = ({ across, meter_ohm }: ReformPart, V: number): number =>
  across === 'part' ? V / meter_ohm : 0

/** The reading in its block; a whole one becomes a leakage, and the first of a hold a capacitance. */
function filled(watch: PartWatch, hold: Hold, V: number, t_us: number): PartWatch {
  const { part, ramp } = watch
  const open = added(hold.open, 'meter', V)
  const whole = t_us - open.from_us >= block_s * 1e6 && open.supplies > 0
  if (!whole) return withHold(watch, withOpen(hold, open))
  const mean = { supply: open.supply / open.supplies, meter: open.meter / open.meters }
  const { drop_V, V: part_V } = stands(part, mean)
  const ohm = feedWith_ohm(part)
  const middle_us = (open.from_us + t_us) / 2
  const F =
    ramp !== null && hold.blocks.length === 0
      ? together(watch.F, ofRamp(watch, ramp, { drop_V, V: part_V }))
      : watch.F
  const slope =
    hold.last_V === null ? 0 : (1e6 * (part_V - hold.last_V.V)) / Math.max(1, middle_us - hold.last_V.t_us)
  const leak_A = drop_V / ohm - ownCurrent_A(part, part_V) - (F?.F ?? part.F) * slope
  const block: Block = {
    t_s: (middle_us - hold.settled_us) / 1e6,
    A: leak_A,
    long_s: (t_us - open.from_us) / 1e6,
  }
  const blocks = withBlock(hold.blocks, block)
  return {
    ...watch,
    F,
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

/** At the end of a block: go on, wait, or give up. */
function judge(
  watch: PartWatch,
  plan: ReformPlan,
  t_us: number,
  left_s: number,
): { readonly watch: PartWatch; readonly told: ReformJudgement | null } {
  const { hold, part } = watch
  const last = hold?.blocks.at(-1)
  // Only a block that has just been closed brings anything new.
  if (hold === null || last === undefined || hold.open.meters > 0) return { watch, told: null }
  const t_s = held_s(hold, t_us)
  const leak_A = now_A(hold.blocks) ?? last.A
  const V = hold.last_V?.V ?? 0
  const at = { V, leak_A, held_s: t_s }
  const noise_A = (part.meter_error.resolution + plan.supply.resolution) / feedWith_ohm(part)
  if (isRising(hold.blocks, hold.lowest_A, part.limit.amps, noise_A))
    return end(
      watch,
      givenUp(watch, plan, at, {
        code: 'rising',
        text: `its leakage fell to ${mA(hold.lowest_A ?? 0)} and has risen to ${mA(leak_A)} with the volts unchanged: the oxide is breaking down`,
      }),
    )
  if (t_s >= overTarget.after_s && leak_A > overTarget.factor * part.limit.amps)
    return end(
      watch,
      givenUp(watch, plan, at, {
        code: 'over-target',
        text: `after ${hours(t_s)} at ${V.toFixed(0)} V it still leaks ${mA(leak_A)}, more than ${overTarget.factor} times the ${mA(part.limit.amps)} it is held against`,
      }),
    )
  if (hold.of.what === 're-test') return reTest(watch, hold, plan, at)
  const enough_A = enough(part, plan, hold)
  const ahead = forecast(hold.blocks, enough_A)
  // A leakage that climbs where it should fall is looked at for longer, however small.
  const done = t_s >= hold.of.least_s && leak_A <= enough_A && !isClimbing(hold.blocks, noise_A)
  const longest =
    hold.of.what === 'top' && t_s >= hold.of.least_s && (ahead === null || t_s + left_s < ahead.latest_s)
  if (done || longest) {
    const reach_V = hold.target_V + plan.rung_V * rungs(leak_A / Math.max(enough_A, 1e-12))
    return say(
      watch,
      hold,
      {
        ...base(watch, plan, at),
        act: 'go on',
        reach_V,
        text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: go on`,
      },
      t_s,
    )
  }
  if (t_s >= overTarget.after_s && hold.of.what !== 'top' && ahead !== null && ahead.soonest_s > t_s + left_s)
    return end(
      watch,
      givenUp(watch, plan, at, {
        code: 'stalled',
        text: `after ${hours(t_s)} at ${V.toFixed(0)} V it leaks ${mA(leak_A)}; at best it would come to ${mA(enough_A)} after ${hours(ahead.soonest_s)}, and the run has ${hours(left_s)} left`,
      }),
    )
  if (t_s < hold.tell_s) return { watch, told: null }
  return say(
    watch,
    hold,
    {
      ...base(watch, plan, at),
      act: 'wait',
      text: `${mA(leak_A)} at ${V.toFixed(0)} V after ${hours(t_s)}: wait${ahead === null || leak_A <= enough_A ? '' : `, expected at ${mA(enough_A)} after ${hours(ahead.soonest_s)} to ${hours(ahead.latest_s)}`}`,
    },
    t_s,
  )
}

/** What is low enough to go higher: the target in proportion to the volts, three tenths of it at least (our choice). */
export function enough({ limit }: ReformPart, plan: ReformPlan, { of, target_V }: Hold): number {
  if (of.what === 'top') return 0.7 * limit.amps
  return limit.amps * Math.max(0.3, Math.min(1, target_V / plan.top_V))
}

/** Steps are as large as the leakage allows: one of the ladder, or up to three where next to nothing flows (our choice). */
export function rungs(part: number): number {
  if (part < 0.1) return 3
  return part < 0.3 ? 2 : 1
}

function reTest(
  watch: PartWatch,
  hold: Hold,
  plan: ReformPlan,
  at: { readonly V: number; readonly leak_A: number; readonly held_s: number },
): { readonly watch: PartWatch; readonly told: ReformJudgement | null } {
  const { after_s } = watch.part.limit
  if (at.held_s < Math.max(after_s, hold.of.least_s)) return { watch, told: null }
  const leak_A = medianBetween(hold.blocks, after_s - 60, after_s + 30) ?? at.leak_A
  const read = { ...at, leak_A }
  const found = verdictOf(watch.part, plan, figuresOf(watch, plan, read))
  return end(watch, {
    ...base(watch, plan, read),
    act: 'go on',
    reach_V: hold.target_V,
    verdict: found.verdict,
    text: found.text,
  })
}

export function givenUp(
  watch: PartWatch,
  plan: ReformPlan,
  at: { readonly V: number; readonly leak_A: number; readonly held_s: number },
  { code, text }: { readonly code: ReformCode; readonly text: string },
): ReformJudgement {
  const wiring = code === 'reversed'
  return {
    ...base(watch, plan, at),
    act: 'give up',
    reach_V: 0,
    code,
    verdict: wiring ? 'not judged' : 'replace',
    text: `given up at ${(watch.hold?.target_V ?? at.V).toFixed(0)} V, because ${text}`,
  }
}

export function base(
  watch: PartWatch,
  plan: ReformPlan,
  at: { readonly V: number; readonly leak_A: number; readonly held_s: number },
): Omit<ReformJudgement, 'act' | 'text'> {
  return {
    part: watch.part.name,
    step: watch.hold?.step ?? 0,
    reach_V: watch.hold?.target_V ?? 0,
    verdict: null,
    code: null,
    figures: figuresOf(watch, plan, at),
  }
}

export function figuresOf(
  { part, F, hold }: PartWatch,
  plan: ReformPlan,
  { V, leak_A, held_s }: { readonly V: number; readonly leak_A: number; readonly held_s: number },
): ReformFigures {
  const ahead = hold === null ? null : forecast(hold.blocks, enough(part, plan, hold))
  return {
    volts: V,
    leak_A,
    held_s,
    F: F?.F ?? null,
    F_error: F?.error_F ?? null,
    limit_A: part.limit.amps,
    resolves_A: resolves_A(part, plan.supply, V, leak_A),
    slope: ahead?.slope ?? null,
    soonest_s: ahead?.soonest_s ?? null,
    latest_s: ahead?.latest_s ?? null,
  }
}

const end = (
  watch: PartWatch,
  told: ReformJudgement,
): { readonly watch: PartWatch; readonly told: ReformJudgement } => ({
  watch: { ...watch, over: true },
  told,
})

/** Told when it changes, else ever more seldom: a curve of some forty points, however long the hold. */
function say(
  watch: PartWatch,
  hold: Hold,
  told: ReformJudgement,
  t_s: number,
): { readonly watch: PartWatch; readonly told: ReformJudgement | null } {
  if (told.act === hold.said && t_s < hold.tell_s) return { watch, told: null }
  const tell_s = Math.max(60, 1.25 * t_s)
  return { watch: { ...watch, hold: { ...hold, tell_s, said: told.act } }, told }
}

export const mA = (amps: number): string =>
  Math.abs(amps) >= 1e-3 ? `${(1e3 * amps).toFixed(2)} mA` : `${(1e6 * amps).toFixed(0)} µA`

export const hours = (s: number): string =>
  s < 5400 ? `${Math.max(1, Math.round(s / 60))} min` : s > 1e7 ? 'months' : `${(s / 3600).toFixed(1)} h`
