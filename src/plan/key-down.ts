import type { Bench } from '../bench/index.js'
import {
  drivenStages,
  figuresOf,
  type Equipment,
  type ModeName,
  plateRailOf,
  type RailName,
  type StageInMode,
} from '../equipment/index.js'
import { low_V } from './discharge.js'
import { isHot } from './stages.js'
import { type LimitProblem, show } from '../limits/index.js'
import type { KeyDown, Step, TimeLimit } from './types.js'

/** The key held down: where the power goes, and for how long. */

/** ICAS: on for no more than five minutes, then off as long (from memory: transmitting tube manuals). */
export const intermittent_s = 300

/**
 * How long the key may be down in a mode, by each rail that feeds a stage in intermittent duty: nothing where every stage is
 * rated for continuous duty. Where nothing tells which rail feeds a stage, each hot one may.
 */
export function keyDownLimits(equipment: Equipment, mode: ModeName): TimeLimit[] {
  const hot = Object.keys(equipment.rails).filter((name) => isHot(equipment, name))
  const onRail = new Map<RailName, StageInMode[]>()
  for (const of of drivenStages(equipment, mode)) {
    if (of.stage.duty !== 'ICAS') continue
    const own = plateRailOf(equipment, of.tube)
    for (const rail of own === null || !hot.includes(own) ? hot : [own])
      onRail.set(rail, [...(onRail.get(rail) ?? []), of])
  }
  return [...onRail].map(([rail, stages]) => ({
    name: onRail.size === 1 ? `${mode}, ICAS` : `${mode}, ICAS on ${rail}`,
    rail,
    above_V: low_V,
    s: intermittent_s,
    text: `${stages.map(({ tube, type }) => `${tube} (${type})`).join(', ')} in intermittent duty (ICAS): the key is down no longer than ${show(intermittent_s, 's')}, and then up as long`,
    source: 'from memory: ratings for intermittent duty, transmitting tube manuals',
  }))
}

/** Whether these steps held a key in intermittent duty down before: it stays up as long before it goes down again. */
export function restsFirst(equipment: Equipment, mode: ModeName, steps: readonly Step[]): boolean {
  return keyDownLimits(equipment, mode).length > 0 && keyDowns(equipment, steps).length > 0
}

/** Each time that the steps hold a key down in intermittent duty: for how long they should, and at most. */
export function keyDowns(equipment: Equipment, steps: readonly Step[]): KeyDown[] {
  const found: KeyDown[] = []
  for (const mode of new Set(steps.map((step) => step.mode)))
    for (const limit of keyDownLimits(equipment, mode)) found.push(...timesOf(limit, mode, steps))
  return found.sort((a, b) => a.from - b.from)
}

function timesOf(limit: TimeLimit, mode: ModeName, steps: readonly Step[]): KeyDown[] {
  const times: { from: number; to: number; s: number; most_s: number }[] = []
  let now: (typeof times)[number] | null = null
  for (const step of steps) {
    if (step.time_limits?.some(({ name }) => name === limit.name) !== true) {
      now = null
      continue
    }
    const begins = step.do === 'raise' && step.rail === limit.rail && step.target_V > limit.above_V
    if (now === null && !begins) continue
    if (now === null) times.push((now = { from: step.index, to: step.index, s: 0, most_s: 0 }))
    now.to = step.index
    now.s += step.expected_s
    now.most_s += step.expected_s + step.settle_within_s
  }
  return times.map(({ from, to, s, most_s }) => ({
    mode,
    from,
    to,
    expected_s: Math.round(s),
    allowed_s: limit.s,
    text: `Steps ${from} to ${to} (${mode}): the key is down for about ${Math.round(s)} s${most_s > s + 1 ? `, up to ${Math.round(most_s)} s where currents settle slowly` : ''}; ${limit.s} s at most, counted from where ${limit.rail} first stands. ${limit.text}. A run knows nothing of the one before it: after one that held the key down, wait ${limit.s} s yourself before you start another.`,
    source: limit.source,
  }))
}

