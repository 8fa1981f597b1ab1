import { resolve } from 'node:path'
import { type Texts, textsWithin } from '../../files/index.js'
import { type DeskPlace, Refused } from '../../service/index.js'
import { exits } from '../exits.js'
import type { PlanProblem } from '../problems.js'
import type { Refusal } from '../refuse.js'

export interface Where extends DeskPlace {
  readonly env: Readonly<Record<string, string | undefined>>
}

/** Texts of the folder and nothing outside of it; those not written yet stand in for theirs. */
export function textsOf({ folder }: Where, unwritten: Readonly<Record<string, string>> = {}): Texts {
  return textsWithin(
    folder,
    new Map(Object.entries(unwritten).map(([path, text]) => [resolve(folder, path), text])),
  )
}

/** A path of the folder as an absolute one; refused where it leads out. */
export function pathIn(where: Where, path: string): string {
  const at = resolve(where.folder, path)
  if (!textsOf(where).reaches(at))
    throw new Refused(404, 'not found', `${path} does not lie in the folder of this service.`, {
      remedy: 'Name a file by its path from that folder.',
      where: path,
    })
  return at
}

/** What a command would refuse, as it goes over the API. */
export function refusedAs({ exit, what, remedy, where, problems = [] }: Refusal): Refused {
  const more = {
    problems: problems.map(problemOf),
    ...(remedy !== undefined && { remedy }),
    ...(where !== undefined && { where }),
  }
  switch (exit) {
    case exits.usage:
      return new Refused(422, /names no bench/.test(what) ? 'no bench' : 'bad request', what, more)
    case exits.recordNotAvailable:
      return new Refused(503, 'record not available', what, more)
    default:
      return new Refused(422, 'findings', what, more)
  }
}

export const problemOf = ({ severity, what, remedy, at }: PlanProblem) => ({
  severity,
  what,
  remedy,
  at: at === null ? null : { file: at.file, line: at.line, column: at.column, path: at.path },
})
