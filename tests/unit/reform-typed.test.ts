import { describe, expect, it } from 'vitest'
import type { Bench } from '../../src/bench/index.js'
import { beginHold, beginRamp, seeSupply, watchPart } from '../../src/reform/part.js'
import { seeTyped } from '../../src/reform/typed.js'
import { type Operator, willing } from '../../src/rehearse/index.js'
import { formed, formingBenchFile, formingPlanOf, shortForming } from '../helpers/forming-set.js'
import { type Bench as Errors, formingPart, formingPlan } from '../helpers/forming.js'

/** The meters lie there and are on no line. */
const byHand: Bench = {
  ...formingBenchFile,
  meters: Object.fromEntries(
    Object.entries(formingBenchFile.meters).map(([name, meter]) => [name, { ...meter, line: null }]),
  ),
}
const { reform } = shortForming
if (reform === null) throw new Error('no reform')
const measured = {
  ...shortForming,
  reform: {
    ...reform,
    parts: Object.fromEntries(
      Object.entries(reform.parts).map(([name, part]) => [
        name,
        { ...part, feed_error: 0.1, feed_by_hand: 0.005, measured: { F: 8e-6, error: 0.05 } },
      ]),
    ),
  },
}

describe('a reform whose meters a person reads', () => {
  it('says in its plan what that costs: nobody watches between two answers, and no capacitance', () => {
    const { plan } = formingPlanOf(shortForming, byHand)
    const said = plan.unproved.join('\n')
    expect(said).toMatch(
      /C3, C5: you are asked what the meter shows, and between two answers nothing watches them/,
    )
    expect(said).toMatch(/no verdict is better than marginal; read it on a capacitance meter/)
    expect(plan.steps.filter(({ hookup }) => hookup?.polarity?.meter === null)).toHaveLength(2)
    expect(plan.wires.some(({ text }) => text.includes('read without reaching in'))).toBe(true)
  })

  it('on a supply whose ammeter is too coarse for its bleeder the hook-up is shown by the parts’ own meters', () => {
    const coarse = Object.fromEntries(
      Object.entries(byHand.supplies).map(([name, supply]) => [
        name,
        {
          ...supply,
          channels: Object.fromEntries(
            Object.entries(supply.channels).map(([own, channel]) => [
              own,
              { ...channel, resolution_A: 1e-3, accuracy_A: { of_reading: 0.005, plus: 3e-3 } },
            ]),
          ),
        },
      ]),
    )
    const bench = { ...byHand, supplies: coarse }
    const { plan } = formingPlanOf(measured, bench)
    const checks = plan.steps.flatMap(({ hookup }) => (hookup === null ? [] : [hookup]))
    expect(checks.every((check) => check.coarse === true && check.ohm_low > 0)).toBe(true)
    expect(checks[0]?.because).toContain('it is not proved here')
    expect(plan.unproved.join('\n')).toContain('The bleeder: the ammeter is too coarse')
    // Whoever is asked to clear their hands goes away: what comes after is told elsewhere.
    const leaves: Operator = (ask, at) => (ask.about === 'hands clear' ? null : willing(ask, at))
    const through = formed({ ...measured, prompt_timeout_s: 20 }, bench, { operator: leaves })
    const proved = through.events.filter(
      ({ what, text }) => what === 'hook-up' && text.includes('as expected'),
    )
    expect(proved).toHaveLength(checks.length)
  })

  it('asks for each part in each hold, with every raise waiting, and judges by what was typed', () => {
    const asked: string[] = []
    const person: Operator = (ask, at) => {
      if (ask.about.startsWith('read ')) {
        asked.push(ask.about)
        expect(ask.text).toContain('without reaching in')
      }
      return willing(ask, at)
    }
    const { run, events, formed: parts } = formed(measured, byHand, { operator: person })
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    expect(new Set(asked)).toEqual(new Set(['read C3', 'read C5']))
    for (const { leak_A, volts, verdict, why, resolves_A } of parts) {
      expect(leak_A).not.toBeNull()
      expect(volts).toBeGreaterThan(50)
      expect(Math.abs(leak_A ?? 1)).toBeLessThan(0.5e-3)
      expect(resolves_A).toBeLessThan(30e-6)
      expect(verdict).not.toBe('not finished')
      expect(why).toContain('read by hand')
    }
    // Nobody is asked again before what was typed is judged.
    const reads = events.filter(({ what, text }) => what === 'answer' && text.startsWith('Read meter C3'))
    expect(reads.length).toBeGreaterThan(4)
    for (const [at, { t_us }] of reads.entries())
      expect(t_us - (reads[at - 1]?.t_us ?? 0)).toBeGreaterThan(25e6)
    // The ohms that were typed took the place of a tolerance of a tenth.
    expect(events.some(({ what, text }) => what === 'answer' && text.includes('Its ohms?'))).toBe(true)
    const open: boolean[] = []
    let prompt = false
    for (const { what, text } of events) {
      if (what === 'prompt') prompt = true
      if (what === 'answer') prompt = false
      if (what === 'asked' && text.startsWith('set ')) open.push(prompt)
    }
    expect(open.length).toBeGreaterThan(5)
    expect(open.some((while_open) => while_open)).toBe(false)
  })
})

