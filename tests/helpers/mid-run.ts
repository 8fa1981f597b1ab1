import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Bench } from '../../src/bench/index.js'
import { type Chance, chance } from '../../src/chance/index.js'
import { seenIn } from '../../src/cli/seen-in.js'
import type { Equipment } from '../../src/equipment/index.js'
import { type Fault, type FaultKind, pointsOf, type Seen } from '../../src/faults/index.js'
import { sampleElements } from '../../src/limits/index.js'
import type { Plan } from '../../src/plan/index.js'
import { createRunFile, readRun } from '../../src/record/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'
import { type FaultSpec, readFault } from '../../src/virtual/index.js'
import { severe } from './faulty-sets.js'
import { known } from './runs.js'
import { rehearse } from './replayed.js'

interface Set {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
}

/** What comes while a set is under power: it breaks down, burns through, is shaken loose (common practice, no source). */
const comes: readonly FaultKind[] = [
  ...(['short', 'leaky', 'open', 'gassy', 'heater-open', 'no-emission'] as const),
  ...(['lead-off', 'bias-lost'] as const),
]

/** Resistors hardly ever come to be a short. */
const rare = 0.05

/** Faults of the library that the virtual bench can have come at a moment of a run. */
export function comingFaults(
  { equipment, bench }: Pick<Set, 'equipment' | 'bench'>,
  single: readonly Fault[],
): Fault[] {
  return single.filter(
    (fault) =>
      comes.includes(fault.kind) &&
      fault.weight >= rare &&
      (fault.changes.length > 0 || fault.heater !== null) &&
      readFault(`${fault.fault}@t>1s`, equipment, bench).ok,
  )
}

/** A fault that comes in the middle of a run: at volts on their way up, or at the beginning of a step. */
export function comingIn(set: Set, fault: Fault, seed: number): FaultSpec {
  const own = chance(seed).fork('coming')
  const spoilt = severe(fault, chance(seed).fork('faulty set').fork('severity'))
  const leak = spoilt.changes.find(({ is }) => is === 'leaks')
  const what = leak?.is === 'leaks' ? `${fault.part}:leaky=${leak.ohm.toFixed(0)} Ω` : fault.fault
  const text = `${what}@${momentIn(set, own)}`
  const read = readFault(text, set.equipment, set.bench)
  if (!read.ok) throw new Error(`${text}: ${read.problem}`)
  return read.value
}

function momentIn({ equipment, plan }: Set, own: Chance): string {
  const points = pointsOf(equipment, plan)
  // Never the first step under volts: what is there then was there all along.
  const at = 1 + Math.floor(own.next() * (points.length - 1))
  const { step } = points[at] ?? { step: plan.steps[plan.steps.length - 1] }
  if (step === undefined) throw new Error('a plan without a step under volts')
  const rail = step.rail
  if (own.next() < 0.5 || rail === null) return `step=${step.index}`
  const from_V = points[at - 1]?.point.volts[rail] ?? 0
  return `${rail}>${(from_V + (0.1 + 0.85 * own.next()) * (step.target_V - from_V)).toFixed(1)}V`
}

/**
 * What a whole run in virtual time tells of a set whose parts are drawn as those of `faultySets` with the same seed are: kept in a
 * run file and read back from it, as a diagnosis of a real one is.
 */
export function rehearsed({ equipment, bench, plan }: Set, fault: FaultSpec | null, seed: number): Seen {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-mid-run-'))
  try {
    const path = join(folder, 'one.slowglow')
    const writer = createRunFile(path, { fsync: false })
    const entries: RunEntry[] = []
    rehearse(plan, equipment, bench, {
      seed,
      faults: fault === null ? [] : [fault],
      drawn: (nominal) => sampleElements(equipment, nominal, chance(seed).fork('faulty set')),
      record: (entry) => entries.push(entry),
    })
    writer.append([
      {
        entry: 'known',
        known: { ...known, plan, seed, files: {}, faults: fault === null ? [] : [fault.text] },
      },
      ...streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
      ...entries,
    ])
    writer.close()
    const read = readRun(path, seenIn)
    if (!('value' in read)) throw new Error(read.trouble)
    return read.value
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}
