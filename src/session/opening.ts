import type { PortLine } from '../supply/index.js'
import { coldObjectionNow } from './cold-checks.js'
import { clearFormerRun } from './former-run.js'
import { openHandLines } from './off-words.js'
import { placesOf, virtualAs } from './places.js'
import { type BenchProcess, startBench } from './start-bench.js'
import type { Stops } from './stops.js'
import { givenUp, type NotBegun, type Start } from './types.js'

/** A bench that may be energised: what an earlier run left is made safe, and every line is there. */
export interface OpenBench {
  readonly kind: 'open'
  /** The program's own virtual bench; null where every line is someone else's. */
  readonly bench: BenchProcess | null
  readonly places: Readonly<Record<string, PortLine>>
}

/** The first acts of every start, before its cautions are shown. Every stop counts already. */
export async function openBench(
  start: Start,
  stops: Stops,
  told: (text: string) => void,
): Promise<OpenBench | NotBegun> {
  const { prepared } = start
  if (prepared.bench.kind === 'real' && process.platform !== 'linux')
    return {
      kind: 'not begun',
      why: 'usage',
      where: prepared.bench_path,
      what: 'A real bench is energised on Linux only.',
      remedy: 'Everything else works here, also `rehearse` and a virtual bench.',
    }
  const whole = { ...prepared, bench: start.whole ?? prepared.bench }
  const left = await clearFormerRun(whole, start.state_path, told)
  if (left?.kind === 'not begun') return left
  for (const line of openHandLines({ hand_rails: left?.hand_rails ?? {}, hand_last_V: {} }))
    told(`ALARM: ${line}`)
  if (stops.stopped()) return givenUp
  const cold = coldObjectionNow(start)
  if (cold !== null) return cold
  const as = virtualAs(prepared.bench)
  if (as === null) return { kind: 'open', bench: null, places: placesOf(prepared.bench, {}) }
  const bench = await startBench({
    bench: prepared.bench_path,
    as,
    speed: start.speed,
    faults: start.faults,
    seed: start.seed,
    mode: prepared.plan.steps[0]?.mode ?? '',
    load: start.load ?? null,
    lifted: start.lifted ?? null,
    givenUp: stops.givenUp,
  })
  if (!('trouble' in bench)) return { kind: 'open', bench, places: placesOf(prepared.bench, bench.places) }
  if (stops.stopped()) return givenUp
  return {
    kind: 'not begun',
    why: 'not reachable',
    where: prepared.bench_path,
    what: `The virtual bench did not start: ${bench.trouble}`,
  }
}
