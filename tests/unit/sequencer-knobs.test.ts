import { describe, expect, it } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { byHand, smallPlan } from '../helpers/small-plan.js'
import { knownOf, partOf, quickly, ran, reason, steps } from '../helpers/standing.js'

/* Rails on a person's own knob: what is asked, what an answer is taken for, and what stands still meanwhile. */

/** The words of the questions since then. */
const wordsSince = (rig: Rig, from: number): string =>
  rig.commands
    .slice(from)
    .flatMap((command) => (command.kind === 'prompt' ? [command.ask.text] : []))
    .join('\n')
const said = (rig: Rig, value: number | 'yes'): string => {
  const from = rig.commands.length
  rig.answer(value)
  return wordsSince(rig, from)
}

describe('HT counts as having been up', () => {
  /** HT by hand, its first step to 58 V. */
  const typing = (volts: number): Rig => {
    const low = steps((step) => (step.target_V === 100 ? { ...step, target_V: 58 } : step))
    const rig = new Rig(smallPlan((plan) => low(byHand('HT')(plan)))).start()
    rig.types['knob HT'] = volts
    return quickly(rig, 'its volts', () => (rig.state.rails['HT']?.V?.value ?? 0) > 0)
  }

  it('once more than may be touched was typed, whatever had been asked for', () => {
    expect(typing(55).state.ht_was_up).toBe(false)
    expect(typing(61).state.ht_was_up).toBe(true)
  })

  it('by no knob of heaters', () => {
    const rig = new Rig(smallPlan(byHand('LT'))).start()
    quickly(rig, 'the heaters', () => rig.state.rails['LT']?.energised === true)
    expect(rig.state.ht_was_up).toBe(false)
    const chain = steps((step) =>
      step.rail === 'LT' && step.target_V === 12 ? { ...step, target_V: 60 } : step,
    )
    const long = new Rig(smallPlan((plan) => chain(byHand('LT')(plan)))).start()
    long.types['knob LT'] = 61
    quickly(long, 'its volts', () => long.state.rails['LT']?.V?.value === 61)
    expect(long.state.ht_was_up).toBe(false)
  })
})

describe('a reading that was typed', () => {
  it('is good for its fifteen minutes, however long ago the run began', () => {
    const rig = new Rig(smallPlan(byHand('LT')))
    rig.t_us = 1e9
    partOf(rig.start(), 4, 'hold')
    expect(rig.asked()).toContain('knob LT')
    expect(rig.asked()).not.toContain('renew LT')
    knownOf(rig, 'LT', { V: { value: 12, t_us: rig.t_us - 901e6 } })
    rig.tick()
    expect(rig.asked()).toContain('renew LT')
  })

  it('and is asked for again holds every rise until it is answered', () => {
    const rig = partOf(new Rig(smallPlan(byHand('LT'))).start(), 6, 'ramp')
    rig.unanswered = /^renew /
    knownOf(rig, 'LT', { V: { value: 12, t_us: rig.t_us - 901e6 } })
    ran(rig, 0.2)
    const stood_V = rig.set['ht.1']
    expect(rig.state.prompt?.purpose.kind).toBe('renew')
    expect(reason(ran(rig, 2))).toBeUndefined()
    expect(rig.set['ht.1']).toBe(stood_V)
    rig.unanswered = null
    rig.answer(12)
    ran(rig, 8)
    expect(rig.set['ht.1']).toBeGreaterThan(stood_V ?? 0)
  })
})

