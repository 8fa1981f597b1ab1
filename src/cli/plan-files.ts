import { createHash } from 'node:crypto'
import { resolve } from 'node:path'
import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import { loadAll, type Problem } from '../files/index.js'
import { makePlan, type Plan, planText } from '../plan/index.js'
import type { Profile } from '../profile/index.js'

/** What stands in the way of a plan or goes with it: in a file at a place, or in how the files fit together. */
export interface PlanProblem {
  readonly severity: 'error' | 'warning'
  readonly what: string
  readonly remedy: string
  readonly at: Pick<Problem, 'file' | 'line' | 'column' | 'path'> | null
}

export interface PlannedFiles {
  readonly plan: Plan | null
  readonly problems: readonly PlanProblem[]
  /** No bench is named anywhere: wrong usage, not a finding. */
  readonly noBench: boolean
  readonly parts: { readonly profile: Profile; readonly equipment: Equipment; readonly bench: Bench } | null
  /** Input files as they were: path → text. */
  readonly files: Readonly<Record<string, string>>
}

/**
 * Loads a profile with all it names and makes its plan, hash included. `benchPath` takes the place of the profile's bench.
 * The same for every command that plans: what `plan` prints is what `run` obeys.
 */
export function planFiles(profilePath: string, benchPath: string | undefined, cwd: string): PlannedFiles {
  const all = loadAll(
    resolve(cwd, profilePath),
    benchPath === undefined ? undefined : resolve(cwd, benchPath),
  )
  const inFiles = all.problems.map(({ severity, what, remedy, file, line, column, path }) => ({
    severity,
    what,
    remedy,
    at: { file, line, column, path },
  }))
  const files: Record<string, string> = {}
  for (const loaded of [all.profile, all.equipment, all.bench, all.benchEquipment]) {
    if (loaded !== null) files[loaded.path] = loaded.text
  }
  const noBench = all.profile.value !== null && all.bench === null
  if (all.value === null) return { plan: null, problems: inFiles, noBench, parts: null, files }
  const { profile, equipment, bench } = all.value
  const made = makePlan(profile, equipment, bench)
  const problems = [...inFiles, ...made.problems.map((each) => ({ ...each, at: null }))]
  return { plan: made.plan === null ? null : hashed(made.plan), problems, noBench, parts: all.value, files }
}

/** The plan with its SHA-256 over everything else in it. */
export function hashed(plan: Plan): Plan {
  return { ...plan, hash: createHash('sha256').update(planText(plan)).digest('hex') }
}
