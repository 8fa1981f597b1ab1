import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { z } from 'zod'
import { version } from '../helpers/version.js'

const brokenShape = z.object({ seed: z.number(), invariant: z.string(), story: z.array(z.string()) })
const totalsShape = z.object({
  seed: z.number().int(),
  /** Runs from here on are not done yet. */
  next: z.number().int(),
  runs: z.number().int(),
  virtual_s: z.number(),
  /** Runs of each kind. */
  of: z.record(z.string(), z.number().int()),
  faults: z.record(z.string(), z.number().int()),
  ends: z.record(z.string(), z.number().int()),
  broken: z.array(brokenShape),
  /** The programs that were run. */
  versions: z.array(z.string()),
})
/** What many runs came to. */
export type Totals = z.infer<typeof totalsShape>

export function noTotals(seed: number, from: number): Totals {
  return {
    seed,
    next: from,
    runs: 0,
    virtual_s: 0,
    of: {},
    faults: {},
    ends: {},
    broken: [],
    versions: [version],
  }
}

/** What another process or a file says of itself. */
export function readTotals(told: unknown): Totals {
  return totalsShape.parse(told)
}

const summed = (a: Record<string, number>, b: Record<string, number>): Record<string, number> =>
  Object.fromEntries(
    [...new Set([...Object.keys(a), ...Object.keys(b)])]
      .toSorted((x, y) => x.localeCompare(y))
      .map((key) => [key, (a[key] ?? 0) + (b[key] ?? 0)]),
  )

export function joined(a: Totals, b: Totals): Totals {
  return {
    seed: a.seed,
    next: Math.max(a.next, b.next),
    runs: a.runs + b.runs,
    virtual_s: a.virtual_s + b.virtual_s,
    of: summed(a.of, b.of),
    faults: summed(a.faults, b.faults),
    ends: summed(a.ends, b.ends),
    broken: [...a.broken, ...b.broken],
    versions: [...new Set([...a.versions, ...b.versions])].toSorted(),
  }
}

/** What a file keeps of runs done before; null where there is none, or it is of another seed. */
export function kept(file: string, seed: number): Totals | null {
  if (!existsSync(file)) return null
  const found = readTotals(JSON.parse(readFileSync(file, 'utf8')))
  if (found.seed !== seed) throw new Error(`${file} keeps runs of seed ${found.seed}, not ${seed}.`)
  return found
}

/** Whole or not at all: whoever is stopped in the middle of it goes on from what was there. */
export function keep(file: string, totals: Totals): void {
  writeFileSync(`${file}.new`, `${JSON.stringify(totals, null, 1)}\n`)
  renameSync(`${file}.new`, file)
}
