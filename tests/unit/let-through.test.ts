import { describe, expect, it } from 'vitest'
import { planPage } from '../../src/cli/plan-text.js'
import type { Bench } from '../../src/bench/index.js'
import { demo, planned } from '../helpers/small-set.js'

/** What a fault takes before the output is off: charge that no current limit holds back, and what the supply gives meanwhile. */
describe('what a fault lets through', () => {
  const receive = demo('tern-rock/receive')
  const plan = planned(receive)
  const rows = plan.let_through ?? []
  const top = rows.at(-1)

  it('is stated for every step that raises HT, and is the sum of its three sources', () => {
    const raises = plan.steps.filter((step) => step.do === 'raise' && step.rail === 'HT')
    expect(rows.map(({ step }) => step)).toEqual(raises.map(({ index }) => index))
    for (const { step, at_V, supply_J, set_J, fed_J, total_J, for_s } of rows) {
      const limits = plan.steps[step - 1]?.limits.HT
      // 47 µF at the supply's terminals: ½·C·V², 3.8 J at 400 V.
      expect(supply_J).toBeCloseTo(0.5 * 47e-6 * at_V * at_V, 9)
      expect(set_J).toBeGreaterThan(0.4 * 48e-6 * at_V * at_V)
      expect(fed_J).toBeCloseTo((limits?.supply_limit_A ?? 0) * at_V * for_s, 9)
      expect(total_J).toBeCloseTo(supply_J + set_J + fed_J, 9)
    }
  })

  it('counts the time until off that the bench has measured, else the worst published, and says which', () => {
    expect(top?.off_measured).toBe(false)
    expect(top?.text).toMatch(/235 ms until off, not measured on this bench/)
    const bench: Bench = { ...receive.bench, off_time_s: 0.06 }
    const measured = planned({ ...receive, bench }).let_through?.at(-1)
    expect((top?.for_s ?? 0) - (measured?.for_s ?? 0)).toBeCloseTo(0.175, 9)
    expect(measured?.text).toMatch(/60 ms until off, measured/)
  })

  it('is held against the weakest part, with what that part stands and where it is from', () => {
    expect(top?.weakest?.fault).toMatch(/^C\w+ shorts$/)
    expect(top?.weakest?.takes_J).toBeGreaterThan(0)
    expect(top?.weakest?.takes_J).toBeLessThan(top?.total_J ?? 0)
    expect(top?.weakest?.text).toMatch(/should stand once \(.*(IEC 60115-1, from memory|our choice)/)
  })

  it('leaves out a short of the bias rail, which HT only follows', () => {
    const transmit = planned(demo('tern-rock/transmit')).let_through ?? []
    expect(transmit.map(({ weakest }) => weakest?.part)).not.toContain('R60')
  })

  it('is printed with the plan, and the sheet recommends fuse, resistor and bleeder with their arithmetic', () => {
    const page = planPage(plan).replaceAll(/\s+/g, ' ')
    expect(page).toContain('WHAT A FAULT LETS THROUGH AT WORST')
    const { trip_A, expected_A } = plan.steps.findLast((step) => step.rail === 'HT')?.limits.HT ?? {}
    const advice = plan.hookup.find(({ rail }) => rail === 'HT')?.advice ?? []
    expect(advice).toHaveLength(3)
    expect(advice[0]).toMatch(/^a fuse of 160 mA .*1\.25 × the 115 mA trip is 144 mA/)
    expect(1.25 * (trip_A ?? NaN)).toBeLessThan(0.16)
    expect(advice[1]).toMatch(/^a resistor of 47 Ω/)
    expect(47 * (expected_A ?? NaN)).toBeLessThan(0.02 * 250)
    // 22 kΩ, 47 µF and the set's 48 µF and more, from 250 V to 60 V: R·C·ln(250/60) = 3 s.
    expect(advice[2]).toMatch(/takes 2\.84 W at 250 V .* in (2\.9|3)\d* s/)
    for (const each of advice) expect(page).toContain(each.split(' (')[0])
    // Advice is no connection: nobody is asked to confirm it.
    expect(plan.wires.some(({ text }) => advice.includes(text))).toBe(false)
  })
})
