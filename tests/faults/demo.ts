import type { Bench } from '../../src/bench/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import type { Profile } from '../../src/profile/index.js'
import type { Operator, Rehearsal } from '../../src/rehearse/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { type FaultSpec, parseFault } from '../../src/virtual/index.js'
import { rehearse } from '../helpers/replayed.js'

/** The demo's receiver profile as it stands, or with a changed bench or profile. */
export function demo(
  change: (bench: Bench) => Bench = (bench) => bench,
  pace: (profile: Profile) => Profile = (profile) => profile,
) {
  const all = loadAll('profiles/tern-rock/receive.yaml')
  if (all.value === null) throw new Error(JSON.stringify(all.problems))
  const { equipment } = all.value
  const profile = pace(all.value.profile)
  const bench = change(all.value.bench)
  const { plan, problems } = makePlan(profile, equipment, bench)
  if (plan === null) throw new Error(JSON.stringify(problems))
  return { plan, equipment, bench }
}

/** The same stages with short holds: enough to meet a fault in. */
export function brisk(profile: Profile): Profile {
  const stages = profile.stages.map((stage) =>
    stage.do === 'ramp' ? { ...stage, hold_s: stage.rail === 'heaters' ? 30 : 10 } : stage,
  )
  return { ...profile, stages }
}

export function fault(text: string): FaultSpec {
  const parsed = parseFault(text)
  if (!parsed.ok) throw new Error(`${parsed.problem}; ${parsed.remedy}`)
  return parsed.value
}

export interface Told extends Rehearsal {
  readonly entries: readonly RunEntry[]
  /** What was said, by kind. */
  said(what: string): string[]
  /** Highest volts seen at a stream. */
  highest(stream: string): number
}

export function told(
  { plan, equipment, bench }: { plan: Plan } & Pick<ReturnType<typeof demo>, 'equipment' | 'bench'>,
  faults: readonly string[],
  seed = 1,
  operator?: Operator,
): Told {
  const entries: RunEntry[] = []
  const rehearsal = rehearse(plan, equipment, bench, {
    seed,
    faults: faults.map(fault),
    record: (entry) => entries.push(entry),
    ...(operator === undefined ? {} : { operator }),
  })
  return {
    ...rehearsal,
    entries,
    said: (what) =>
      entries.flatMap((entry) =>
        entry.entry === 'event' && entry.event.what === what ? [entry.event.text] : [],
      ),
    highest(stream) {
      const id = streams(plan).indexOf(stream) + 1
      let highest = 0
      for (const entry of entries) {
        if (entry.entry !== 'reading' || entry.stream !== id) continue
        highest = Math.max(highest, Number(`${entry.n}e-${entry.k}`))
      }
      return highest
    },
  }
}

function streams(plan: Plan): string[] {
  return Object.values(plan.rails).flatMap(({ channels }) =>
    channels.flatMap(({ channel }) => [`${channel}.V`, `${channel}.A`]),
  )
}
