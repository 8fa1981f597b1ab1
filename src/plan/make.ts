import { type Bench, bleederFor } from '../bench/index.js'
import { type Equipment, type RailName, recordOf } from '../equipment/index.js'
import { chainsOf, createLimits, type LimitProblem, type LimitsDesk, show } from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import { planCharts, planLacks } from './charts.js'
import { low_V, setDischarge_s } from './discharge.js'
import { filamentPlans, lowFilamentProblems } from './filaments.js'
import { planHead, promptTimeout_s } from './head.js'
import { hookupLine, proveDeadAt, wiresOf } from './hookup.js'
import { keyDownProblems, keyDowns } from './key-down.js'
import type { Made, PlanOptions } from './made.js'
import { ownMainsPlan } from './own-mains.js'
import { offPlan } from './off.js'
import { mercuryWatch } from './mercury.js'
import type { Top } from './preparations.js'
import { isCurrentRead, railPlans } from './rails.js'
import { looserRules, standardRules } from './rules.js'
import { staleAfter_s } from './stale.js'
import { chainWarmUp, filledStages, isHot, modeOf, railsOf } from './stages.js'
import type { Built, Reach } from './course.js'
import { buildSteps } from './steps.js'
import { takenBias } from './dead-man.js'
import { failedSupplies, supplyFigures } from './supplies.js'
import { timedSteps, unattendedPlan } from './unattended.js'
import { unprovedWords } from './unproved.js'
import { cutOffPlan, inputRules, meterPlans } from './watch.js'
import type { Figures, HeaterWatch, Plan, RailPlan, Step } from './types.js'

/** Clip leads and plugs of a bench: 600 V at most (product.md), unless the bench states less. */
const leadsMost_V = 600

/**
 * The whole plan of a run: hook-up, steps with limits and reasons, rules, off plan. Null with the problems that stand in its
 * way where any of them is an error; `hash` is left empty for the shell to fill (`planText`).
 */
export function makePlan(
  profile: Profile,
  equipment: Equipment,
  bench: Bench,
  options: PlanOptions = {},
): Made {
  const desk = createLimits(equipment, bench, options.seed)
  const mode = modeOf(profile, equipment)
  if (mode === null || equipment.modes[mode] === undefined) {
    const known = Object.keys(equipment.modes).join(', ')
    return refused(
      mode === null ? 'The set file has no mode to judge currents in.' : `The set file has no mode ${mode}.`,
      known === '' ? 'Give it at least one, for example modes: receive: …' : `Its modes are: ${known}.`,
    )
  }
  const own = profile.stages.find((stage) => stage.do === 'own mains')
  if (own !== undefined) return ownMainsPlan({ profile, equipment, bench, desk, mode, stage: own, options })
  const rails = railPlans(equipment, bench, desk)
  const reach = (rail: RailName): Reach => reachOf(profile, equipment, bench, desk, rail)
  const stages = filledStages(profile, equipment, desk, (rail) =>
    Math.min(reach(rail).V, equipment.rails[rail]?.working_V ?? 0),
  )
  const unattended = options.unattended === true
  const built = buildSteps({ equipment, bench, profile, desk, rails, mode, reach, unattended }, stages)
  const charted = planCharts(equipment, bench, built.steps)
  const lacks = planLacks(equipment, built.steps)
  const problems = distinct([
    ...aboveCeilings(profile, equipment),
    ...lacking(profile, equipment, rails, built),
    ...built.problems,
    ...lowFilamentProblems(equipment, built.steps),
    ...keyDownProblems(equipment, built.steps),
    ...failedSupplies(bench, rails, built.steps),
    ...takenBias(bench, rails, built.steps),
    ...charted.problems,
    ...looserRules(bench, profile).map((each): LimitProblem => ({ severity: 'warning', ...each })),
  ])
  if (problems.some(({ severity }) => severity === 'error')) return { plan: null, problems }

  const filaments = profile.tubes_cold ? [] : filamentPlans(equipment, mode)
  const heaters = heaterWatches(equipment, built)
  const waits = waitsForHeaters(heaters, built.steps)
  const sure = built.steps.filter(({ only_if }) => only_if === undefined)
  const steps_s = sure.reduce((sum, step) => sum + step.expected_s, 0)
  const expected_s = Math.round(steps_s + waits.usual_s)
  const time_budget_s =
    profile.time_budget_s ?? Math.max(600, 3 * expected_s) + Math.ceil(waits.most_s - waits.usual_s)
  const hookup = Object.entries(built.tests).map(([rail, tests]) =>
    hookupLine(equipment, bench, desk, rail, tests, topOf(built.steps, rail)),
  )
  const keyed = keyDowns(equipment, built.steps)
  const meters = meterPlans(equipment, bench, desk, rails, Object.values(built.tests).flat())
  const plan: Plan = {
    ...planHead(profile, equipment, bench),
    rails,
    meters,
    hookup,
    prove_dead: proveDeadAt(equipment, hookup),
    wires: wiresOf(equipment, bench, hookup),
    unproved: unprovedWords({ profile, equipment, rails, built }),
    ...(unattended && { unattended: unattendedPlan(profile, bench, rails, built.steps) }),
    ...cutOffPlan(bench),
    supplies: supplyFigures(bench, rails),
    ...(charted.charts !== null && { charts: charted.charts }),
    ...(lacks.length > 0 && { lacks }),
    ...(filaments.length > 0 && { filaments }),
    ...byHand(equipment, built.steps),
    steps: unattended ? timedSteps(built.steps, { time_budget_s, expected_s }) : built.steps,
    ...letThroughOf(built),
    ...(keyed.length > 0 && { key_down: keyed }),
    ...(built.left_out.length > 0 && { left_out: built.left_out }),
    ...(built.gas.length > 0 && { gas: built.gas }),
    rules: [...standardRules(bench, profile, time_budget_s), ...inputRules(meters)],
    off: offPlan(bench, equipment, desk),
    figures: figuresOf(profile, equipment, desk, built),
    heaters,
    time_budget_s,
    prompt_timeout_s: promptTimeout_s(profile),
    expected_s,
    stale_s: staleAfter_s(bench),
  }
  return { plan, problems }
}

