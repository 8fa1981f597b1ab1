import { describe, expect, it } from 'vitest'
import { limitsHeld } from '../../src/console/review/held.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { rehearse } from '../../src/rehearse/index.js'
import { type HeldFrom, limitsInForce, replayExactly } from '../../src/replay/index.js'
import { type View, view } from '../../src/sequencer/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'

const all = loadAll('tests/helpers/short/receive.yaml').value
if (all === null) throw new Error('the short job does not load')
const made = makePlan(all.profile, all.equipment, all.bench).plan
if (made === null) throw new Error('the short job has no plan')
const plan = made
const entries: RunEntry[] = streamsOf(plan).map((stream) => ({ entry: 'stream', stream }))
const { ending } = rehearse(plan, all.equipment, all.bench, {
  seed: 5,
  faults: [],
  record: (entry) => {
    entries.push(entry)
  },
})
const { rails, replayed } = limitsInForce(plan, entries, 'rehearsal')

const heldAt = (held: readonly HeldFrom[], t_us: number): HeldFrom['limits'] =>
  held.findLast((each) => each.t_us <= t_us)?.limits ?? null

/** What a page was shown in the run itself, moment by moment. */
const shown: { readonly t_us: number; readonly rail: View['rails'][number] }[] = []
let n = 0
replayExactly(plan, entries, 'rehearsal', (state) => {
  n += 1
  if (n % 10 !== 0 || state.phase !== 'running') return
  for (const rail of view(state).rails) shown.push({ t_us: state.t_us, rail })
})

describe('the limits of a run that is looked at afterwards', () => {
  it('are those that were shown in it, at every moment: between two steps, wider while it charges, none while heaters are cold', () => {
    expect(ending.outcome).toBe('completed')
    expect(replayed).toMatchObject({ difference: null, gap: null })
    let [between, charging, cold] = [0, 0, 0]
    for (const { t_us, rail } of shown) {
      const { limits, charging_A = 0, soft_start, output } = rail
      const held = heldAt(rails[rail.rail] ?? [], t_us)
      if (output !== 'on' || limits === null) continue
      if (soft_start === true) {
        expect(held).toBeNull()
        cold += 1
        continue
      }
      // Proved below 5 V by windows of its own, it has no limits of a step.
      if (held === null) continue
      const room = 0.011 * (limits.ceiling_A + charging_A)
      expect(Math.abs(held.trip_A - limits.trip_A - charging_A)).toBeLessThan(room)
      expect(Math.abs(held.ceiling_A - limits.ceiling_A - charging_A)).toBeLessThan(room)
      if (held.band !== null) expect(Math.abs(held.band.upper_A - limits.upper_A)).toBeLessThan(room)
      if (charging_A > 0) charging += 1
      if (!plan.steps.some(({ limits: own }) => own[rail.rail]?.trip_A === limits.trip_A)) between += 1
    }
    expect(Math.min(between, charging, cold)).toBeGreaterThan(10)
  })

  it('are told in bends, and end with the run', () => {
    for (const held of Object.values(rails)) {
      expect(held.length).toBeGreaterThan(0)
      expect(held.length).toBeLessThan(3000)
      expect(held.at(-1)?.limits).toBeNull()
    }
  })
})

describe('the limits in a chart', () => {
  it('hold from moment to moment, and stop where nothing was in force and where the band is no yardstick', () => {
    const found = {
      rail: 'HT',
      t_s: [1, 2, 3, 4],
      trip_A: [3, 4, 4, null],
      ceiling_A: [5, 6, 6, null],
      expected_A: [1, 1, null, null],
      lower_A: [1, 1, null, null],
      upper_A: [2, 2, null, null],
    }
    const points = limitsHeld([found], 'HT', 9)
    expect(points.map(({ t_s, limits }) => [t_s, limits?.trip_A ?? null])).toEqual([
      [1, 3],
      [2, 3],
      [2, 4],
      [3, 4],
      [3, null],
      [3, 4],
      [4, 4],
      [4, null],
    ])
    expect(limitsHeld([{ ...found, t_s: [1] }], 'HT', 9).at(-1)).toMatchObject({ t_s: 9 })
    expect(limitsHeld(null, 'HT', 9)).toEqual([])
  })
})
