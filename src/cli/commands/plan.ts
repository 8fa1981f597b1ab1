import { relative } from 'node:path'
import type { Plan } from '../../plan/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { planFiles, type PlanProblem } from '../plan-files.js'
import { ownLimits, planPage } from '../plan-text.js'
import type { Register } from './index.js'

interface Options {
  readonly bench?: string
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
    .option('--json', 'one JSON document on standard output')
    .action((profile: string, options: Options) => {
      process.exitCode = plan(profile, options, io)
    })
}

/** Returns the exit code. */
export function plan(profile: string, options: Options, io: Io): number {
  const planned = planFiles(profile, options.bench, io.cwd)
  const json = options.json === true
  if (planned.noBench && !planned.problems.some(({ severity }) => severity === 'error')) {
    io.err(`slowglow plan: ${profile} names no bench. Name one in it (bench: …), or give --bench FILE.`)
    return exits.usage
  }
  for (const problem of planned.problems) io.err(problemLine(problem, io.cwd))
  if (planned.plan === null) {
    if (json) printJson(io, { plan: null, problems: planned.problems })
    io.err('slowglow plan: no plan; nothing is energised without one.')
    return exits.finding
  }
  if (json) printJson(io, planJson(planned.plan, planned.problems))
  else io.out(planPage(planned.plan))
  return exits.done
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

/** A problem as one says it: where, what, what to do. */
export function problemLine({ severity, what, remedy, at }: PlanProblem, cwd: string): string {
  const near = at === null ? '' : relative(cwd, at.file)
  const file = near === '' || near.startsWith('..') ? (at?.file ?? '') : near
  const where = at === null ? '' : `${file}:${at.line}:${at.column}: `
  return `${where}${severity === 'error' ? '' : 'warning: '}${what}\n    ${remedy}`
}
