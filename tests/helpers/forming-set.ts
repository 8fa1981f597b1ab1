import { resolve } from 'node:path'
import type { Bench } from '../../src/bench/index.js'
import { cutOffMeter, cutOffName, toCutOff } from '../../src/bench/to-cut-off.js'
import { loadAll } from '../../src/files/index.js'
import type { Plan } from '../../src/plan/index.js'
import type { Profile } from '../../src/profile/index.js'
import { qualifiedBench } from '../../src/qualify/index.js'
import { formedIn, type FormedStory } from '../../src/record/index.js'
import { liftedSet, reformPlan, type ReformOptions } from '../../src/reform/index.js'
import type { Operator, Rehearsal } from '../../src/rehearse/index.js'
import type { RunEntry, RunEvent } from '../../src/story/index.js'
import { fault } from '../faults/demo.js'
import { rehearse } from './replayed.js'
import { dead_man, qualification } from './unattended.js'

/* Two of the demo's electrolytics and few volts: a reform of minutes, with everything that a night has. */

const loaded = loadAll(resolve('profiles/tern-rock/reform.yaml')).value
if (loaded === null) throw new Error('the demo does not load')
const { profile: whole, equipment } = loaded
export const formingBenchFile: Bench = { ...loaded.bench, faults: [] }

const part = { of: null, joined: 'parallel', feed_ohm: 47_000, feed_error: 0.01, feed_rated_W: 2 } as const
const none = { feed_by_hand: null, measured: null }
export const shortForming: Profile = {
  ...whole,
  time_budget_s: 3 * 3600,
  reform: {
    ...(whole.reform ?? { rail: 'HT', target: 'period', heat_W: null, stored_years: null }),
    ...{ built_in: false, to_V: 60, hold_s: 120, rest_s: 60 },
    parts: { C3: { ...part, ...none }, C5: { ...part, ...none } },
  },
}

/** As unattended work wants it: a dead-man in the supply, its output qualified. */
export function fitForming(bench: Bench = formingBenchFile): Bench {
  const { high } = bench.supplies
  if (high === undefined) throw new Error('no supply of that name')
  const supplies = { high: { ...high, dialect: { ...high.dialect, dead_man } } }
  return qualifiedBench({ ...bench, supplies }, qualification(['high.out'], '2026-06-01'), '2026-09-01')
}

export const alone: Profile = { ...shortForming, unattended: true }

/** With no dead-man, and a relay that cuts its HT 4 s after nobody feeds it. */
export function cutOffForming(bench: Bench = formingBenchFile): Bench {
  const written: Parameters<typeof cutOffMeter>[0] = {
    line: { kind: 'virtual', as: 'pty', baud: 115200, spare_allowed: true },
    ...{ feed: ':REL:FEED?', closed_is: 1, after: 4, cuts: ['high'] },
  }
  const meters = { ...bench.meters, [cutOffName]: cutOffMeter(written) }
  const cut_off = toCutOff(written)
  return qualifiedBench(
    { ...bench, meters, cut_off },
    qualification(['high.out'], '2026-06-01'),
    '2026-09-01',
  )
}

/** With neither, and a timer of its own that opens the interlock of its supply. */
export function timerForming(bench: Bench = formingBenchFile): Bench {
  const outside_timer = { cuts: ['high'], shortest_s: 60 }
  return qualifiedBench({ ...bench, outside_timer }, qualification(['high.out'], '2026-06-01'), '2026-09-01')
}

export function formingPlanOf(
  profile: Profile,
  bench: Bench,
  options: ReformOptions = {},
): { readonly plan: Plan; readonly bench: Bench; readonly set: ReturnType<typeof reformPlan>['set'] } {
  const made = reformPlan(profile, equipment, bench, options)
  if (made.plan === null || made.bench === null)
    throw new Error(made.problems.map(({ what }) => what).join('\n'))
  return { plan: made.plan, bench: made.bench, set: made.set }
}

export interface FormedRun {
  readonly plan: Plan
  readonly run: Rehearsal
  readonly events: readonly RunEvent[]
  readonly formed: readonly FormedStory[]
  readonly entries: readonly RunEntry[]
}

/** Rehearsed, and replayed to the last digit. */
export function formed(
  profile: Profile,
  file: Bench,
  options: ReformOptions & { readonly faults?: readonly string[]; readonly operator?: Operator } = {},
): FormedRun {
  const { plan, bench, set } = formingPlanOf(profile, file, options)
  const { reform } = profile
  if (reform === null) throw new Error('no reform')
  const entries: RunEntry[] = []
  const run = rehearse(plan, set, bench, {
    seed: 1953,
    faults: (options.faults ?? []).map(fault),
    behind: liftedSet(equipment, reform, true),
    record: (entry) => entries.push(entry),
    ...(options.operator !== undefined && { operator: options.operator }),
  })
  const events = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
  return { plan, run, events, formed: formedIn(plan, events), entries }
}
