import { fork } from 'node:child_process'
import { resolve } from 'node:path'
import { loadParts, type Parts } from './parts.js'
import { type Simulated, simulate } from './simulation.js'
import { joined, keep, kept, noTotals, readTotals, type Totals } from './totals.js'

/** Runs handed to one process at a time; what is kept grows by so many. */
const piece = 50

export interface ManyRuns {
  readonly runs: number
  readonly seed: number
  readonly from: number
  /** Processes at a time. */
  readonly jobs: number
  readonly file: string | null
}

/** Runs `from` to `from + count`, in this process. */
export function someRuns(parts: Parts, seed: number, from: number, count: number): Totals {
  const totals = noTotals(seed, from)
  const { of, faults, ends } = totals
  for (let i = from; i < from + count; i++) {
    const run = simulate(parts, seed * 1_000_003 + i)
    totals.virtual_s += run.virtual_s
    of[run.of] = (of[run.of] ?? 0) + 1
    for (const [kind, n] of run.faults) faults[kind] = (faults[kind] ?? 0) + n
    ends[run.how] = (ends[run.how] ?? 0) + 1
    for (const { invariant } of run.broken) {
      const short = shortest(parts, run, invariant)
      const told = short.broken
        .filter((each) => each.invariant === invariant)
        .map(({ t_s, text }) => `${t_s.toFixed(2).padStart(8)} s  BROKEN: ${invariant}: ${text}`)
      totals.broken.push({ seed: run.seed, invariant, story: [...short.story, ...told] })
    }
  }
  return { ...totals, runs: count, next: from + count }
}

/** Over several processes, going on from what `file` keeps; broken runs are told as they come. */
export async function manyRuns({ runs, seed, from, jobs, file }: ManyRuns): Promise<Totals> {
  let totals = (file === null ? null : kept(file, seed)) ?? noTotals(seed, from)
  const end = from + runs
  const began = Date.now()
  const before = totals.runs
  let next = totals.next
  /** Pieces that are done but follow on one that is not: what is kept has no gap. */
  const early = new Map<number, Totals>()
  const take = (done: Totals, at: number): void => {
    for (const { seed: own, story } of done.broken)
      process.stderr.write(`seed ${own}:\n${story.join('\n')}\n\n`)
    early.set(at, done)
    for (let ready = early.get(totals.next); ready !== undefined; ready = early.get(totals.next)) {
      early.delete(totals.next)
      totals = joined(totals, ready)
    }
    if (file !== null) keep(file, totals)
    const left_s = ((Date.now() - began) / Math.max(1, totals.runs - before) / 1000) * (end - totals.next)
    if (process.stderr.isTTY)
      process.stderr.write(
        `\r${totals.runs} done, ${totals.broken.length} broken, ${Math.round(left_s)} s left  `,
      )
  }
  if (jobs <= 1) {
    const parts = loadParts()
    for (; next < end; next = totals.next) {
      const count = Math.min(piece, end - next)
      take(someRuns(parts, seed, next, count), next)
    }
    return totals
  }
  const worker = async (): Promise<void> => {
    const other = new Elsewhere()
    try {
      while (next < end) {
        const at = next
        const count = Math.min(piece, end - at)
        next += count
        take(await other.runs(seed, at, count), at)
      }
    } finally {
      other.end()
    }
  }
  await Promise.all(Array.from({ length: jobs }, worker))
  return totals
}

/** A process of its own, so that both cores work; piece after piece, so that what the engine has made fast once stays so. */
class Elsewhere {
  private readonly child = fork(resolve(import.meta.dirname, 'worker.js'))

  runs(seed: number, from: number, count: number): Promise<Totals> {
    return new Promise((give, fail) => {
      const done = (totals: unknown): void => {
        this.child.off('exit', lost)
        give(readTotals(totals))
      }
      const lost = (code: number | null): void => {
        this.child.off('message', done)
        fail(new Error(`Runs ${from} to ${from + count} ended with ${code}.`))
      }
      this.child.once('message', done).once('exit', lost)
      this.child.send({ seed, from, count })
    })
  }
  end(): void {
    this.child.disconnect()
  }
}

/** The same run with every fault left out that is not needed to break this invariant. */
function shortest(parts: Parts, run: Simulated, invariant: string): Simulated {
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
