import { relative } from 'node:path'
import type { Problem } from '../files/index.js'

/** What stands in the way of a plan or goes with it: in a file at a place, or in how the files fit together. */
export interface PlanProblem {
  readonly severity: 'error' | 'warning'
  readonly what: string
  readonly remedy: string
  readonly at: Pick<Problem, 'file' | 'line' | 'column' | 'path'> | null
}

/** A path as a person at this folder would type it. */
export function shown(path: string, cwd: string): string {
  const near = relative(cwd, path)
  return near === '' || near.startsWith('..') ? path : near
}

/** A path inside a command that is to be typed. */
export const quoted = (path: string): string => (/\s/.test(path) ? `"${path}"` : path)

/** Problems of files, their paths as a person at `cwd` would type them. */
export function placed(problems: readonly Problem[], cwd: string): PlanProblem[] {
  return problems.map(({ severity, what, remedy, file, line, column, path }) => ({
    severity,
    what,
    remedy,
    at: { file: shown(file, cwd), line, column, path },
  }))
}

/** A problem as one says it: where, what, what to do. */
export function problemText({ severity, what, remedy, at }: PlanProblem): string {
  const where = at === null ? '' : `${at.file}:${at.line}:${at.column}: `
  return `${where}${severity === 'error' ? '' : 'warning: '}${what}\n    ${remedy}`
}
