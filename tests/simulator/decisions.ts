import { createHash } from 'node:crypto'
import { mkdirSync, rmSync } from 'node:fs'
import { Session } from 'node:inspector'
import { chance } from '../../src/chance/index.js'
import { faultsOf } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import { rehearse } from '../../src/rehearse/index.js'
import type { Event } from '../../src/sequencer/index.js'
import { fedOf, type RunEntry, type Stream, streamsOf } from '../../src/story/index.js'
import { decided, fedSince, folder, keptFiles, readDecided, writeDecided } from '../helpers/decisions.js'
import { comingFaults, comingIn } from '../helpers/mid-run.js'
import type { Parts } from './parts.js'
import { simulate } from './simulation.js'

/** Sets beside the simulator's own whose rehearsals are kept: heaters, grids and drives that it has none of. */
const rehearsed = [
  'profiles/tern-rock/receive.yaml',
  'profiles/tern-rock/transmit.yaml',
  'tests/sets/hailer/receive.yaml',
  'tests/sets/converter/receive.yaml',
  'profiles/small-receiver/receive-network.yaml',
] as const

/** What any run comes by is come by so often. */
const times = 4
/** What one more file costs, as so many events. */
const file_costs = 1500

interface Made {
  readonly plan: Plan
  readonly of: string
  readonly fed: readonly Event[]
}

/**
 * Runs whose decisions are kept, chosen among so many simulated and rehearsed ones, and those that tests laid down in a folder, such that
 * each piece of the sequencer that any of them comes by is come by four times, short runs before long ones.
 *
 * @returns how many were kept, by file
 */
export function keepDecisions(
  parts: Parts,
  laid: string | null,
  runs: number,
  seed: number,
): ReadonlyMap<string, number> {
  const made = [
    ...(laid === null ? [] : keptFiles(laid)).flatMap((path): Made[] => {
      const { plan, runs: own } = readDecided(path)
      return own.map(({ of, fed }) => ({ plan, of, fed }))
    }),
    ...simulatedRuns(parts, runs, seed),
    ...rehearsedRuns(Math.ceil(runs / 20), seed),
  ]
  process.stderr.write(`${made.length} runs to choose of\n`)
  const by = new Map<string, Made[]>()
  for (const one of chosenOf(made)) {
    const file = fileOf(one.plan)
    by.set(file, [...(by.get(file) ?? []), one])
  }
  mkdirSync(folder, { recursive: true })
  for (const path of keptFiles(folder)) rmSync(path)
  for (const [file, all] of by) {
    const [first] = all
    if (first === undefined) continue
    const kept = all.map(({ plan, of, fed }) => ({ of, fed, gave: decided(plan, fed) }))
    writeDecided(`${folder}/${file}.json.gz`, { plan: first.plan, runs: kept })
  }
  return new Map([...by].map(([file, all]) => [file, all.length]))
}

/**
 * The same runs, fed what they were fed: what is given for it now is kept instead.
 *
 * @returns what differed first in each run in which something did
 */
export function decideAgain(): string[] {
  return keptFiles(folder).flatMap((path) => {
    const { plan, runs } = readDecided(path)
    const again = runs.map(({ of, fed }) => ({ of, fed, gave: decided(plan, fed) }))
    const differ = again.flatMap(({ of, gave }, i): string[] => {
      const before = (runs[i]?.gave ?? []).map((one) => JSON.stringify(one))
      const now = gave.map((one) => JSON.stringify(one))
      const first = now.findIndex((one, at) => one !== before[at])
      if (first < 0 && now.length === before.length) return []
      const at = first < 0 ? now.length : first
      return [`${of}\n  before: ${before[at] ?? 'nothing more'}\n  now:    ${now[at] ?? 'nothing more'}`]
    })
    if (differ.length > 0) writeDecided(path, { plan, runs: again })
    return differ
  })
}

/** A name for what runs of one plan are kept in. */
function fileOf(plan: Plan): string {
  const hash = createHash('sha1').update(JSON.stringify(plan)).digest('hex').slice(0, 6)
  return `${plan.equipment
    .toLowerCase()
    .replaceAll(/[^a-z0-9]+/g, '-')
    .slice(0, 40)}-${hash}`
}

