import type { Plan } from '../../plan/index.js'
import { type FaultSpec, readFault } from '../../virtual/index.js'
import { type Exit, exits } from '../exits.js'
import type { Io } from '../io.js'
import { notPlanned, planFiles, type PlanParts } from '../plan-files.js'
import { problemText } from '../problems.js'
import { refuse } from '../refuse.js'

/** A run or rehearsal that may be started: everything judged, nothing energised. */
export interface Prepared extends PlanParts {
  readonly plan: Plan
  readonly files: Readonly<Record<string, string>>
  /** Those of the bench file, then those of the command line. */
  readonly faults: readonly FaultSpec[]
}

/** What energising needs of it, whatever kind of plan it is. */
export type Ready = Pick<Prepared, 'plan' | 'equipment' | 'bench' | 'bench_path' | 'files' | 'faults'>

export interface PrepareFlags {
  readonly bench?: string
  readonly fault: readonly string[]
  /** Run seconds per second; a rehearsal has none. */
  readonly speed?: number
  readonly json?: boolean
}

/** Says what is wrong and returns the exit code, or what is needed to go on. */
export function prepare(
  command: 'run' | 'rehearse',
  profilePath: string,
  flags: PrepareFlags,
  io: Io,
): Prepared | Exit {
  const json = flags.json === true
  const planned = planFiles(profilePath, flags.bench, io.cwd, io.env)
  const { plan, parts, problems, files } = planned
  const refusal = notPlanned(planned, command, profilePath)
  if (refusal !== null) return refuse(io, json, refusal)
  if (plan === null || parts === null) return exits.finding
  const { bench, behind } = parts
  if (command === 'run' && bench.kind === 'real' && (flags.fault.length > 0 || flags.speed !== 1))
    return refuse(io, json, {
      exit: exits.usage,
      where: parts.bench_path,
      what: '--fault and --speed are for a virtual bench only; this bench file says `kind: real`.',
      remedy: 'Leave them out, or rehearse.',
      problems,
    })
  const faults: FaultSpec[] = []
  for (const text of [...bench.faults, ...flags.fault]) {
    const read = readFault(text, behind, bench)
    if (!read.ok)
      return refuse(io, json, {
        exit: exits.usage,
        where: text,
        what: `Fault ${text}: ${read.problem}.`,
        remedy: `${read.remedy}.`,
        problems,
      })
    faults.push(read.value)
  }
  for (const problem of problems) io.err(problemText(problem))
  return { ...parts, plan, files, faults }
}
