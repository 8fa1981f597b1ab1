import type { Bench } from '../bench/index.js'
import {
  drivenStages,
  type Equipment,
  type ModeName,
  type PartName,
  plateRailOf,
  type RailName,
  unchartedSections,
} from '../equipment/index.js'
import { type DrivenNow, type LimitProblem, type PointLimits, show } from '../limits/index.js'
import { low_V } from './discharge.js'
import { openLeadMost_A } from './open-lead.js'
import { isHot } from './stages.js'
import type { Ask, DriveWatch, RailPlan, Step } from './types.js'

/** How drive is proved and watched: grid current, by a meter on a line or by the bias supply that it relieves. */

/** A change counts as visible from this many steps of a read-back (as `plate-lost` and others do). */
const steps = 5
/** And from this part of what flows there anyway, as parts drift. */
const part = 0.1

/** The driven stages of a step whose grid current can be seen there. */
export function driveWatches(
  bench: Bench,
  rails: Readonly<Record<string, RailPlan>>,
  point: PointLimits,
): DriveWatch[] {
  return point.driven.flatMap((now): DriveWatch[] => {
    const meter = atMeter(bench, now)
    const bias = atBias(rails, point, now)
    if (meter === null && bias === null) return []
    const where = [
      ...(meter === null
        ? []
        : [`${meter.name} shows ${show(meter.volts, 'V')}, ${show(meter.lost_V, 'V')} without`]),
      ...(bias === null
        ? []
        : [`${bias.rail} gives ${show(bias.with_A, 'A')}, ${show(bias.lost_A, 'A')} without`]),
    ]
    const text = `Drive of ${now.tube} (${now.type}): ${show(now.grid_A, 'A')} of grid current; ${where.join('; ')}`
    return [{ tube: now.tube, grid_A: now.grid_A, meter, bias, text }]
  })
}

function atMeter(bench: Bench, { shows }: DrivenNow): DriveWatch['meter'] {
  if (shows === null) return null
  for (const [name, meter] of Object.entries(bench.meters)) {
    if (meter.line === null || meter.measures !== 'V' || meter.at === null) continue
    const forward = meter.at === shows.node && meter.against === shows.against
    const backward = meter.at === shows.against && meter.against === shows.node
    if (!forward && !backward) continue
    const sign = forward ? 1 : -1
    const change_V = Math.abs(shows.volts - shows.lost_V)
    if (change_V < steps * meter.resolution + 2 * meter.accuracy.plus) return null
    return { name, volts: sign * shows.volts, lost_V: sign * shows.lost_V }
  }
  return null
}

function atBias(
  rails: Readonly<Record<string, RailPlan>>,
  { limits }: PointLimits,
  { lost_A }: DrivenNow,
): DriveWatch['bias'] {
  for (const rail of Object.values(rails)) {
    const with_A = limits[rail.name]?.expected_A
    const without_A = lost_A[rail.name]
    if (
      rail.role !== 'bias' ||
      rail.class !== 'programmed' ||
      with_A === undefined ||
      without_A === undefined
    )
      continue
    const resolution_A = Math.max(...rail.channels.map((channel) => channel.resolution_A))
    // What an open lead would read too is no sign of drive.
    const open_A =
      rail.bias === null ? 0 : openLeadMost_A(rail.bias, limits[rail.name]?.at_V ?? 0, resolution_A)
    if (with_A <= open_A) continue
    if (without_A - with_A > Math.max(steps * resolution_A, part * without_A))
      return { rail: rail.name, with_A, lost_A: without_A }
  }
  return null
}

/** Steps with what must have been seen before each raise: every drive that showed in the step before it. */
export function withDriveProofs(equipment: Equipment, all: readonly Step[]): Step[] {
  return all.map((step, at) => {
    const before = all[at - 1]
    const hot = step.do === 'raise' && step.rail !== null && isHot(equipment, step.rail)
    if (!hot || before?.mode !== step.mode || before.drive === undefined) return step
    return { ...step, needs_drive: before.drive.map(({ tube }) => tube) }
  })
}

