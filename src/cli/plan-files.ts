import { createHash } from 'node:crypto'
import { dirname, resolve } from 'node:path'
import type { Bench } from '../bench/index.js'
import { type Equipment, ownerDifferences, withOwnerChecks } from '../equipment/index.js'
import { loadAll, type Texts } from '../files/index.js'
import { makePlan, type Plan, type PlanOptions, planText } from '../plan/index.js'
import { type Earlier, liftedSet, reformPlan, type ReformOptions } from '../reform/index.js'
import type { Profile } from '../profile/index.js'
import { exits } from './exits.js'
import { experienceOf } from './live/earlier.js'
import { withEarlierRuns } from './earlier-runs.js'
import { withOrder } from './joined-last.js'
import { withColdChecks } from './plan-cold.js'
import { placed, type PlanProblem, shown } from './problems.js'
import type { Refusal } from './refuse.js'
import { checksPath, readChecks } from './tube/checks-file.js'
import type { OwnerCheck } from '../tubes/index.js'
import { differenceWords } from './tube/differences.js'

/** Everything a plan was made from, all of it sound and fitting together. */
export interface PlanParts {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
  readonly bench_path: string
  /** The set's own file; absent where parts lifted out of it are on the bench and not the set. */
  readonly set_path?: string
  /** The set behind a virtual bench: the profile's own unless the bench file names another. */
  readonly behind: Equipment
  /** Electrolytics lifted out of the set: the profile that says which, and the bench as its file has it. */
  readonly lifted: Lifted | null
}

export interface Lifted {
  readonly profile_path: string
  readonly whole: Bench
  /** The plan that takes up an earlier run. */
  readonly again: (earlier: Earlier) => Pick<PlannedFiles, 'plan' | 'problems'>
}

export interface PlannedFiles {
  readonly plan: Plan | null
  readonly problems: readonly PlanProblem[]
  /** No bench is named anywhere: wrong usage, not a finding. */
  readonly noBench: boolean
  readonly parts: PlanParts | null
  /** Input files as they were: path, as a person at `cwd` would type it → text. */
  readonly files: Readonly<Record<string, string>>
}

/** Where earlier runs lie, that tell how long a reform takes; left out, common practice says so. */
interface RunsWish {
  readonly runs?: readonly string[]
}

/**
 * Loads a profile with all it names and makes its plan, hash included. `benchPath` takes the place of the profile's bench.
 * The same for every command that plans: what `plan` prints is what `run` obeys.
 */
export function planFiles(
  profilePath: string,
  benchPath: string | undefined,
  cwd: string,
  env: Readonly<Record<string, string | undefined>> = {},
  texts?: Texts,
  options: PlanOptions & RunsWish = {},
): PlannedFiles {
  const all = loadAll(
    resolve(cwd, profilePath),
    benchPath === undefined ? undefined : resolve(cwd, benchPath),
    texts,
  )
  const inFiles = placed(all.problems, cwd)
  const files: Record<string, string> = {}
  for (const loaded of [all.profile, all.equipment, all.bench, all.benchEquipment, all.qualification]) {
    if (loaded !== null) files[shown(loaded.path, cwd)] = loaded.text
  }
  const noBench = all.profile.value !== null && all.bench === null
  if (all.value === null || all.bench === null)
    return { plan: null, problems: inFiles, noBench, parts: null, files }
  const { profile, bench } = all.value
  const checked = checksOf(all.equipment?.path, env)
  for (const { path, text } of checked.files) files[shown(path, cwd)] = text
  const equipment = withOwnerChecks(all.value.equipment, checked.checks)
  const ofChecks = [
    ...checked.problems,
    ...ownerDifferences(all.value.equipment, checked.checks).map((each) => ({
      severity: 'warning' as const,
      ...differenceWords(each),
      at: null,
    })),
  ]
  const { reform } = profile
  if (reform !== null) {
    const how: ReformOptions = {
      unattended: options.unattended === true,
      experience:
        options.runs === undefined
          ? null
          : experienceOf(options.runs, equipment.name, Object.keys(reform.parts)),
    }
    const made = reformPlan(profile, equipment, bench, how)
    const behind = all.benchEquipment?.value ?? equipment
    return {
      plan: made.plan === null ? null : hashed(made.plan),
      problems: [...inFiles, ...ofChecks, ...made.problems.map((each) => ({ ...each, at: null }))],
      noBench,
      parts: {
        ...all.value,
        equipment: made.set,
        bench: made.bench ?? bench,
        bench_path: all.bench.path,
        behind: liftedSet(behind, reform, true),
        lifted: {
          profile_path: all.profile.path,
          whole: bench,
          again(earlier) {
            const taken = reformPlan(profile, equipment, bench, { ...how, earlier })
            return {
              plan: taken.plan === null ? null : hashed(taken.plan),
              problems: taken.problems.map((each) => ({ ...each, at: null })),
            }
          },
        },
      },
      files,
    }
  }
  const made = makePlan(profile, equipment, bench, options)
  const set_path = all.equipment?.path ?? null
  const plan =
    made.plan === null || set_path === null
      ? made.plan
      : [withEarlierRuns, withOrder, withColdChecks].reduce(
          (each, told) => told(each, equipment, set_path),
          made.plan,
        )
  return {
    plan: plan === null ? null : hashed(plan),
    problems: [...inFiles, ...ofChecks, ...made.problems.map((each) => ({ ...each, at: null }))],
    noBench,
    parts: {
      ...all.value,
      equipment,
      bench_path: all.bench.path,
      ...(set_path !== null && { set_path }),
      behind: all.benchEquipment?.value ?? equipment,
      lifted: null,
    },
    files,
  }
}

/** Tube figures the owner checked: in their own data folder and, counting last, beside the set's file. */
function checksOf(
  equipmentPath: string | undefined,
  env: Readonly<Record<string, string | undefined>>,
): {
  readonly checks: readonly OwnerCheck[]
  readonly problems: readonly PlanProblem[]
  readonly files: readonly { readonly path: string; readonly text: string }[]
} {
  const beside = equipmentPath === undefined ? null : checksPath(env, dirname(equipmentPath))
  const read = [checksPath(env), beside].map(readChecks)
  return {
    checks: read.flatMap(({ checks }) => checks),
    files: read.flatMap(({ file }) => (file === null ? [] : [file])),
    problems: read.flatMap(({ trouble }) =>
      trouble === null
        ? []
        : [
            {
              severity: 'warning' as const,
              what: trouble,
              remedy: 'mend or move it; until then no check in it counts',
              at: null,
            },
          ],
    ),
  }
}

/** Why there is nothing to go on with; null where there is a plan without an error. Its problems are then still to be told. */
export function notPlanned(
  { plan, problems, noBench }: PlannedFiles,
  command: string,
  profile: string,
): Refusal | null {
  const errors = problems.some(({ severity }) => severity === 'error')
  if (noBench && !errors)
    return {
      exit: exits.usage,
      where: profile,
      what: `slowglow ${command}: ${profile} names no bench, and slowglow never chooses one.`,
      remedy: 'Name one in it (bench: …), or give --bench FILE.',
      problems,
    }
  if (plan !== null && !errors) return null
  return {
    exit: exits.finding,
    where: profile,
    what: `slowglow ${command}: no plan; nothing is energised without one.`,
    remedy: 'Mend what is named; `slowglow check` says when nothing is left.',
    problems,
  }
}

/** The plan with its SHA-256 over everything else in it. */
export function hashed(plan: Plan): Plan {
  return { ...plan, hash: createHash('sha256').update(planText(plan)).digest('hex') }
}
