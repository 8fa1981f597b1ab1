import type { Exit } from './exits.js'
import { type Io, printJson } from './io.js'
import type { PlanProblem } from './problems.js'
import { problemText } from './problems.js'

/** Why a command did not do what was asked, and what to do: told before anything was done. */
export interface Refusal {
  readonly exit: Exit
  /** Whole sentences. */
  readonly what: string
  readonly remedy?: string
  /** File, port, flag or node it is about. */
  readonly where?: string
  /** Each thing wrong in the files, where that is why. */
  readonly problems?: readonly PlanProblem[]
}

/** Says it on stderr; under `--json` also as the one document on stdout. Returns the exit code. */
export function refuse(io: Io, json: boolean, refusal: Refusal): Exit {
  const { exit, what, remedy, problems = [] } = refusal
  for (const problem of problems) io.err(problemText(problem))
  io.err(remedy === undefined ? what : `${what} ${remedy}`)
  if (json) printJson(io, errorJson(refusal))
  return exit
}

/** The shape of every refusal under `--json`. */
export function errorJson({ exit, what, remedy, where, problems = [] }: Refusal): Record<string, unknown> {
  return { error: { exit, what, where: where ?? null, remedy: remedy ?? null, problems } }
}