describe('a knob that is watched by a meter', () => {
  const watchedHeaters = (plan: Plan): Plan => {
    const { LT } = plan.rails
    const like = plan.meters['grid meter']
    if (LT === undefined || like === undefined) throw new Error('no small plan')
    return {
      ...plan,
      rails: { ...plan.rails, LT: { ...LT, class: 'watched', channels: [], volts_meter: 'LT V' } },
      meters: { ...plan.meters, 'LT V': { ...like, name: 'LT V', at: null } },
      steps: plan.steps
        .filter(({ hookup }) => hookup?.rail !== 'LT')
        .map((step) => ({ ...step, soft_start_s: 0 })),
    }
  }
  const turned = (): Rig => {
    const rig = new Rig(smallPlan(watchedHeaters)).start()
    rig.unanswered = /^knob /
    return quickly(rig, 'the question', () => rig.state.prompt?.purpose.kind === 'knob')
  }

  it('and was confirmed before that meter said anything reads nothing: it is asked again', () => {
    const rig = turned()
    expect(said(rig, 'yes')).toMatch(/^LT reads 0 V; turn it to 12 V/)
    expect(rig.state.part).toBe('asking')
  })

  it('is there within a twentieth and half a volt, and asked again beyond that', () => {
    for (const [volts, part] of [
      [10.8, 'asking'],
      [11.0, 'hold'],
      [13.0, 'hold'],
      [13.2, 'asking'],
    ] as const) {
      const rig = turned()
      rig.meters['LT V'] = volts
      rig.tick()
      said(rig, 'yes')
      expect([volts, rig.state.part]).toEqual([volts, part])
    }
  })
})

describe('a knob of heaters whose ammeter a person reads', () => {
  const read = (change: (plan: Plan) => Plan = (plan) => plan): Rig => {
    const rig = new Rig(
      smallPlan((plan) => {
        const { LT } = byHand('LT')(plan).rails
        return change({ ...byHand('LT')(plan), rails: { ...plan.rails, LT: { ...LT!, amps_meter: 'LT A' } } })
      }),
    ).start()
    rig.unanswered = /^knob /
    return quickly(rig, 'the question', () => rig.state.prompt?.purpose.kind === 'knob')
  }

  it('is asked for its volts and then for its current, up to the trip, before the step holds', () => {
    const rig = read()
    expect(said(rig, 12)).toContain('Read the current of LT on its ammeter')
    expect(rig.state.prompt).toMatchObject({ purpose: { rail: 'LT', wants: 'A' }, low: 0, unit: 'A' })
    expect(rig.state.prompt?.high).toBeCloseTo(6.4)
    expect([rig.state.part, rig.state.rails['LT']?.A]).toEqual(['asking', null])
    said(rig, 4)
    expect(rig.state.part).toBe('hold')
    expect(rig.state.rails['LT']).toMatchObject({ A: { value: 4 }, V: { value: 12 } })
  })

  it('is not where no current is expected', () => {
    const none = steps((step) => ({
      ...step,
      limits: Object.fromEntries(
        Object.entries(step.limits).map(([name, each]) => [
          name,
          name === 'LT' ? { ...each, expected_A: 0 } : each,
        ]),
      ),
    }))
    const rig = read(none)
    expect(said(rig, 12)).not.toContain('ammeter')
    expect(rig.state.part).toBe('hold')
  })
})

describe('a knob that goes down last', () => {
  it('is not asked for where it was never up', () => {
    const rig = partOf(new Rig(smallPlan(byHand('HT'))).start(), 3, 'hold')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    rig.period_us = 400_000
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'confirmed' })
    expect(rig.asked()).not.toContain('hand off HT')
  })

  it('is down only by volts that were typed, and that count as off', () => {
    const rig = partOf(new Rig(smallPlan(byHand('HT'))).start(), 5, 'hold')
    rig.unanswered = /^hand off /
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'hand off')
    expect(said(rig, 'yes')).toMatch(/^A number of volts is wanted here\. Turn HT down/)
    expect(said(rig, 5.1)).toMatch(/^5\.1\d* V is not off \(at most 5(\.0+)? V\)\. /)
    expect(rig.state.rails['HT']?.energised).toBe(true)
    expect(rig.state.prompt?.purpose.kind).toBe('hand off')
    expect(said(rig, 5)).toBe('')
    expect(rig.state.rails['HT']?.energised).toBe(false)
    expect(rig.state.prompt).toBeNull()
  })
})
