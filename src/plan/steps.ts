import type { ModeName } from '../equipment/index.js'
import { Course, type Built, type StepContext } from './course.js'
import { driveProblems, withDriveProofs } from './drive.js'
import { keepsFilamentsLow, lowFilament_s } from './filaments.js'
import { touch_V } from './head.js'
import { hookupLimits, hookupTests } from './hookup-tests.js'
import { heldInPlace, inPlaceOf } from './in-place.js'
import { show } from '../limits/index.js'
import { listed } from '../quantities/index.js'
import { modulatedUnseen } from './modulators.js'
import { withMonotoneCeilings } from './monotone.js'
import { hiddenLeads } from './open-lead.js'
import { cathodeReadings, question } from './questions.js'
import { downToReach, lowerToReach } from './reach-in.js'
import { defaultsFor, type FilledStage, isHot, railsOf } from './stages.js'
import { dummyLoadQuestion, intermittent_s, noReducedPower, restsFirst, withQuietLines } from './key-down.js'
import { tune } from './tune.js'
import { proveLayers } from './unattended.js'
import { leftOut, refuseStrikes } from './strikes.js'

/** Turns filled stages into steps, each with the limits of every rail that stands in it. */
export function buildSteps(context: StepContext, stages: readonly FilledStage[]): Built {
  const course = new Course(context, stages)
  const tops = topsOf(context, stages)
  for (const [at, stage] of stages.entries())
    take(course, stage, stages[at + 1], (target) => tops.has(`${at} ${target}`))
  cathodeReadings(course)
  const built = course.built()
  const steps = withQuietLines(
    context.equipment,
    withDriveProofs(context.equipment, withMonotoneCeilings(built.steps)),
  )
  return {
    ...built,
    steps,
    problems: [
      ...built.problems,
      ...driveProblems(context.equipment, steps),
      ...noReducedPower(context.equipment, context.bench, steps),
      ...hiddenLeads(context.equipment, context.rails, context.desk.rails, steps),
      ...modulatedUnseen(context.equipment, steps, (rail) => context.desk.rails[rail]?.resolution_A ?? 0),
    ],
  }
}

/** Targets, as `stage target` by their places, at which a hot rail comes to its highest between one HT-down and the next. */
type Tops = ReadonlySet<string>

function topsOf({ equipment, reach }: StepContext, stages: readonly FilledStage[]): Tops {
  const tops = new Set<string>()
  const open = new Map<string, { readonly V: number; readonly at: string }>()
  const now = new Map<string, number>()
  const close = (rail: string): void => {
    const top = open.get(rail)
    if (top !== undefined) tops.add(top.at)
    open.delete(rail)
  }
  for (const [place, stage] of stages.entries()) {
    if (stage.do === 'mode') for (const rail of [...open.keys()]) close(rail)
    if (stage.do === 'tune') {
      // From above it HT goes down first.
      if ((now.get(stage.rail) ?? 0) >= stage.at_V) close(stage.rail)
      now.set(stage.rail, stage.at_V)
    }
    if (stage.do !== 'ramp' || !isHot(equipment, stage.rail)) continue
    for (const [at, to_V] of stage.to_V.entries()) {
      const V = Math.min(to_V, reach(stage.rail).V)
      if (V <= touch_V && V < (now.get(stage.rail) ?? 0)) close(stage.rail)
      else if (V > (open.get(stage.rail)?.V ?? 0)) open.set(stage.rail, { V, at: `${place} ${at}` })
      now.set(stage.rail, V)
    }
  }
  for (const rail of [...open.keys()]) close(rail)
  return tops
}

function take(
  course: Course,
  stage: FilledStage,
  next: FilledStage | undefined,
  isTop: (target: number) => boolean,
): void {
  const name = stage.added === null ? stage.name : `${stage.name} (filled in: ${stage.added})`
  switch (stage.do) {
    case 'hook-up check':
      hookup(course, name)
      if (course.of.unattended) proveLayers(course)
      break
    case 'mode':
      changeMode(course, name, stage.mode, next)
      break
    case 'ramp':
      ramp(course, name, stage, isTop)
      break
    case 'tune':
      tune(course, name, stage)
      break
    case 'hold':
      course.push(name, { do: 'hold', hold_s: stage.for_s, expected_s: stage.for_s })
      break
    case 'ask':
      question(course, name, stage)
      break
    case 'own mains':
      // A profile of its own, and planned by itself (own-mains.ts).
      break
  }
}

function hookup(course: Course, stage: string): void {
  const { equipment, bench, desk } = course.of
  const order = ['heater', 'bias', 'HT', 'other', 'screen', 'drive']
  const rails = order.flatMap((role) => railsOf(equipment, role)).filter((rail) => course.used.has(rail))
  for (const rail of rails) {
    const tests = hookupTests(equipment, bench, desk, rail, course.mode)
    course.tests[rail] = tests
    for (const test of tests) {
      course.push(stage, {
        do: 'hook-up check',
        rail,
        target_V: test.test_V,
        hookup: test,
        limits: test.method === 'low volts' ? { [rail]: hookupLimits(test, course.of.rails[rail]) } : {},
        expected_s: test.method === 'low volts' ? 20 : 60,
      })
    }
  }
}