function simulatedRuns(parts: Parts, runs: number, seed: number): Made[] {
  return Array.from({ length: runs }, (_, i): Made => {
    const run = simulate(parts, seed * 1_000_003 + i)
    const reason = run.reason === null ? '' : `, ${run.reason}`
    return {
      plan: parts.kind(run.of).plan,
      of: `${run.of}, seed ${run.seed}: ${run.how}${reason}`,
      fed: fedIn(run.entries),
    }
  })
}

/** What the sequencer was fed, as its record tells it; up to where something was dropped. */
function fedIn(entries: readonly RunEntry[]): Made['fed'] {
  const streams = new Map<number, Stream>()
  const events: Event[] = []
  for (const entry of JSON.parse(JSON.stringify(entries)) as RunEntry[]) {
    if (entry.entry === 'stream') streams.set(entry.stream.id, entry.stream)
    const event = fedOf(entry, streams)
    if (event === 'not understood') break
    if (event !== null) events.push(event)
  }
  return fedSince(events)
}

/** As they are, and with faults that come in the middle of them. */
function rehearsedRuns(runs: number, seed: number): Made[] {
  return rehearsed.flatMap((path) => {
    const all = loadAll(path).value
    if (all === null) throw new Error(`${path} does not load.`)
    const { equipment, bench } = all
    const { plan } = makePlan(all.profile, equipment, bench)
    if (plan === null) throw new Error(`${path} has no plan.`)
    const coming = comingFaults({ equipment, bench }, faultsOf(equipment))
    return Array.from({ length: runs }, (_, i): Made => {
      const own = seed + i
      const fault = coming[Math.floor(chance(own).fork('kept').next() * coming.length)]
      const spec = i === 0 || fault === undefined ? null : comingIn({ equipment, bench, plan }, fault, own)
      const entries: RunEntry[] = streamsOf(plan).map((stream) => ({ entry: 'stream', stream }))
      rehearse(plan, equipment, bench, {
        seed: own,
        faults: spec === null ? [] : [spec],
        record: (entry) => entries.push(entry),
      })
      return { plan, of: `rehearsed, ${spec?.text ?? 'nothing wrong'}`, fed: fedIn(entries) }
    })
  })
}

function chosenOf(made: readonly Made[]): Made[] {
  const session = new Session()
  session.connect()
  session.post('Profiler.enable')
  session.post('Profiler.startPreciseCoverage', { callCount: true, detailed: true })
  const comesBy = made.map(({ plan, fed }) => {
    covered(session)
    decided(plan, fed)
    return covered(session)
  })
  session.post('Profiler.stopPreciseCoverage')
  session.disconnect()
  const wanted = new Map<string, number>()
  for (const ranges of comesBy)
    for (const range of ranges) wanted.set(range, Math.min(times, (wanted.get(range) ?? 0) + 1))
  const left = new Set(made.keys())
  const chosen: Made[] = []
  const files = made.map(({ plan }) => fileOf(plan))
  const begun = new Set<string>()
  const worth = (i: number): number => {
    let more = 0
    for (const range of comesBy[i] ?? []) if ((wanted.get(range) ?? 0) > 0) more++
    return more / (500 + (made[i]?.fed.length ?? 0) + (begun.has(files[i] ?? '') ? 0 : file_costs))
  }
  for (;;) {
    let best = -1
    let most = 0
    for (const i of left) {
      const own = worth(i)
      if (own > most) [best, most] = [i, own]
    }
    const one = made[best]
    if (one === undefined) return chosen
    left.delete(best)
    begun.add(files[best] ?? '')
    chosen.push(one)
    for (const range of comesBy[best] ?? []) wanted.set(range, (wanted.get(range) ?? 0) - 1)
  }
}

/** Pieces of the sequencer that were come by since the last time. */
function covered(session: Session): string[] {
  let ranges: string[] = []
  session.post('Profiler.takePreciseCoverage', (error, told) => {
    if (error !== null) throw error
    ranges = told.result
      .filter(({ url }) => url.includes('/src/sequencer/'))
      .flatMap(({ url, functions }) =>
        functions.flatMap(({ ranges: all }) =>
          all.flatMap(({ startOffset, endOffset, count }) =>
            count > 0 ? [`${url.slice(url.lastIndexOf('/'))} ${startOffset} ${endOffset}`] : [],
          ),
        ),
      )
  })
  return ranges
}