const errors: Errors = {
  supply: { of_reading: 0.001, plus: 0.2, resolution: 0.1 },
  meter: { of_reading: 0.003, plus: 0.2, resolution: 0.1 },
  off: { supply: [1, 0], meter: [1, 0], feed: 1 },
}

describe('what a typed reading is believed of', () => {
  const part = formingPart({ F: 16e-6, rated_V: 450, typed: { node: 'C1 +', settle_s: 14 } }, errors)
  const plan = formingPlan(part, errors)
  const hold = (what: 'top' | 're-test') => {
    const seen = seeSupply(watchPart(part), 450, 0)
    return beginHold(beginRamp(seen, 450), 7, { what, least_s: what === 'top' ? 14_400 : 360 }, 450, 0)
  }
  const at = (s: number): number => s * 1e6

  it('does not give a part up for one slip of the pen, and does for two readings that say the same', () => {
    const slip = seeTyped(seeSupply(hold('top'), 450, at(600)), 43, at(600), plan, 1e5)
    expect(slip.told).toMatchObject({ act: 'wait', again_s: 60 })
    const right = seeTyped(slip.watch, 430, at(660), plan, 1e5)
    expect(right.told).toMatchObject({ act: 'wait', verdict: null })
    const again = seeTyped(slip.watch, 43, at(660), plan, 1e5)
    expect(again.told).toMatchObject({ act: 'give up', code: 'not-following', verdict: 'replace' })
  })

  it('gives up a part whose leakage fell and rose', () => {
    let watch = hold('top')
    for (const [s, V] of [
      [600, 400],
      [1200, 425],
      [2400, 405],
    ] as const)
      watch = seeTyped(seeSupply(watch, 450, at(s)), V, at(s), plan, 1e5).watch
    expect(seeTyped(watch, 404, at(2460), plan, 1e5).told).toMatchObject({ act: 'give up', code: 'rising' })
  })

  it('takes the meter’s own current off, and rests no verdict on one reading', () => {
    const first = seeTyped(seeSupply(hold('re-test'), 450, at(400)), 430, at(400), plan, 1e5)
    expect(first.told?.verdict).toBeNull()
    const wrong = seeTyped(first.watch, 340, at(430), plan, 1e5)
    expect(wrong.told?.verdict ?? null).toBeNull()
    const second = seeTyped(first.watch, 430, at(430), plan, 1e5)
    // 20 V in 100 kΩ less 430 V in 10 MΩ.
    expect(second.told?.figures.leak_A).toBeCloseTo(157e-6, 6)
    expect(second.told?.verdict).toBe('marginal')
    expect(second.told?.text).toMatch(/capacitance could not be measured; read by hand/)
  })
})