/** A stage whose drive nothing shows before its HT is whole, each time that the key goes down. */
export function driveProblems(equipment: Equipment, all: readonly Step[]): LimitProblem[] {
  const problems: LimitProblem[] = []
  for (const mode of Object.keys(equipment.modes)) {
    for (const { tube, type, section, stage } of drivenStages(equipment, mode)) {
      const rail = plateRailOf(equipment, tube)
      const top = highest(equipment, all, mode, rail)
      if (stage.by !== 'RF' || top === null) continue
      const uncharted = unchartedSections(equipment).find(
        (each) => each.part === tube && each.section === section,
      )
      if (uncharted !== undefined) {
        problems.push({
          severity: 'error',
          what: `${tube} (${type}) is driven in ${mode}, and its type has no curves (${uncharted.why}): what it draws driven, and what becomes of it when its drive is lost, cannot be reckoned.`,
          remedy: `Plan a mode in which nothing is driven, in which ${tube} is held by its ratings alone, or define the type under tube_types with operating points from its sheet.`,
        })
        continue
      }
      const proof = [tube, ...drivenBy(equipment, mode, tube)]
      const asked = proof.map((name) => aboutDrive(name))
      const seen = (step: Step): boolean =>
        step.drive?.some((watch) => proof.includes(watch.tube)) === true ||
        (step.ask !== null && asked.includes(step.ask.about))
      const unproved = unprovedTop(equipment, all, mode, rail, top, seen)
      if (unproved === null) continue
      const { target_V } = unproved
      const before = (part: number): string =>
        `${show(Math.round((part * target_V) / 10) * 10, 'V')}: put a ramp of ${unproved.rail ?? 'HT'} with such a step behind the stage that sets ${mode}. Without one HT only climbs again by the steps it had before.`
      const shows = all.some((step) => step.mode === mode && seen(step))
      if (stage.panel !== undefined && !shows)
        problems.push({
          severity: 'error',
          what: `${stage.panel} of ${tube} (${type}) cannot be read before HT goes to ${show(target_V, 'V')}, the highest step of ${mode}: no step below it stands at which grid current is known to show.`,
          remedy: `Give the profile a step just below, for example at ${before(0.85)} Give the figures of ${tube} their grid current and the peak of its drive, too.`,
        })
      else if (!shows)
        problems.push({
          severity: 'error',
          what: `Nothing shows whether ${tube} (${type}) is driven in ${mode}: no meter on a line at its grid current, and no bias supply that its grid current relieves by enough to be seen. HT does not go up on a stage whose drive is not known.`,
          remedy: `Name the set's own grid-current meter as panel: … at ${tube}, to be read before HT goes to its top; or put a resistor of some 100 Ω where its grid current returns, name its ends as shows: { node: …, against: …${equipment.level < 3 ? ', resistor: 100 Ω' : ''} } at ${tube}, and clip a meter on a line there.`,
        })
      else
        problems.push({
          severity: 'error',
          what: `${tube} (${type}) shows its grid current for the first time at ${show(target_V, 'V')}, the highest step of ${mode}${unproved.index === top.index ? '' : ` from where HT was down before (step ${unproved.index})`}: its drive would not be proved before.`,
          remedy: `Give the profile one more step below, where the grid current shows, for example at ${before(0.8)}`,
        })
    }
  }
  return problems
}

const raises = (equipment: Equipment, step: Step, rail: RailName | null): boolean =>
  step.do === 'raise' &&
  step.rail !== null &&
  (rail === null ? isHot(equipment, step.rail) : step.rail === rail)

/** The step that first takes this rail to its highest, or any hot rail where nothing tells which. */
function highest(
  equipment: Equipment,
  steps: readonly Step[],
  mode: ModeName,
  rail: RailName | null,
): Step | null {
  return steps.reduce<Step | null>(
    (most, step) =>
      step.mode !== mode ||
      !raises(equipment, step, rail) ||
      (most !== null && step.target_V <= most.target_V)
        ? most
        : step,
    null,
  )
}

/**
 * The first time that the key goes down and HT to its top, or above the least volts at which drive shows, with no drive seen
 * since HT was down: what was seen before tells nothing of a drive that has been off since. Off tune nothing is proved, at
 * low volts and for seconds.
 */
