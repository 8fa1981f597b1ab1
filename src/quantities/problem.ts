/** Something wrong (or doubtful) in a file, told where it stands, what it is and what would be right. */
export interface Problem {
  readonly severity: 'error' | 'warning'
  readonly file: string
  /** Both from 1. */
  readonly line: number
  readonly column: number
  /** Dotted path inside the file, empty for the whole file. */
  readonly path: string
  readonly what: string
  readonly remedy: string
}

export type Path = readonly (string | number)[]
export interface Position {
  readonly file: string
  readonly line: number
  readonly column: number
}
/** Where something stands in its file: the value at this path, its key, or the nearest thing around it that exists. */
export type Where = (path: Path, which?: 'key' | 'value') => Position

/** Collects the problems of one file. */
export interface Report {
  readonly problems: Problem[]
  error(path: Path, what: string, remedy: string, which?: 'key' | 'value'): void
  warn(path: Path, what: string, remedy: string, which?: 'key' | 'value'): void
}

/** More than a person reads at once; a file that is wrong throughout must not take minutes to say so. */
const most = 200

export function createReport(where: Where): Report {
  const problems: Problem[] = []
  const add =
    (severity: Problem['severity']) =>
    (path: Path, what: string, remedy: string, which: 'key' | 'value' = 'value') => {
      if (problems.length > most) return
      if (problems.length === most) {
        problems.push({
          severity: 'error',
          ...where([], 'value'),
          path: '',
          what: `more than ${most} things are wrong; only the first are shown`,
          remedy: 'mend these, and check again',
        })
        return
      }
      problems.push({ severity, ...where(path, which), path: path.join('.'), what, remedy })
    }
  return { problems, error: add('error'), warn: add('warning') }
}

/** `what: a, b`, or `none` where there is nothing to name: a list of nothing tells nobody what to write. */
export function listed(what: string, names: readonly string[], none: string): string {
  return names.length === 0 ? none : `${what}: ${names.join(', ')}`
}

/** Up to three candidates that differ from `word` by little, nearest first; letter case counts for nothing. */
export function nearest(word: string, candidates: Iterable<string>): string[] {
  const wanted = word.toLowerCase().slice(0, 60)
  const allowed = Math.max(1, Math.floor(wanted.length / 3))
  return [...candidates]
    .map((candidate) => ({ candidate, far: distance(wanted, candidate.toLowerCase().slice(0, 60)) }))
    .filter(({ far }) => far <= allowed)
    .sort((a, b) => a.far - b.far)
    .slice(0, 3)
    .map(({ candidate }) => candidate)
}

/** Letters to change, add, drop or exchange with their neighbour (optimal string alignment). */
function distance(a: string, b: string): number {
  let before: number[] = []
  let row = Array.from({ length: b.length + 1 }, (_, i) => i)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) {
      const kept = (row[j - 1] ?? 0) + (a[i - 1] === b[j - 1] ? 0 : 1)
      const swapped = i > 1 && j > 1 && a[i - 1] === b[j - 2] && a[i - 2] === b[j - 1]
      next.push(
        Math.min(
          kept,
          (row[j] ?? 0) + 1,
          (next[j - 1] ?? 0) + 1,
          swapped ? (before[j - 2] ?? 0) + 1 : Infinity,
        ),
      )
    }
    before = row
    row = next
  }
  return row[b.length] ?? 0
}

/** A value that a record holds itself: a name such as `constructor` is never found where nobody wrote it. */
export function own<T>(record: Readonly<Record<string, T>>, name: string): T | undefined {
  return Object.hasOwn(record, name) ? record[name] : undefined
}