function changeMode(course: Course, stage: string, mode: ModeName, next: FilledStage | undefined): void {
  const controls = course.of.equipment.modes[mode]?.controls
  if (controls === undefined) {
    course.problems.push({
      severity: 'error',
      what: `Stage "${stage}" asks for mode ${mode}, which the set file does not have.`,
      remedy: `${listed('Modes of this set', Object.keys(course.of.equipment.modes), 'This set has no mode')}.`,
    })
    return
  }
  const before = { ...course.volts }
  const up = course.hotRails().filter((rail) => (before[rail] ?? 0) > 0)
  // Heaters and bias too where they may not be touched and hands go in.
  const all = [...downToReach(course).filter((rail) => !up.includes(rail)), ...up]
  course.rememberClimbs(all)
  if (mode !== course.mode)
    for (const rail of [...up].reverse()) course.lower(`${stage}: HT down first`, rail, 0)
  course.mode = mode
  const settings = Object.entries(controls).map(([control, position]) => `${control} to ${position}`)
  const inside = Object.keys(controls).filter(
    (control) => !course.of.equipment.panel_controls.includes(control),
  )
  if (settings.length > 0) {
    const where =
      inside.length === 0
        ? 'All are on the panel: one hand.'
        : `Not on the panel: ${inside.join(', ')}. Nothing above ${touch_V} V stands; measure before touching.`
    if (inside.length > 0) lowerToReach(course, stage)
    course.ask(stage, {
      text: `Set the controls for ${mode}: ${settings.join('; ')}. ${where} Then confirm.`,
      wants: { kind: 'confirm' },
      timeout_s: course.timeout_s(null),
      inside: inside.length > 0,
      about: 'mode',
    })
  }
  const load = dummyLoadQuestion(course.of.equipment, mode)
  if (load !== null) {
    lowerToReach(course, stage)
    const timeout_s = course.timeout_s(null)
    course.ask(stage, {
      text: load,
      wants: { kind: 'confirm' },
      timeout_s,
      inside: true,
      about: 'dummy load',
    })
  }
  if (restsFirst(course.of.equipment, mode, course.steps))
    course.push(`${stage}: the key rests`, {
      do: 'hold',
      hold_s: intermittent_s,
      expected_s: intermittent_s,
    })
  for (const rail of all) {
    if (course.at(rail) > 0 || (next?.do === 'ramp' && next.rail === rail)) continue
    // A new mode proves itself from the bottom: the same targets, with their holds.
    course.climbAgain(`${stage}: back up`, rail, before[rail] ?? 0, true)
  }
}

function ramp(
  course: Course,
  name: string,
  stage: Extract<FilledStage, { do: 'ramp' }>,
  isTop: (target: number) => boolean,
): void {
  const { rail } = stage
  const { equipment, desk } = course.of
  if (equipment.rails[rail] === undefined || desk.rails[rail] === undefined) {
    course.problems.push({
      severity: 'error',
      what: `Stage "${name}" raises a rail ${rail}, which the set file does not have.`,
      remedy: `${listed('Rails of this set', Object.keys(equipment.rails), 'This set has no rail')}.`,
    })
    return
  }
  if (stage.ceiling_A !== null) course.ceilings_A[rail] = stage.ceiling_A
  const reach = course.of.reach(rail)
  for (const [at, wanted_V] of stage.to_V.entries()) {
    const target_V = Math.min(wanted_V, reach.V)
    if (target_V < wanted_V) course.cut.push({ rail, wanted_V, reached_V: reach.V, why: reach.why })
    if (target_V === course.volts[rail]) continue
    if (target_V < course.at(rail)) {
      course.lower(name, rail, target_V)
      continue
    }
    const point = course.pointWith(rail, target_V)
    // A step of ours where a gas regulator may be lit or dark is left out: the next one is held instead.
    if (point.strikes.length > 0 && stage.added !== null && at < stage.to_V.length - 1) {
      course.left_out.push(...point.strikes.map((each) => leftOut(rail, target_V, each)))
      continue
    }
    refuseStrikes(course, name, rail, target_V, point)
    if (isTop(at)) course.askPanels(name, rail)
    const charging_F = point.charging_F[rail] ?? 0
    const filled = defaultsFor(equipment, rail, charging_F)
    const inPlace = inPlaceOf(course.of.profile, course.of.rails[rail]) !== null
    const hold_s = stage.hold_s ?? (inPlace ? heldInPlace.hold_s : filled.hold_s)
    const slew_V_per_s = stage.slew_V_per_s ?? filled.slew_V_per_s
    // Filaments on their way up are not waited for as long as heaters are.
    const settle_s = keepsFilamentsLow(equipment, rail, target_V)
      ? Math.max(0, Math.floor(lowFilament_s - hold_s - target_V / slew_V_per_s))
      : filled.settle_within_s
    course.raise(name, rail, {
      V: target_V,
      slew_V_per_s,
      hold_s,
      settle_within_s: inPlace
        ? Math.max(heldInPlace.least_s, stage.settle_within_s ?? heldInPlace.settle_within_s)
        : (stage.settle_within_s ?? Math.min(settle_s, filled.settle_within_s)),
      slew_because:
        stage.slew_V_per_s === null ? filled.slew_because : `${show(stage.slew_V_per_s, 'V/s')}: stated`,
      hold_because:
        stage.hold_s !== null
          ? `${show(stage.hold_s, 's')}: stated`
          : inPlace
            ? `${show(hold_s, 's')}: formed in the circuit (our choice)`
            : filled.hold_because,
      stated: { slew: stage.slew_V_per_s !== null, hold: stage.hold_s !== null },
    })
  }
}