/** Steps that would run out of their time with everything well. */
export function keyDownProblems(equipment: Equipment, steps: readonly Step[]): LimitProblem[] {
  return keyDowns(equipment, steps)
    .filter(({ expected_s, allowed_s }) => expected_s > allowed_s)
    .map(({ mode, from, to, expected_s, allowed_s }) => ({
      severity: 'error' as const,
      what: `Steps ${from} to ${to} hold the key down in ${mode} for ${expected_s} s, and its stages are in intermittent duty (ICAS): ${allowed_s} s at most. The run would stop a healthy set.`,
      remedy: `Fewer or shorter holds; or put a mode with the key up between them and then ${mode} again: the key then rests as long as it may be down.`,
    }))
}

/** The question before the key goes down: where the power goes. Null where no RF stage is driven. */
export function dummyLoadQuestion(equipment: Equipment, mode: ModeName): string | null {
  const finals = drivenStages(equipment, mode).filter(
    ({ tube, stage }) =>
      stage.by === 'RF' && !drivenStages(equipment, mode).some((other) => other.stage.from === tube),
  )
  if (finals.length === 0) return null
  const W = finals.reduce((sum, of) => {
    const figures = figuresOf(equipment, of)?.figures
    return sum + (figures === undefined ? 0 : figures.plate_V * figures.plate_A)
  }, 0)
  return `The key goes down next: ${finals.map(({ tube }) => tube).join(' and ')} will give power. Is a dummy load for ${W > 0 ? `${show(W, 'W')} (its whole plate input, more than it gives) ` : 'its power '}on the output, and no aerial? A stage without its load burns, and an aerial would radiate. Looked at, with HT down.`
}

/** Up to this part of the volts of a keyed mode its power is reduced: a quarter of the whole. */
const reduced = 0.5

/**
 * Radio frequency gets into the bench's own lines. The first time that a plan has a stage driven by it, the errors of all lines are
 * counted while the key is down at reduced power; the first raise beyond that waits for the count.
 */
export function withQuietLines(equipment: Equipment, all: readonly Step[]): Step[] {
  const byRf = (mode: ModeName): boolean =>
    drivenStages(equipment, mode).some(({ stage }) => stage.by === 'RF')
  const first = all.find(
    ({ mode, do: does, rail }) => does === 'raise' && rail !== null && isHot(equipment, rail) && byRf(mode),
  )
  if (first === undefined) return [...all]
  const { mode, rail } = first
  const keyed = all.filter((step) => step.mode === mode && step.do === 'raise' && step.rail === rail)
  const top_V = Math.max(...keyed.map(({ target_V }) => target_V))
  const beyond = keyed.find(({ index, target_V }) => index > first.index && target_V > reduced * top_V)
  if (beyond === undefined || first.target_V > reduced * top_V) return [...all]
  return all.map((step) => (step === beyond ? { ...step, lines_quiet_since: first.index } : step))
}

/** A first key-down that goes to its full volts at once leaves nothing to count at. Only a real bench has lines that radio frequency gets into. */
export function noReducedPower(
  equipment: Equipment,
  bench: Pick<Bench, 'kind'>,
  steps: readonly Step[],
): LimitProblem[] {
  const keyed = steps.find(
    ({ mode, do: does, rail }) =>
      does === 'raise' &&
      rail !== null &&
      isHot(equipment, rail) &&
      drivenStages(equipment, mode).some(({ stage }) => stage.by === 'RF'),
  )
  if (keyed === undefined || steps.some(({ lines_quiet_since }) => lines_quiet_since !== undefined)) return []
  return [
    {
      severity: bench.kind === 'real' ? 'error' : 'warning',
      what: `The key goes down in ${keyed.mode} with no step at half its HT or less, so no line errors are counted before its power is whole: radio frequency gets into the lines of a bench.`,
      remedy: `Put a first step of ${keyed.rail ?? 'HT'} at half its volts or less into ${keyed.mode}.`,
    },
  ]
}