function unprovedTop(
  equipment: Equipment,
  all: readonly Step[],
  mode: ModeName,
  rail: RailName | null,
  top: Step,
  seen: (step: Step) => boolean,
): Step | null {
  const times = timesDown(equipment, all, mode, rail)
  const shown_V = times.flatMap((time) =>
    time.flatMap((step, at) => {
      const stands = time.slice(0, at + 1).findLast((each) => raises(equipment, each, rail))
      return seen(step) && stands !== undefined ? [stands.target_V] : []
    }),
  )
  const least_V = Math.min(top.target_V, ...shown_V)
  for (const time of times) {
    const whole = time.filter(
      (step) => step.target_V >= top.target_V || step.time_limits?.some(isTuning) !== true,
    )
    const most = highest(equipment, whole, mode, rail)
    if (most === null || (most.target_V < top.target_V && most.target_V <= least_V)) continue
    if (!time.some((step) => step.index < most.index && seen(step))) return most
  }
  return null
}

const isTuning = ({ name }: { readonly name: string }): boolean => name.startsWith('tuning ')

/** Rows of steps in one mode, each from where HT comes up, or its controls were set, to where it goes down. */
function timesDown(
  equipment: Equipment,
  steps: readonly Step[],
  mode: ModeName,
  rail: RailName | null,
): Step[][] {
  const times: Step[][] = []
  let now: Step[] | null = null
  for (const step of steps) {
    const off =
      step.do === 'lower' &&
      step.rail !== null &&
      step.target_V < low_V &&
      (rail === null ? isHot(equipment, step.rail) : step.rail === rail)
    if (step.mode !== mode || off || step.ask?.about === 'mode') now = null
    if (step.mode !== mode) continue
    if (now === null) times.push((now = []))
    now.push(step)
  }
  return times
}

/** What a question about a tube's drive is about. */
export const aboutDrive = (tube: PartName): string => `drive ${tube}`
/** The tube whose drive a question is about; null for any other question. */
export const driveAsked = (about: string): PartName | null => /^drive (.+)$/.exec(about)?.[1] ?? null

/**
 * Before HT goes to its top of a mode: each stage whose grid current nothing on the bench shows, and the set's own meter does,
 * read by a person. Less than half of what should show is drive lost, as with a meter on a line.
 */
export function panelQuestions(
  point: PointLimits,
  watched: readonly DriveWatch[],
  isOnRail: (tube: PartName) => boolean,
): Ask[] {
  return point.driven.flatMap((now): Ask[] => {
    const { tube, type, panel, grid_A } = now
    if (!isOnRail(tube)) return []
    if (now.by !== 'RF' || panel === null || watched.some((watch) => watch.tube === tube)) return []
    if (!(grid_A > 0)) return []
    const most_A = Math.max(2 * grid_A, now.grid_most_A ?? 0)
    return [
      {
        text: `Read the grid current of ${tube} (${type}) on ${panel}, outside the case: about ${show(grid_A, 'A')} should show here; less than ${show(grid_A / 2, 'A')} is drive lost, and ${show(most_A, 'A')} is the most that it stands.`,
        wants: { kind: 'reading', node: null, rail: null, unit: 'A', low: grid_A / 2, high: most_A },
        timeout_s: panelWithin_s,
        inside: false,
        about: aboutDrive(tube),
      },
    ]
  })
}
/** A look at a meter in front: the key is down meanwhile. */
const panelWithin_s = 120

/** Driven stages of the last keyed step whose loss of drive nothing watches: told by a question alone. */
export function unwatchedDrive(equipment: Equipment, steps: readonly Step[]): string[] {
  const asked = steps.flatMap(({ ask }) => driveAsked(ask?.about ?? '') ?? [])
  return [...new Set(asked)].map(
    (tube) =>
      `Loss of drive of ${tube} (${equipment.tubes[tube]?.type ?? ''}) once it was read: nothing on a line shows its grid current. Keep an eye on its meter while the key is down.`,
  )
}

/** Stages that this tube's output drives, directly or through others: their drive proves its. */
function drivenBy(equipment: Equipment, mode: ModeName, tube: PartName): PartName[] {
  const stages = drivenStages(equipment, mode)
  const found: PartName[] = []
  let of = [tube]
  while (of.length > 0) {
    const next = stages
      .filter(
        ({ tube: name, stage }) =>
          stage.from !== undefined && of.includes(stage.from) && !found.includes(name),
      )
      .map(({ tube: name }) => name)
    found.push(...next)
    of = next
  }
  return found
}
