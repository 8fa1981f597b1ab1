import { writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import type { Plan } from '../../plan/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { notPlanned, planFiles } from '../plan-files.js'
import { planSvg } from '../plan-plot/svg.js'
import { ownLimits, planPage } from '../plan-text.js'
import { type PlanProblem, problemText } from '../problems.js'
import { type Refusal, refuse } from '../refuse.js'
import { runsFolders } from '../runs-folder.js'
import type { Register } from './index.js'

interface Options {
  readonly bench?: string
  readonly svg?: string
  readonly unattended?: boolean
  readonly json?: boolean
}

/** `slowglow plan PROFILE`: the hook-up sheet and every step with its limits, each with the reason why. */
export const registerPlan: Register = (program, io) => {
  program
    .command('plan')
    .description(
      'hook-up sheet, steps with expected current, band, trip and supply limit, and the reason for each',
    )
    .argument('<profile>', 'profile file')
    .option('--bench <file>', 'bench file, in place of the one the profile names')
    .option('--svg <file>', 'also draws expected current, band, trip and ceiling over rail volts, to print')
    .option('--unattended', 'as it is run with nobody there, with what is proved for that')
    .option('--json', 'one JSON document on standard output')
    .action((profile: string, options: Options) => {
      process.exitCode = plan(profile, options, io)
    })
}

/** Returns the exit code. */
export function plan(profile: string, options: Options, io: Io): number {
  const planned = planFiles(profile, options.bench, io.cwd, io.env, undefined, {
    unattended: options.unattended === true,
    runs: runsFolders(undefined, io),
  })
  const json = options.json === true
  const refusal = notPlanned(planned, 'plan', profile)
  if (refusal !== null) return refuse(io, json, refusal)
  if (planned.plan === null) return exits.finding
  for (const problem of planned.problems) io.err(problemText(problem))
  if (options.svg !== undefined) {
    const troubled = drawn(planned.plan, options.svg, io)
    if (troubled !== null) return refuse(io, json, troubled)
  }
  if (json) printJson(io, planJson(planned.plan, planned.problems))
  else io.out(planPage(planned.plan))
  return exits.done
}

/** Writes the drawing; what stands in the way, or null. */
function drawn(plan: Plan, file: string, io: Io): Refusal | null {
  const svg = planSvg(plan)
  if (svg === null) {
    io.err('Nothing to draw: no rail is raised in two steps or more.')
    return null
  }
  try {
    writeFileSync(resolve(io.cwd, file), svg)
    return null
  } catch (error) {
    return {
      exit: exits.usage,
      what: `The drawing could not be written to ${file}: ${error instanceof Error ? error.message : String(error)}.`,
      where: file,
      remedy: 'Give another file after --svg.',
    }
  }
}

/** The plan with, for every step, the limits of the rail it is about at the top level; SI units. */
export function planJson(plan: Plan, problems: readonly PlanProblem[]): Record<string, unknown> {
  return {
    ...plan,
    problems,
    steps: plan.steps.map((step) => {
      const limits = ownLimits(step)
      return {
        ...step,
        expected_A: limits?.expected_A ?? null,
        lower_A: limits?.lower_A ?? null,
        upper_A: limits?.upper_A ?? null,
        ask_A: limits?.ask_A ?? null,
        trip_A: limits?.trip_A ?? null,
        ceiling_A: limits?.ceiling_A ?? null,
        supply_limit_A: limits?.supply_limit_A ?? null,
        because: (limits?.because ?? []).map((each) => ({
          ...each,
          value_A: each.unit === 'A' ? each.value : null,
        })),
      }
    }),
  }
}
