import { coverageOf, type CoverageOf, type Fault } from '../../faults/index.js'
import { itemsFor, makeWorksheet } from '../../worksheet/index.js'
import { coverageText, hidingIn } from '../coverage-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { learnedFor } from '../learned.js'
import { notPlanned, planFiles } from '../plan-files.js'
import { type Priors, priorOption, priorsOf } from '../priors.js'
import { problemText } from '../problems.js'
import { type Refusal, refuse } from '../refuse.js'
import type { Register } from './index.js'

interface Options {
  readonly bench?: string
  readonly all?: boolean
  readonly prior: readonly string[]
  readonly json?: boolean
}

/** `slowglow coverage PROFILE`: every single fault of the set tried against the plan, before any power. */
export const registerCoverage: Register = (program, io) => {
  program
    .command('coverage')
    .description(
      'which single faults the plan notices, at which step and with what stress; which it cannot see',
    )
    .argument('<profile>', 'profile file')
    .option('--bench <file>', 'bench file, in place of the one the profile names')
    .option('--all', 'every fault and every hand check, none left out')
    .addOption(priorOption())
    .option('--json', 'one JSON document on standard output')
    .action((profile: string, options: Options) => {
      process.exitCode = coverage(profile, options, io)
    })
}

function coverage(profile: string, { bench, all = false, prior, json = false }: Options, io: Io): Exit {
  const planned = planFiles(profile, bench, io.cwd, io.env)
  const refusal = notPlanned(planned, 'coverage', profile)
  if (refusal !== null) return refuse(io, json, refusal)
  const { plan, parts } = planned
  if (plan === null || parts === null) return exits.finding
  for (const problem of planned.problems) io.err(problemText(problem))
  if (parts.lifted !== null) return refuse(io, json, liftedOut(profile))
  const priors = priorsOf(prior, parts.equipment, profile)
  if ('exit' in priors) return refuse(io, json, priors)
  const covered = coveredBy({ equipment: parts.equipment, bench: parts.bench, plan }, parts.set_path, priors)
  if (json) printJson(io, covered)
  else io.out(coverageText(covered, all))
  return covered.total === 0 ? exits.finding : exits.done
}

/**
 * What a plan notices, with the cold checks that look for what it does not and the pairs that hide one another.
 *
 * @param setPath - the set's own file: the book beside it says how often its faults come
 * @param priors - what a person says of that besides
 */
export function coveredBy(of: CoverageOf, setPath?: string, priors?: Priors) {
  const book =
    setPath === undefined ? null : learnedFor(of.plan, of.equipment, setPath, new Date().toISOString())
  const usual = book?.weight ?? (({ weight }: Fault) => weight)
  const made = coverageOf({
    ...of,
    weight: (fault) =>
      priors === undefined ? usual(fault) : priors.weight({ ...fault, weight: usual(fault) }),
    learned: [...(book?.weighed ?? []), ...(priors?.told ?? [])],
  })
  const sheet = makeWorksheet(of.equipment)
  return {
    ...made,
    hiding: hidingIn(made),
    hand_checks: made.hand_checks.map((check) => ({ ...check, items: itemsFor(sheet, check.part) })),
  }
}

/** Why a profile that forms lifted electrolytics has no coverage. */
export const liftedOut = (profile: string): Refusal => ({
  exit: exits.usage,
  where: profile,
  what: 'This profile forms electrolytics that are lifted out of the set: there is no circuit of which a fault could be tried.',
  remedy: 'Name a profile that brings the set up.',
})