/** Steps that the run may pass over repeat volts that were reached before. */
function letThroughOf({ steps, let_through }: Built): Pick<Plan, 'let_through'> {
  const sure = let_through.filter(({ step }) => steps[step - 1]?.only_if === undefined)
  return sure.length > 0 ? { let_through: sure } : {}
}

/** Every limit stated by hand for a rail that these steps raise, and where it is in force. */
function byHand(equipment: Equipment, steps: readonly Step[]): Pick<Plan, 'by_hand'> {
  const stated = Object.entries(equipment.rails).flatMap(([rail, { manual }]) => {
    const raised = steps.filter((step) => step.do === 'raise' && step.rail === rail)
    if (manual === undefined || raised.length === 0) return []
    const held = raised
      .filter((step) => step.limits[rail]?.manual?.in_force === true)
      .map(({ index }) => index)
    const where =
      held.length === raised.length
        ? 'in force in every step'
        : held.length === 0
          ? 'nowhere in force, what is computed is lower'
          : `in force in step ${held.join(', ')}, elsewhere what is computed is lower`
    const text = `${rail}: trip ${show(manual.trip_A, 'A')} stated by hand (${where}): ${manual.reason}`
    return [{ rail, trip_A: manual.trip_A, text }]
  })
  return stated.length > 0 ? { by_hand: stated } : {}
}

function refused(what: string, remedy: string): Made {
  return { plan: null, problems: [{ severity: 'error', what, remedy }] }
}

/** Highest volts the bench and every ceiling allow on a rail, and which of them it is. */
function reachOf(
  profile: Profile,
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  rail: RailName,
): Reach {
  const set = equipment.rails[rail]
  const side = desk.rails[rail]
  const all: Reach[] = []
  const leads_V = Math.min(leadsMost_V, bench.leads_max_V)
  all.push({ V: leads_V, why: `bench leads carry ${show(leads_V, 'V')} at most` })
  if (side?.class === 'programmed') {
    all.push({
      V: side.reach_V,
      why: `${side.channels.join(' + ')} gives ${show(side.reach_V, 'V')} at most`,
    })
  }
  if (set !== undefined)
    all.push({
      V: set.max_V.value,
      why: `${rail} may carry ${show(set.max_V.value, 'V')} (${set.max_V.source})`,
    })
  const own = profile.ceiling_V[rail]
  if (own !== undefined) all.push({ V: own, why: `the profile's ceiling is ${show(own, 'V')}` })
  return all.reduce((lowest, each) => (each.V < lowest.V ? each : lowest))
}

/** A target above the set's or the profile's own ceiling is a mistake in the file, not something to cut. */
function aboveCeilings(profile: Profile, equipment: Equipment): LimitProblem[] {
  const problems: LimitProblem[] = []
  for (const stage of profile.stages) {
    if (stage.do !== 'ramp') continue
    const rail = equipment.rails[stage.rail]
    if (rail === undefined) continue
    const highest_V = Math.max(...stage.to_V)
    if (highest_V > rail.max_V.value) {
      problems.push({
        severity: 'error',
        what: `Stage "${stage.name}" would raise ${stage.rail} to ${show(highest_V, 'V')}; the set allows ${show(rail.max_V.value, 'V')} (${rail.max_V.source}).`,
        remedy: 'Lower the target.',
      })
    }
    const ceiling_V = profile.ceiling_V[stage.rail]
    if (ceiling_V !== undefined && highest_V > ceiling_V) {
      problems.push({
        severity: 'error',
        what: `Stage "${stage.name}" would raise ${stage.rail} to ${show(highest_V, 'V')}, above the profile's own ceiling of ${show(ceiling_V, 'V')}.`,
        remedy: 'Lower the target, or raise the ceiling if you mean it.',
      })
    }
  }
  return problems
}

