import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import type { Profile } from '../../src/profile/index.js'
import { willing } from '../../src/rehearse/index.js'
import { unattendedObjections } from '../../src/session/index.js'
import {
  alone,
  fitForming,
  formed,
  formingBenchFile,
  formingPlanOf,
  shortForming,
} from '../helpers/forming-set.js'

/* Rated volts behind a second, smaller feed resistor, put in by hand where the first leaves too much of them. */

const { reform } = shortForming
const [C3] = Object.values(reform?.parts ?? {})
if (reform === null || C3 === undefined) throw new Error('no reform')
/** One part; `then`: what is to be put in behind it. */
function exchanging(
  then: { ohm: number; rated_W: number | null },
  more: Partial<typeof reform> = {},
  of = shortForming,
): Profile {
  return { ...of, reform: { ...reform!, ...more, parts: { C3: { ...C3!, then } } } }
}
const smaller = { ohm: 22_000, rated_W: 2 }
const profile = exchanging(smaller)
const problems = (of: Profile): string => {
  try {
    formingPlanOf(of, formingBenchFile)
    return ''
  } catch (error) {
    return String(error)
  }
}

describe('a second feed resistor in the profile', () => {
  it('is read with what it is rated for', () => {
    const text = `slowglow: profile 1
name: P
kind: reform
equipment: equipment.yaml
bench: bench.yaml
reform: { parts: { C3: { feed: 100k, feed_rated: 5 W, then: 33k, then_rated: 13 W }, C5: { feed: 100k, feed_rated: 5 W } } }
`
    const { value } = fromText(text, 'p.yaml', 'profile')
    const parts = value !== null && 'reform' in value ? value.reform?.parts : undefined
    expect(parts?.['C3']?.then).toEqual({ ohm: 33_000, rated_W: 13 })
    expect(parts?.['C5']?.then).toBeUndefined()
  })

  it.each([
    ['hardly differs', { ohm: 40_000, rated_W: 2 }, /hardly differs from its first.*/],
    [
      'would burn in a short',
      { ohm: 10_000, rated_W: 0.5 },
      /would put 360 mW into its second feed resistor/,
    ],
    ['has no rating', { ohm: 10_000, rated_W: null }, /rated 0 W/],
    ['is too small for the bench to judge behind', { ohm: 500, rated_W: 50 }, /cannot judge C3/],
  ])('that %s is refused', (_, then, wanted) => {
    expect(problems(exchanging(then))).toMatch(wanted)
  })

  it('is nothing for a run with nobody there', () => {
    const made = formingPlanOf(exchanging(smaller, {}, alone), fitForming(), { unattended: true })
    expect(unattendedObjections(made.plan, made.bench, {}).join('\n')).toMatch(
      /feed resistor of C3 is exchanged by hand \(then:\): leave then: out of this run, or stay/,
    )
    expect(made.plan.steps.some(({ exchange }) => exchange !== undefined)).toBe(false)
  })
})

describe('the exchange of a feed resistor', () => {
  it('comes where a part did not come to its volts: down, off, measured dead, exchanged, proved, checked low, and up', () => {
    const {
      plan,
      run,
      events,
      formed: parts,
    } = formed(profile, formingBenchFile, { faults: ['C3:leaky=470k'] })
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    const texts = events.map(({ text }) => text)
    const order = [
      /C3 came to 5\d V of 60 V behind its feed resistor.*its smaller one is put in/,
      /Step \d+: down to exchange feed resistors/,
      /HT: went off/,
      /Measure the volts across C3 before you touch it.* → 0|Measure the volts across C3.*→ [\d.]+ m?V/,
      /Take the feed resistor of C3 .*→ (21|22)/,
      /Step \d+: is C3 there/,
      /Step \d+: fresh check behind smaller feed resistors/,
      /Step \d+: held at the top again/,
      /Step \d+: re-test/,
    ]
    let from = 0
    for (const wanted of order) {
      const at = texts.slice(from).findIndex((text) => wanted.test(text))
      expect(at, String(wanted)).toBeGreaterThanOrEqual(0)
      from += at
    }
    const climbed = (parts[0]?.volts ?? 0) > 56.5
    expect(climbed).toBe(true)
    // What a short may draw from then on is reckoned by the smaller one.
    const most = (stage: string): number =>
      plan.steps.find((step) => step.stage === stage)?.limits['HT']?.upper_A ?? 0
    expect(most('held at the top again')).toBeGreaterThan(
      most('held at the top') + 60 / 22_000 - 60 / 47_000 - 1e-4,
    )
  })

  it('is passed over where the part came to its volts', () => {
    const { run, events } = formed(profile, formingBenchFile)
    expect(run.ending.outcome).toBe('completed')
    expect(events.some(({ what, text }) => what === 'prompt' && text.includes('feed resistor'))).toBe(false)
    expect(events.some(({ text }) => text.includes('exchange feed resistors'))).toBe(false)
  })

  it('is passed over where the part leaks so much that its can could take too much heat, and says so', () => {
    const hot = exchanging(smaller, { heat_W: 0.0185 })
    const { run, events } = formed(hot, formingBenchFile, { faults: ['C3:leaky=100k'] })
    expect(run.ending.outputs_off).toBe('confirmed')
    expect(
      events.some(({ text }) => /with more volts its can could take more than 0.02 W.* stays/.test(text)),
    ).toBe(true)
    expect(events.some(({ text }) => text.includes('down to exchange'))).toBe(false)
  })

  it('is no exchange where what was put in is measured as another: the run ends', () => {
    const { run, events } = formed(profile, formingBenchFile, {
      faults: ['C3:leaky=470k'],
      operator: (ask, at) =>
        ask.about.startsWith('fit feed') ? { after_s: 3, value: 47_100 } : willing(ask, at),
    })
    expect(run.ending).toMatchObject({ outputs_off: 'confirmed' })
    expect(run.ending.outcome).not.toBe('completed')
    expect(run.ending.reason?.text).toMatch(/47\.1 kΩ is outside/)
    expect(events.some(({ text }) => text.includes('held at the top again'))).toBe(false)
  })
})
