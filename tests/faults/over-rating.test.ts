import { describe, expect, it } from 'vitest'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { type Operator, willing } from '../../src/rehearse/index.js'
import type { RunEvent } from '../../src/story/index.js'
import { fault } from './demo.js'
import { rehearse } from '../helpers/replayed.js'

/*
 * The small receiver with a cathode resistor that runs its output tube near its 12 W (design-centre, so 14.4 W are allowed):
 * between the two the run goes on, says so, and has the tube's cathode read once before it ends.
 */
function hardRun(faults: readonly string[], operator: Operator = willing) {
  const all = loadAll('profiles/small-receiver/receive-network.yaml').value
  const R12 = all?.equipment.parts.R12
  if (all === null || R12?.kind !== 'resistor') throw new Error('The small receiver does not load.')
  const equipment = { ...all.equipment, parts: { ...all.equipment.parts, R12: { ...R12, ohm: 120 } } }
  const { plan, problems } = makePlan(all.profile, equipment, all.bench)
  if (plan === null) throw new Error(JSON.stringify(problems))
  const events: RunEvent[] = []
  const shown = new Set<string>()
  const clipped_V: number[] = []
  const rehearsal = rehearse(plan, equipment, all.bench, {
    seed: 1,
    faults: faults.map(fault),
    operator: (ask, at) => {
      if (ask.text.includes('Clip the meter on V4 cathode'))
        clipped_V.push(at.world.truth().rails.HT?.volts ?? NaN)
      return operator(ask, at)
    },
    watch: (view) => {
      for (const { over_rating } of view.rails) if (over_rating !== undefined) shown.add(over_rating)
      return undefined
    },
    record: (entry) => {
      if (entry.entry === 'event') events.push(entry.event)
    },
  })
  const said = (what: string): string[] =>
    events.flatMap((event) => (event.what === what ? [event.text] : []))
  return { plan, ...rehearsal, said, shown: [...shown], clipped_V }
}

describe('a tube between its rating and what its rating system allows', () => {
  it('goes on, is shown over its rating with its per cent, and has its cathode read once with HT down to clip on', () => {
    const run = hardRun(['V4:strong=2'])
    expect(run.ending.outcome).toBe('completed')
    expect(run.shown.join()).toMatch(/^V4 \(6V6GT\) plate dissipation over its rating, \d+ %/)
    // A warning is what makes the run end with 1.
    expect(run.ending.warnings.join('\n')).toMatch(/V4 \(6V6GT\) plate dissipation is over its rating, \d+ %/)
    expect(run.said('prompt').filter((text) => text.startsWith('V4 reads over its rating'))).toHaveLength(1)
    expect(run.clipped_V).toHaveLength(1)
    expect(run.clipped_V[0]).toBeLessThan(60)
    expect(run.said('judgement').join('\n')).toMatch(/over its rating by its own cathode too, \d+ %/)
    expect(run.ending.steps_done).toBe(run.plan.steps.length)
    // A rail that was lowered on purpose draws little: nothing is asked about that.
    expect(run.said('prompt').filter((text) => text.includes('Go on, or stop?'))).toEqual([])
  })

  it('is not asked about where it reads as it should: those steps are passed over and count for nothing', () => {
    const run = hardRun([])
    const sure = run.plan.steps.filter(({ only_if }) => only_if === undefined)
    expect(run.plan.steps.length).toBeGreaterThan(sure.length)
    expect(run.ending.outcome).toBe('completed')
    expect(run.ending.warnings.filter((text) => text.includes('rating'))).toEqual([])
    expect(run.clipped_V).toEqual([])
    expect(run.ending.steps_done).toBe(sure.length)
    expect(run.plan.expected_s).toBeCloseTo(
      sure.reduce((sum, step) => sum + step.expected_s, 0),
      -1,
    )
  })

  it('stops the run where its own cathode reads more than the rating system allows', () => {
    const reads12: Operator = (ask, at) =>
      ask.text.includes('V4 reads over its rating. Read its cathode') && ask.wants.kind === 'reading'
        ? { after_s: 3, value: 12 }
        : willing(ask, at)
    const run = hardRun(['V4:strong=2'], reads12)
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.text).toMatch(/12 V is outside .* to 9\.1/)
    expect(run.ending.outputs_off).toBe('confirmed')
  })
})
