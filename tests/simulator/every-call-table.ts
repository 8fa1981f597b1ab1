import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { z } from 'zod'
import { version } from '../helpers/version.js'
import { callKinds, callsOf, callWays, failCall, recordCalls, waysOf } from './every-call.js'
import type { Part } from './parts.js'

const rowShape = z.object({
  kind: z.enum(callKinds),
  way: z.enum(callWays),
  calls: z.number().int(),
  tried: z.number().int(),
  ends: z.record(z.string(), z.number().int()),
  broken: z.array(z.object({ n: z.number(), what: z.string(), invariant: z.string(), text: z.string() })),
  version: z.string(),
})
/** What became of the runs of which one call, each its own, failed in one way. */
export type CallRow = z.infer<typeof rowShape>

export interface EveryCall {
  /** Of calls on the lines, which are many, each so many-th; calls to the record are all tried. */
  readonly stride: number
  /** Kinds whose names begin with this; all where null. */
  readonly only: string | null
  /** What was done before, by file: stopped and started again, it goes on behind the last whole row. */
  readonly file: string | null
  readonly told: (row: CallRow) => void
}

export function everyCall(part: Part, { stride, only, file, told }: EveryCall): readonly CallRow[] {
  const rows: CallRow[] =
    file !== null && existsSync(file) ? z.array(rowShape).parse(JSON.parse(readFileSync(file, 'utf8'))) : []
  for (const kind of callKinds) {
    if (only !== null && !kind.startsWith(only)) continue
    const calls = callsOf(part, kind).calls.length
    const each = recordCalls.some((other) => other === kind) ? 1 : stride
    for (const way of waysOf(kind)) {
      if (rows.some((row) => row.kind === kind && row.way === way)) continue
      const row: CallRow = { kind, way, calls, tried: 0, ends: {}, broken: [], version }
      for (let n = 1; n <= calls; n += each) {
        const { what, run } = failCall(part, kind, n, way)
        row.tried++
        row.ends[run.how] = (row.ends[run.how] ?? 0) + 1
        for (const { invariant, text } of run.broken) row.broken.push({ n, what, invariant, text })
      }
      rows.push(row)
      told(row)
      if (file !== null) writeFileSync(file, `${JSON.stringify(rows, null, 1)}\n`)
    }
  }
  return rows
}

/** For people. */
export function everyCallTable(rows: readonly CallRow[], stride: number): string {
  const versions = [...new Set(rows.map(({ version: of }) => of))]
  return [
    '# Every call fails once',
    '',
    `Made by \`npm run simulate -- --every-call tests/simulator/EVERY-CALL.md --stride ${stride}\` (program at ${versions.join(', ')}). A simulated bring-up to which nothing else happens`,
    'is run again and again: of one kind of call, to a line or to the record, the first fails, then the second, then the third, until it has been each',
    'one’s turn (of calls on the lines, where so many, some, evenly over the run); once passing, and for good from there on. Every run is held against every',
    'invariant, and must end. What cannot pass (a closed connection, a file that took nothing) fails for good only.',
    '',
    '| what fails | way | calls in an untouched run | runs | they ended | invariants broken |',
    '|---|---|---|---|---|---|',
    ...rows.map(
      ({ kind, way, calls, tried, ends, broken }) =>
        `| ${kind} | ${way} | ${calls} | ${tried} | ${Object.entries(ends)
          .toSorted(([a], [b]) => a.localeCompare(b))
          .map(([how, n]) => `${how} ${n}`)
          .join(', ')} | ${broken.length} |`,
    ),
    '',
  ].join('\n')
}