/** What a plan must have and the files do not give. */
function lacking(
  profile: Profile,
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailPlan>>,
  built: Built,
): LimitProblem[] {
  const problems: LimitProblem[] = []
  const top_V = highestByRail(built.steps)
  const hot = Object.keys(top_V).filter((rail) => isHot(equipment, rail))
  if (hot.length === 0 && Object.keys(top_V).length === 0) {
    problems.push({
      severity: 'error',
      what: 'Nothing in this profile raises a rail.',
      remedy: 'Give it stages with do: ramp, or none at all: then the plan fills them in.',
    })
  }
  for (const [name, V] of Object.entries(top_V)) {
    const plan = rails[name]
    if (plan?.class !== 'programmed' || V <= low_V || plan.discharge !== null) continue
    const F = Math.max(1e-6, ...built.steps.map((step) => chargeOf(step, name)))
    problems.push({
      severity: 'error',
      what: `${name} goes to ${show(V, 'V')} and has no discharge path at the supply's terminals, so "off" could not be confirmed by measurement.`,
      remedy: `Clip a bleeder across the supply's terminals, ${show(bleederFor(V, F), 'Ω')} or less, and state it as the channel's bleeder or the rail's bench_bleeder.`,
    })
  }
  problems.push(...byHandOnly(equipment, rails, top_V))
  const highHT = hot.some((rail) => (top_V[rail] ?? 0) > low_V)
  for (const [name, rail] of Object.entries(equipment.rails)) {
    if (rail.role !== 'bias' || profile.tubes_cold || !highHT) continue
    const bias = rails[name]?.bias ?? null
    if (bias === null) {
      problems.push({
        severity: 'error',
        what: `${name} is a bias rail and the file does not say what bias the set needs (required_bias), so HT cannot be held off without it.`,
        remedy: 'State the node, the least and the usual volts there, and where they come from.',
      })
    } else if (bias.meter === null && bias.preload_A === null) {
      problems.push({
        severity: 'error',
        what: `Nothing shows whether ${name} reaches ${bias.node} while HT is on: no meter on a line there and no preload at the grid-return end. HT above ${low_V} V is refused.`,
        remedy: `Clip a meter on a line at ${bias.node}, or fit a preload resistor from ${bias.node} to chassis and put it in the file.`,
      })
    }
  }
  for (const role of ['HT', 'screen']) {
    for (const name of railsOf(equipment, role)) problems.push(...unresolved(name, rails[name], built.steps))
  }
  return problems
}

/** What a rail on somebody's own supply should have and the files do not state; the hook-up sheet says what to fit. */
function byHandOnly(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailPlan>>,
  top_V: Readonly<Record<RailName, number>>,
): LimitProblem[] {
  return Object.values(rails).flatMap((rail): LimitProblem[] => {
    const { name } = rail
    if (rail.class === 'programmed' || !isHot(equipment, name) || (top_V[name] ?? 0) <= 0) return []
    const feeds = equipment.rails[name]?.feeds
    const made: LimitProblem[] = []
    if (!isCurrentRead(rail))
      made.push({
        severity: 'warning',
        what: `Nothing reads the current of ${name}, so it is not judged: a run can end as "done" with a warning at best.`,
        remedy: `Put an ammeter into its lead and write it into the bench file: measures: A, rail: ${name}.`,
      })
    if (feeds?.fuse_A === undefined)
      made.push({
        severity: 'warning',
        what: `${name} comes from your own supply and the set file states no fuse in its lead.`,
        remedy: 'Fit the fuse that the hook-up sheet names and write it as fuse under feeds.',
      })
    return made
  })
}

/** A rail whose current stays below a few steps of the ammeter even at the top can be judged by nothing. */
function unresolved(name: RailName, rail: RailPlan | undefined, steps: readonly Step[]): LimitProblem[] {
  if (rail?.class !== 'programmed') return []
  const resolution_A = Math.max(...rail.channels.map((channel) => channel.resolution_A))
  const expected = steps
    .filter((step) => step.do === 'raise' && step.rail === name)
    .map((step) => step.limits[name]?.expected_A ?? 0)
  const most_A = Math.max(0, ...expected)
  // Where only a limit stated by hand is known, nothing is expected that could be too little to read.
  const alone = steps.some((step) => step.limits[name]?.manual?.alone === true)
  if (alone || expected.length === 0 || most_A >= 5 * resolution_A) return []
  return [
    {
      severity: 'error',
      what: `The bench cannot resolve the current of ${name}: at most ${show(most_A, 'A')} is expected, and its read-back has steps of ${show(resolution_A, 'A')}.`,
      remedy:
        'Use a supply or a meter on a line with finer steps: at least five must fit into the expected current.',
    },
  ]
}

