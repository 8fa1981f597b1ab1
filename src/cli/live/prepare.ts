import type { Texts } from '../../files/index.js'
import type { Plan } from '../../plan/index.js'
import { type FaultSpec, readFault } from '../../virtual/index.js'
import { type Exit, exits } from '../exits.js'
import type { Io } from '../io.js'
import { notPlanned, planFiles, type PlanParts } from '../plan-files.js'
import { type PlanProblem, problemText } from '../problems.js'
import { type Refusal, refuse } from '../refuse.js'
import { runsFolders } from '../runs-folder.js'

/** A run or rehearsal that may be started: everything judged, nothing energised. */
export interface Prepared extends PlanParts {
  readonly plan: Plan
  readonly files: Readonly<Record<string, string>>
  /** Those of the bench file, then those of the command line. */
  readonly faults: readonly FaultSpec[]
}

export interface PrepareFlags {
  readonly bench?: string
  readonly fault: readonly string[]
  /** Run seconds per second; a rehearsal has none. */
  readonly speed?: number
  readonly json?: boolean
  /** Nobody stays. */
  readonly unattended?: boolean
  /** Folder of run files, where one is named. */
  readonly runs?: string | undefined
}
type Where = Pick<Io, 'cwd' | 'env'>

/** Says what is wrong and returns the exit code, or what is needed to go on. */
export function prepare(
  command: 'run' | 'rehearse',
  profilePath: string,
  flags: PrepareFlags,
  io: Io,
): Prepared | Exit {
  const made = prepared(command, profilePath, flags, io)
  if ('exit' in made) return refuse(io, flags.json === true, made)
  for (const problem of made.problems) io.err(problemText(problem))
  return made
}

/** The same as data: why nothing can be started, or what is needed to go on with the warnings that go with it. */
export function prepared(
  command: 'run' | 'rehearse',
  profilePath: string,
  flags: PrepareFlags,
  io: Where,
  texts?: Texts,
): (Prepared & { readonly problems: readonly PlanProblem[] }) | Refusal {
  const planned = planFiles(profilePath, flags.bench, io.cwd, io.env, texts, {
    unattended: flags.unattended === true,
    runs: runsFolders(flags.runs, io),
  })
  const { plan, parts, problems, files } = planned
  const refusal = notPlanned(planned, command, profilePath)
  if (refusal !== null) return refusal
  if (plan === null || parts === null) throw new Error('A plan without an error has its parts.')
  const { bench, behind } = parts
  if (command === 'run' && bench.kind === 'real' && (flags.fault.length > 0 || flags.speed !== 1))
    return {
      exit: exits.usage,
      where: parts.bench_path,
      what: '--fault and --speed are for a virtual bench only; this bench file says `kind: real`.',
      remedy: 'Leave them out, or rehearse.',
      problems,
    }
  const faults: FaultSpec[] = []
  for (const text of [...bench.faults, ...flags.fault]) {
    const read = readFault(text, behind, bench)
    if (!read.ok)
      return {
        exit: exits.usage,
        where: text,
        what: `Fault ${text}: ${read.problem}.`,
        remedy: `${read.remedy}.`,
        problems,
      }
    faults.push(read.value)
  }
  return { ...parts, plan, files, faults, problems }
}
