import { writeFileSync } from 'node:fs'
import { callKinds, callsOf, failCall } from './every-call.js'
import { loadParts } from './parts.js'
import { signalTable } from './signals.js'
import { type Simulated, simulate } from './simulation.js'

/*
 * npm run simulate -- --runs N --seed S [--from K] [--json]: N simulated runs, each with faults drawn by its own seed, every
 * invariant checked at every step. A run that breaks one is told as a short story: what is not needed to break it is left out.
 * npm run simulate -- --every-call [--stride K] [--json]: the n-th call on a port fails, once and for good, for every K-th n.
 * npm run simulate -- --signals FILE: each reading spoilt in each way at each moment of a run, as a table for people.
 */
const option = (name: string, otherwise: number): number => {
  const at = process.argv.indexOf(`--${name}`)
  const value = at < 0 ? otherwise : Number(process.argv[at + 1])
  if (!Number.isInteger(value) || value < 0) {
    process.stderr.write(`--${name} takes a whole number.\n`)
    process.exit(2)
  }
  return value
}
const json = process.argv.includes('--json')

const parts = loadParts()
const table = process.argv.indexOf('--signals')
process.exitCode =
  table >= 0
    ? allSignals(process.argv[table + 1] ?? 'tests/faults/SIGNALS.md')
    : process.argv.includes('--every-call')
      ? everyCall(Math.max(1, option('stride', 1)))
      : manyRuns(option('runs', 200), option('seed', 1), option('from', 0))

/** Runs with faults drawn by their seeds. Returns the exit code. */
function manyRuns(runs: number, seed: number, from: number): number {
  const faults = new Map<string, number>()
  const ends = new Map<string, number>()
  const broken: { seed: number; invariant: string; story: readonly string[] }[] = []
  let virtual_s = 0
  const began = Date.now()
  let shown_ms = began
  for (let i = from; i < from + runs; i++) {
    const own = seed * 1_000_003 + i
    const run = simulate(parts, own)
    virtual_s += run.virtual_s
    for (const [kind, n] of run.faults) faults.set(kind, (faults.get(kind) ?? 0) + n)
    ends.set(run.how, (ends.get(run.how) ?? 0) + 1)
    for (const { invariant, t_s, text } of run.broken) {
      const short = shortest(run, invariant)
      const story = [...short.story, `${t_s.toFixed(2).padStart(8)} s  BROKEN: ${invariant}: ${text}`]
      broken.push({ seed: own, invariant, story })
      process.stderr.write(`seed ${own}: ${invariant}: ${text}\n${story.join('\n')}\n\n`)
    }
    if (process.stderr.isTTY && Date.now() - shown_ms > 1000) {
      shown_ms = Date.now()
      const left_s = (((Date.now() - began) / (i + 1 - from)) * (from + runs - i - 1)) / 1000
      process.stderr.write(
        `\r${i + 1 - from} of ${runs}, ${broken.length} broken, ${Math.round(left_s)} s left  `,
      )
    }
  }
  const sorted = (map: ReadonlyMap<string, number>): Record<string, number> =>
    Object.fromEntries([...map].toSorted(([a], [b]) => a.localeCompare(b)))
  if (json)
    process.stdout.write(
      `${JSON.stringify({ runs, seed, from, virtual_s, faults: sorted(faults), ends: sorted(ends), broken })}\n`,
    )
  else {
    const total = [...faults.values()].reduce((sum, n) => sum + n, 0)
    process.stdout.write(
      `${runs} runs from seed ${seed}, ${Math.round(virtual_s)} virtual s in ${Math.round((Date.now() - began) / 1000)} s, ${total} faults of ${faults.size} kinds: ${broken.length} broken.\n`,
    )
    for (const [how, n] of Object.entries(sorted(ends)))
      process.stdout.write(`  ${String(n).padStart(6)}  ${how}\n`)
  }
  return broken.length === 0 ? 0 : 1
}

function allSignals(file: string): number {
  const { text, broken } = signalTable(parts, (row) => process.stderr.write(`${row}\n`))
  writeFileSync(file, text)
  return broken === 0 ? 0 : 1
}

/** Every K-th call of each kind fails once, and for good; each line told is one kind and way. Returns the exit code. */
function everyCall(stride: number): number {
  const rows = callKinds.flatMap((kind) => {
    const { calls } = callsOf(parts, kind)
    return (['once', 'for good'] as const).map((way) => {
      const ends = new Map<string, number>()
      const broken: { n: number; what: string; invariant: string; text: string }[] = []
      let tried = 0
      for (let n = 1; n <= calls.length; n += stride) {
        const { what, run } = failCall(parts, kind, n, way)
        tried++
        ends.set(run.how, (ends.get(run.how) ?? 0) + 1)
        for (const { invariant, text } of run.broken) broken.push({ n, what, invariant, text })
      }
      process.stderr.write(`${kind}, ${way}: ${tried} of ${calls.length} calls, ${broken.length} broken\n`)
      for (const each of broken.slice(0, 5)) process.stderr.write(`  ${JSON.stringify(each)}\n`)
      return { kind, way, calls: calls.length, tried, ends: Object.fromEntries(ends), broken }
    })
  })
  if (json) process.stdout.write(`${JSON.stringify({ stride, rows })}\n`)
  return rows.every(({ broken }) => broken.length === 0) ? 0 : 1
}

/** The same run with every fault left out that is not needed to break this invariant. */
function shortest(run: Simulated, invariant: string): Simulated {
  const without = new Set<string>()
  let best = run
  for (const kind of run.faults.keys()) {
    const tried = simulate(parts, run.seed, new Set([...without, kind]))
    if (!tried.broken.some((each) => each.invariant === invariant)) continue
    without.add(kind)
    best = tried
  }
  return best
}
