import { loadAll } from '../../src/files/index.js'
import { cautionsFor } from '../../src/cautions/index.js'
import { makePlan } from '../../src/plan/index.js'
import type { View } from '../../src/sequencer/index.js'
import type { Ended, LiveView, Snapshot } from '../../src/service/api/index.js'
import { rehearse } from '../helpers/replayed.js'

/** The small receiver rehearsed once: what a page would have been shown, second by second. */
const all = loadAll('profiles/small-receiver/receive.yaml')
if (all.value === null) throw new Error(JSON.stringify(all.problems))
const { profile, equipment, bench } = all.value
const made = makePlan(profile, equipment, bench)
if (made.plan === null) throw new Error('the small receiver has no plan')
export const plan = made.plan

const seen: View[] = []
const { ending } = rehearse(plan, equipment, bench, {
  seed: 5,
  faults: [],
  record: () => undefined,
  watch(view) {
    seen.push(view)
    return undefined
  },
})
export const views: readonly View[] = seen
export { ending }

/** As the service would send it, its readings a tenth of a second old. */
export const liveView = (view: View, now_ms: number): LiveView => ({
  ...view,
  heard_ms: now_ms,
  rails: view.rails.map((rail) => ({
    ...rail,
    measured_ms: rail.age_s === null ? null : now_ms - 100,
    stale_ms: 3000,
  })),
})

export const nothing: Omit<Snapshot, 'now_ms'> = {
  epoch: 'first',
  phase: 'none',
  live: null,
  run: null,
  cautions: null,
  view: null,
  lines: {},
  prompt: null,
  hands_clear: null,
  stop: null,
  messages: [],
  ended: null,
  refused: null,
  viewers: 1,
}

const run: NonNullable<Snapshot['run']> = {
  run: '20260101-120000-small-receiver',
  profile: 'receive.yaml',
  profile_name: plan.profile,
  equipment: plan.equipment,
  bench: plan.bench,
  bench_kind: 'virtual',
  bench_file: 'bench.yaml',
  level: plan.level,
  plan_hash: 'played',
  speed: 1,
  faults: [],
  by: 'bench',
  asked_at: '2026-01-01T12:00:00.000Z',
  rails: Object.values(plan.rails).map(({ name, role, class: of }) => ({ rail: name, role, class: of })),
}

export const atCautions: Omit<Snapshot, 'now_ms'> = {
  ...nothing,
  phase: 'cautions',
  live: 'one',
  run,
  cautions: { text: cautionsFor(plan.figures, plan), word: 'lantern' },
}
export const running = (view: View, now_ms: number): Omit<Snapshot, 'now_ms'> => ({
  ...nothing,
  phase: 'running',
  live: 'one',
  run,
  view: liveView(view, now_ms),
  messages: [{ n: 1, at_ms: 0, kind: 'notice', text: 'Hook-up confirmed by the person.' }],
})

const confirmed: Ended = {
  outcome: 'stopped',
  ended_at: '2026-01-01T12:05:01.000Z',
  sentence: 'A person stopped the run at the page: outputs off at once.',
  outputs_off: 'confirmed',
  outputs: 'Outputs confirmed off, measured at the supplies.',
  alarm: false,
  rails: ['HT: 3.1 V, output read back as off'],
  open_hand_rails: [],
  charge_of: "The set's stored charge",
  charge: [
    { node: 'B+', volts: null, meter: null, age_s: null, text: 'B+: not measured: take it as charged' },
  ],
  charge_words: 'Measure before touching.',
  reason: null,
  figures: null,
  warnings: [],
  by_hand: [],
  lines: [],
  steps_done: 9,
  duration_s: 412,
  ending,
}
export const ended = (how: Partial<Ended> = {}): Omit<Snapshot, 'now_ms'> => ({
  ...nothing,
  phase: 'ended',
  live: 'one',
  run,
  ended: { ...confirmed, ...how },
})
