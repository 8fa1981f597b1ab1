import { resolve } from 'node:path'
import type { Bench } from '../../bench/index.js'
import type { Equipment } from '../../equipment/index.js'
import { loadAll, type Problem } from '../../files/index.js'
import { makePlan, type Plan } from '../../plan/index.js'
import { checkFault, parseFault } from '../../virtual/index.js'
import { type Exit, exits } from '../exits.js'
import type { Io } from '../io.js'

/** A run that may be started: everything judged, nothing energised. */
export interface Prepared {
  readonly plan: Plan
  readonly bench: Bench
  readonly equipment: Equipment
  readonly bench_path: string
  readonly files: Readonly<Record<string, string>>
}

export interface PrepareFlags {
  readonly bench?: string
  readonly fault: readonly string[]
  readonly speed: number
}

/** Says on stderr what is wrong and returns the exit code, or what is needed to go on. */
export function prepare(profilePath: string, flags: PrepareFlags, io: Io): Prepared | Exit {
  const loaded = loadAll(
    resolve(io.cwd, profilePath),
    flags.bench === undefined ? undefined : resolve(io.cwd, flags.bench),
  )
  for (const problem of loaded.problems) io.err(problemLine(problem))
  if (loaded.profile.value !== null && loaded.bench === null) {
    io.err(
      'No bench is named: the profile has no `bench:` line, and --bench FILE was not given. slowglow never chooses one.',
    )
    return exits.usage
  }
  if (loaded.value === null || loaded.equipment === null || loaded.bench === null) return exits.finding
  const { profile, equipment, bench } = loaded.value
  if (bench.kind === 'real' && (flags.fault.length > 0 || flags.speed !== 1)) {
    io.err('--fault and --speed are for a virtual bench only; this bench file says `kind: real`.')
    return exits.usage
  }
  for (const text of flags.fault) {
    const parsed = parseFault(text)
    const misfit = parsed.ok ? checkFault(parsed.value, equipment, bench) : parsed
    if (misfit !== null) {
      io.err(`--fault ${text}: ${misfit.problem}. ${misfit.remedy}.`)
      return exits.usage
    }
  }
  const made = makePlan(profile, equipment, bench)
  for (const { severity, what, remedy } of made.problems) io.err(`${severity}: ${what} ${remedy}`)
  if (made.plan === null || made.problems.some(({ severity }) => severity === 'error')) return exits.finding
  return {
    plan: made.plan,
    bench,
    equipment,
    bench_path: loaded.bench.path,
    files: Object.fromEntries(
      [loaded.profile, loaded.equipment, loaded.bench].map((file) => [file.path, file.text]),
    ),
  }
}

export function problemLine(problem: Problem): string {
  return `${problem.file}:${problem.line}:${problem.column}: ${problem.severity}: ${problem.what}; ${problem.remedy}`
}
