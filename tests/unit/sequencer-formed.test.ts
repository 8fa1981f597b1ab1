import { describe, expect, it } from 'vitest'
import type { Plan, ReformJudgement, ReformPart, Step } from '../../src/plan/index.js'
import {
  asideAsk,
  feedExchanged,
  reformJudged,
  reformPasses,
  takenOff,
  turnsAside,
} from '../../src/sequencer/reform.js'
import type { State } from '../../src/sequencer/index.js'
import type { Draft } from '../../src/sequencer/state.js'
import { momentOf, now_us, recorded, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'
import {
  formingAt as at,
  formingPlan,
  liftIt,
  partGivenUp,
  partWaits,
  smallReform,
} from '../helpers/small-reform.js'

/* What the estimator says of each electrolytic, and what comes of it: a part comes off, or is brought nearer to its volts by hand. */

const [before, off, rung200, top, swap, reTest, past] = [2, 3, 6, 7, 8, 9, 10]
const plan = formingPlan()
const both = { C1: partWaits, C2: partWaits }
const judgement = (more: Partial<ReformJudgement> = {}, leak_A: number | null = 2e-3): ReformJudgement => ({
  ...{ part: 'C1', step: rung200 + 1, act: 'go on', reach_V: 220, verdict: null, code: null },
  ...{ text: 'leaks little' },
  figures: {
    ...{ volts: 198, leak_A, held_s: 60, F: null, F_error: null, limit_A: 1e-3, resolves_A: 1e-6 },
    ...{ slope: null, soonest_s: null, latest_s: null },
  },
  ...more,
})
const judged = (
  more: Partial<ReformJudgement>,
  d = at(rung200, both),
  leak_A: number | null = 2e-3,
): Draft => {
  reformJudged(d, judgement(more, leak_A))
  return d
}
const warnings = (d: Draft): readonly string[] => d.s.warnings

describe('what is said of a part', () => {
  it('is kept of it, and in the record with all of its figures', () => {
    const d = judged({ again_s: 40 })
    expect(d.s.reform).toEqual({
      C1: { act: 'go on', step: 7, reach_V: 220, formed_V: 200, verdict: null, off: false, again_s: 40 },
      C2: partWaits,
    })
    const [entry] = d.out.flatMap((one) => (one.kind === 'record' ? [one.entry] : []))
    expect(entry).toMatchObject({ what: 'judgement', text: 'C1: leaks little.', rail: 'HT' })
    expect(entry?.data).toEqual({ reform: judgement({ again_s: 40 }) })
    expect(recorded(judged({ verdict: 'good' }))).toBe('C1: good: leaks little.')
  })

  it('counts for nothing once the run goes off, of a part that has its verdict, or of one that is not there', () => {
    for (const d of [
      judged({}, at(rung200, both, { phase: 'making off' })),
      judged({}, at(rung200, { ...both, C1: partGivenUp })),
      judged({ part: 'C9' }),
    ]) {
      expect(d.out).toEqual([])
      expect(d.s.reform['C1']?.formed_V).toBe(0)
      expect(Object.keys(d.s.reform)).toEqual(['C1', 'C2'])
    }
  })

  it('makes it formed at the volts of the step it may go on from, never at those that it waits at or gives up', () => {
    expect(judged({}).s.reform['C1']?.formed_V).toBe(200)
    expect(judged({ act: 'wait' }).s.reform['C1']?.formed_V).toBe(0)
    expect(judged({ act: 'give up', verdict: 'replace' }).s.reform['C1']?.formed_V).toBe(0)
    // What was once formed stays so, and a step that is not in the plan forms nothing.
    const once = { ...both, C1: { ...partWaits, formed_V: 230 } }
    expect(judged({}, at(rung200, once)).s.reform['C1']?.formed_V).toBe(230)
    expect(judged({ step: 99 }).s.reform['C1']?.formed_V).toBe(0)
  })

  it('is where it came to at the last volts only where it goes on from there, with a leakage that was read', () => {
    const atTop = { step: top + 1 }
    expect(judged(atTop).s.reform['C1']?.top).toEqual({ volts: 198, leak_A: 2e-3 })
    for (const not of [
      judged({}),
      judged({ step: reTest + 1 }),
      judged({ step: 99 }),
      judged({ ...atTop, act: 'wait' }),
      judged({ ...atTop, act: 'give up', verdict: 'replace' }),
      judged(atTop, at(top, both), null),
    ])
      expect(not.s.reform['C1']).not.toHaveProperty('top')
  })

  it('is told as a warning where it is not as good as new', () => {
    for (const verdict of ['marginal', 'replace', 'not judged'] as const)
      expect(warnings(judged({ verdict }))).toEqual([`C1 is ${verdict}: leaks little.`])
    for (const verdict of ['good', 'not finished', null] as const)
      expect(warnings(judged({ verdict }))).toEqual([])
  })
})

describe('a part that is given up', () => {
  const giveUp = { act: 'give up', verdict: 'replace', code: 'rising', text: 'leaks more and more' } as const

  it('is told with its verdict and the rule that ended it, and the run stays with the others', () => {
    const d = judged(giveUp)
    expect(warnings(d)).toEqual(['C1 leaks more and more. Verdict: replace (rising).'])
    expect(d.broken).toEqual([])
    expect(warnings(judged({ ...giveUp, verdict: null }))).toEqual([
      'C1 leaks more and more. Verdict: not judged (rising).',
    ])
  })

  it('ends a run that nobody stays with: behind its resistor it would go on', () => {
    const unattended = formingPlan({}, { unattended: { layers: [], refused: [] } })
    const d = judged(giveUp, at(rung200, both, {}, unattended))
    expect(warnings(d)).toEqual([])
    expect(d.broken).toMatchObject([{ rail: 'HT', step: 7 }])
    expect(d.broken[0]?.text).toMatch(
      /^C1 leaks more and more\. Verdict: replace \(rising\)\. Nobody is there .* The others are not finished/,
    )
    const last = judged(giveUp, at(rung200, { C1: partWaits, C2: partGivenUp }, {}, unattended))
    expect(last.broken[0]?.text).toMatch(/so the run ends\.$/)
  })

  const parts = { C1: partGivenUp, C2: partWaits }

  it('comes off before anything else: the run turns to the step for that, anew from its gate', () => {
    const rails = standing(plan, 'HT', 200, 0.02, {
      breaking: { rising: { count: 2, since_us: 0 } },
      in_window: { count: 1, at_us: 0 },
    })
    const d = at(rung200, parts, { rails, intent: { id: 3, recorded: true } })
    expect(turnsAside(d)).toBe(true)
    expect(d.s).toMatchObject({
      ...{ step: off, part: 'gate', part_us: now_us, step_us: now_us, intent: null },
      rails: { HT: { breaking: {}, in_window: null } },
    })
    expect(d.out).toMatchObject([
      { kind: 'record', entry: { what: 'step', text: 'Step 4: take off (C1).', step: 4 } },
    ])
  })

  it('is left until an open question and what is under way on a line are done, and nothing else goes on', () => {
    const prompt: State['prompt'] = {
      ...{ id: 1, purpose: { kind: 'step' }, ask: liftIt, low: null, high: null, unit: '', text: '' },
      ...{ opened_us: now_us, until_us: now_us, tries: 0 },
    }
    const pending: State['pending'] = {
      4: { channel: 'ht.1', request: { do: 'set', volts: 1 }, t_us: now_us },
    }
    for (const busy of [{ prompt }, { pending }]) {
      const d = at(rung200, parts, busy)
      expect(turnsAside(d)).toBe(true)
      expect([d.s.step, d.out]).toEqual([rung200, []])
    }
  })

  it('does not turn the run while it comes off, before the climb began, or once it is off', () => {
    for (const d of [
      at(off, parts),
      at(before, parts),
      at(past, parts),
      at(rung200, { ...parts, C1: { ...partGivenUp, off: true } }),
      at(rung200, both),
      momentOf(smallPlan(), 6, { reform: parts }),
    ]) {
      const { step } = d.s
      expect(turnsAside(d)).toBe(false)
      expect([d.s.step, d.out]).toEqual([step, []])
    }
  })

  it('ends the climb where nothing is left to be formed, or no step is there to take it off', () => {
    const all = at(rung200, { C1: partGivenUp, C2: { ...partWaits, verdict: 'good' } })
    expect(turnsAside(all)).toBe(true)
    expect(all.s.step).toBe(plan.steps.length)
    const { steps } = plan
    const stay: Plan = { ...plan, steps: steps.filter(({ aside }) => aside !== true) }
    const none = at(rung200, parts, {}, stay)
    expect(turnsAside(none)).toBe(true)
    expect(none.s.step).toBe(steps.length - 1)
  })

  it('is named in the question, and counts as off once that is answered; no other part does', () => {
    const all = { ...parts, C3: { ...partGivenUp, off: true } }
    const d = at(off, all)
    const step = plan.steps[off]!
    expect(asideAsk(d.s, step)).toMatchObject({ text: 'C1 given up. Lift it.', about: 'lift C1' })
    expect(asideAsk(d.s, plan.steps[swap]!)).toBe(plan.steps[swap]?.ask)
    takenOff(d)
    expect(d.s.reform).toEqual({ ...all, C1: { ...partGivenUp, off: true } })
  })
})

const part = (name: string, more: Partial<ReformPart> = {}): ReformPart => ({
  ...smallReform.parts[0]!,
  ...{ name, next_feed: { ohm: 1000, error: 0.01, rated_W: 5 } },
  ...more,
})

describe('a smaller feed resistor', () => {
  const withFeeds = (...parts: readonly ReformPart[]): Plan => formingPlan({ parts })
  const alone = withFeeds(part('C1'))
  const came = (volts: number, leak_A: number, over: Partial<typeof partWaits> = {}): State['reform'] => ({
    C1: { ...partWaits, top: { volts, leak_A }, ...over },
  })
  /** Whether the step in which it is put in is passed over. */
  const passes = (of: Plan, parts: State['reform'], step: Partial<Step> = {}): boolean =>
    reformPasses(at(swap, parts, {}, of).s, { ...of.steps[swap]!, ...step })

  it('is put in where the part came to less than 95 % of its last volts', () => {
    expect(passes(alone, came(237, 1e-3))).toBe(false)
    expect(passes(alone, came(237.5, 1e-3))).toBe(true)
    expect(passes(alone, came(240, 1e-3))).toBe(true)
  })

  it('is not put in where what it leaks would heat its can too much, with all that is in the can', () => {
    // 1 W at 250 V is 4 mA, and of each of two sections 2 mA.
    expect(passes(alone, came(200, 3.9e-3))).toBe(false)
    expect(passes(alone, came(200, 4.1e-3))).toBe(true)
    const canned = withFeeds(part('C1', { cans: ['K1', 'K2'] }), part('C2', { cans: ['K2'] }), part('C3'))
    expect(passes(canned, came(200, 1.9e-3))).toBe(false)
    expect(passes(canned, came(200, 2.1e-3))).toBe(true)
    const apart = withFeeds(part('C1', { cans: ['K1'] }), part('C2', { cans: ['K2'] }))
    expect(passes(apart, came(200, 3.9e-3))).toBe(false)
  })

  it('is not put in where there is none, where the part has its verdict or never came to the last volts', () => {
    expect(passes(withFeeds(smallReform.parts[0]!), came(200, 1e-3))).toBe(true)
    expect(passes(alone, came(200, 1e-3, { verdict: 'marginal' }))).toBe(true)
    expect(passes(alone, { C1: partWaits })).toBe(true)
    expect(passes(alone, {})).toBe(true)
    expect(passes(withFeeds(part('C2')), came(200, 1e-3))).toBe(true)
    expect(reformPasses(momentOf(smallPlan(), 6).s, alone.steps[swap]!)).toBe(false)
  })

  it('is asked for once: the volts behind it are still climbed to', () => {
    const d = at(swap, { ...came(200, 1e-3), C2: partWaits }, {}, alone)
    feedExchanged(d, ['C1', 'C9'])
    expect(d.s.reform).toEqual({
      C1: { ...came(200, 1e-3)['C1'], exchanged: true },
      C2: partWaits,
    })
    expect(passes(alone, d.s.reform)).toBe(true)
    expect(passes(alone, d.s.reform, { do: 'raise' })).toBe(false)
  })

  it('is told as put in or as too much for the can, with the figures, when the part has come to its last volts', () => {
    const told = (volts: number, leak_A: number, parts: State['reform'] = { C1: partWaits }) => {
      const d = at(top, parts, {}, alone)
      const figures = { ...judgement().figures, volts }
      reformJudged(d, judgement({ step: top + 1, figures: { ...figures, leak_A } }))
      return d.out.flatMap((one) => (one.kind === 'record' ? [one.entry] : [])).slice(1)
    }
    expect(told(200, 1e-3)).toMatchObject([
      {
        ...{ what: 'judgement', rail: 'HT' },
        text: 'C1 came to 200 V of 250 V behind its feed resistor, leaking 1.00 mA: its smaller one is put in.',
        data: { part: 'C1', exchange: 'wanted', volts: 200, leak_A: 1e-3 },
      },
    ])
    expect(told(200, 5e-3)).toMatchObject([
      {
        text: 'C1 came to 200 V of 250 V behind its feed resistor, leaking 5.00 mA: with more volts its can could take more than 1.00 W, so its feed resistor stays.',
        data: { exchange: 'too hot' },
      },
    ])
    expect(told(240, 1e-3)).toEqual([])
    expect(told(200, 1e-3, { C1: { ...partWaits, exchanged: true } })).toEqual([])
  })
})