function chargeOf(step: Step, rail: RailName): number {
  const limits = step.limits[rail]
  return limits === undefined || step.slew_V_per_s <= 0 ? 0 : limits.charge_A / step.slew_V_per_s
}

/** Where a rail stands highest in the plan; null where it is never raised. */
function topOf(steps: readonly Step[], rail: RailName): Top | null {
  const raises = steps.filter((step) => step.do === 'raise' && step.rail === rail)
  const top = raises.reduce<Step | null>(
    (most, step) => (most === null || step.target_V > most.target_V ? step : most),
    null,
  )
  const limits = top?.limits[rail]
  if (top === null) return null
  return { V: top.target_V, trip_A: limits?.trip_A ?? 0, expected_A: limits?.expected_A ?? 0 }
}

export function highestByRail(steps: readonly Step[]): Record<RailName, number> {
  const top_V: Record<RailName, number> = {}
  for (const step of steps) {
    if (step.do === 'raise' && step.rail !== null)
      top_V[step.rail] = Math.max(top_V[step.rail] ?? 0, step.target_V)
  }
  return top_V
}

function figuresOf(profile: Profile, equipment: Equipment, desk: LimitsDesk, built: Built): Figures {
  const top_V = highestByRail(built.steps)
  const high = Object.entries(top_V)
    .filter(([rail]) => isHot(equipment, rail))
    .map(([rail, V]) => `${rail} at ${show(V, 'V')}`)
  return {
    highest_V: Math.max(0, ...Object.values(top_V)),
    stored_J: built.stored_J,
    stored_where: `the set's capacitors and the supplies' own, ${high.join(', ') || 'low volts only'}`,
    discharge_s: setDischarge_s(equipment, desk),
    hazards: [
      ...(equipment.chassis === 'live' ? ['live chassis'] : []),
      ...equipment.hazards,
      // The tubes themselves say so, pulled or not: somebody handles them.
      ...(Object.values(equipment.tubes).some((tube) => recordOf(tube)?.mercury !== undefined)
        ? ['mercury']
        : []),
    ].filter((hazard, at, all) => all.indexOf(hazard) === at),
    unattended: profile.unattended,
  }
}

function heaterWatches(equipment: Equipment, built: Built): HeaterWatch[] {
  const top_V = highestByRail(built.steps)
  return railsOf(equipment, 'heater').flatMap((rail) => {
    const volts = top_V[rail]
    if (volts === undefined) return []
    return chainsOf(equipment, rail).map(([chain, { series }]) => {
      const warm = chainWarmUp(equipment, chain)
      const mercury = mercuryWatch(equipment, series.flat())
      return {
        chain,
        rail,
        volts,
        warm_up_s: warm.s,
        tubes: series.flat().filter((part) => equipment.tubes[part] !== undefined),
        source: warm.source,
        ...(mercury !== null && { mercury }),
      }
    })
  })
}

/** How long HT waits for the heaters beyond what their own steps hold, s: in most runs, and at most. */
function waitsForHeaters(
  heaters: readonly HeaterWatch[],
  steps: readonly Step[],
): { readonly usual_s: number; readonly most_s: number } {
  const beyond = (of: (watch: HeaterWatch) => number): number =>
    Math.max(0, ...heaters.map((watch) => of(watch) - heldFor_s(watch, steps)))
  return {
    usual_s: beyond(({ warm_up_s }) => warm_up_s),
    // Somebody may answer that a mercury-vapour rectifier was moved.
    most_s: beyond(({ warm_up_s, mercury }) => mercury?.first_use_s ?? warm_up_s),
  }
}

function heldFor_s({ rail, volts }: HeaterWatch, steps: readonly Step[]): number {
  const full = steps.filter((step) => step.do === 'raise' && step.rail === rail && step.target_V === volts)
  return full.reduce((sum, { hold_s }) => sum + hold_s, 0)
}

/** The same sentence once, the one at the highest volts: sentences that differ in their figures only count as the same. */
function distinct(problems: readonly LimitProblem[]): LimitProblem[] {
  const kept = new Map<string, LimitProblem>()
  for (const problem of problems) {
    const shape = `${problem.severity} ${problem.what.replaceAll(/\d+(\.\d+)? ?[mkµ]?[VAW%]\b|\d+ %/g, '#')}`
    kept.set(shape, problem)
  }
  return [...kept.values()]
}
