import { loadParts } from './parts.js'
import { type Simulated, simulate } from './simulation.js'

/*
 * npm run simulate -- --runs N --seed S [--from K] [--json]: N simulated runs, each with faults drawn by its own seed, every
 * invariant checked at every step. A run that breaks one is told as a short story: what is not needed to break it is left out.
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
const runs = option('runs', 200)
const seed = option('seed', 1)
const from = option('from', 0)
const json = process.argv.includes('--json')

const parts = loadParts()
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
process.exitCode = broken.length === 0 ? 0 : 1

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
