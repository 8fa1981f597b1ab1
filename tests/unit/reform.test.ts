import { describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import { capacitanceOf } from '../../src/reform/charge.js'
import { type Block, forecast, isClimbing, isRising, lowest_A, withBlock } from '../../src/reform/decay.js'
import { feedFor_ohm, feedToSee_ohm, resolves_A } from '../../src/reform/feed.js'
import { judgePart } from '../../src/reform/judged.js'
import { limitOf } from '../../src/reform/limits.js'
import { verdictOf } from '../../src/reform/verdict.js'
import { drawnPart, isDangerous, isLetPast, isNuisance } from '../helpers/drawn-forming.js'
import { type Bench, formingPart, formingPlan, formOne, stepsOf } from '../helpers/forming.js'
import { type Law, type Oxide, periodLimit_A } from '../../src/virtual/forming.js'

const bench: Bench = {
  supply: { of_reading: 0.001, plus: 0.2, resolution: 0.1 },
  meter: { of_reading: 0.003, plus: 0.2, resolution: 0.1 },
  off: { supply: [1.0005, -0.1], meter: [0.9985, 0.1], feed: 1.005 },
}
const part = formingPart({ F: 16e-6, rated_V: 450 }, bench)
const plan = formingPlan(part, bench)
const limit_A = periodLimit_A(16e-6, 450)

const oxideOf = (law: Law, more: Partial<Oxide> = {}): Oxide => ({
  F: 16e-6,
  rated_V: 450,
  formed_A: 0.2 * limit_A,
  fresh: 15,
  n: 0.75,
  worked_s: 0,
  law,
  seed: 11,
  ...more,
})

describe('a whole reform of one part', () => {
  it.each(['power', 'exponentials', 'steps'] as const)(
    'tells a good part good, whose leakage falls by %s',
    (law) => {
      const formed = formOne(plan, 17e-6, oxideOf(law), bench, chance(3))
      expect(formed.verdict).toBe('good')
      const figures = formed.told.at(-1)?.figures
      expect(Math.abs((figures?.leak_A ?? 0) - formed.truth.leak_A)).toBeLessThan(part.resolves_A)
      expect(Math.abs((figures?.F ?? 0) / 17e-6 - 1)).toBeLessThan(0.04)
    },
  )

  it('tells a dried-out part by its charge', () => {
    const formed = formOne(plan, 6e-6, oxideOf('power'), bench, chance(4))
    expect(formed.verdict).toBe('replace')
    expect(formed.code).toBeNull()
    expect(formed.told.at(-1)?.text).toContain('dried out')
  })

  it('gives up a part whose oxide breaks down, soon after the volts at which it does', () => {
    const formed = formOne(
      plan,
      16e-6,
      oxideOf('power', { runs_away: { above: 0.7, over_s: 0 } }),
      bench,
      chance(5),
    )
    expect(formed).toMatchObject({ verdict: 'replace', code: 'rising' })
    expect(formed.told.at(-1)?.figures.volts).toBeLessThan(0.85 * 450)
  })

  it('never has a part given up by a burst that heals', () => {
    for (let seed = 20; seed < 26; seed++)
      expect(formOne(plan, 16e-6, oxideOf('steps', { seed }), bench, chance(seed)).code).toBeNull()
  })

  it('gives up a part that leaks far above its limit, and says after how long and by how much', () => {
    const formed = formOne(plan, 16e-6, oxideOf('power', { formed_A: 4 * limit_A, n: 0.5 }), bench, chance(6))
    expect(formed.verdict).toBe('replace')
    expect(['over-target', 'stalled', 'not-following', 'heat']).toContain(formed.code)
  })

  it('gives up a short at once, and a part the wrong way round without calling it bad', () => {
    const short = formOne(plan, 16e-6, oxideOf('power', { formed_A: 1 }), bench, chance(7))
    expect(short).toMatchObject({ verdict: 'replace', code: 'not-following' })
    expect(short.hours).toBeLessThan(0.2)
  })

  it('takes larger steps where next to nothing leaks', () => {
    const formed = formOne(
      plan,
      16e-6,
      oxideOf('power', { formed_A: 0.02 * limit_A, fresh: 2 }),
      bench,
      chance(8),
    )
    const all = stepsOf(plan).filter(({ reform }) => reform?.what === 'rung')
    const done = all.filter(({ index }) => formed.told.some(({ step }) => step === index))
    expect(done.length).toBeLessThan(all.length / 2)
  })

  it('is right about drawn parts by all laws: nothing dangerous is called good', () => {
    const drawn = Array.from({ length: 30 }, (_, n) => drawnPart(70_001 + n))
    expect(drawn.filter((one) => isDangerous(one) || isLetPast(one)).map(({ seed }) => seed)).toEqual([])
    expect(drawn.filter(isNuisance).length).toBeLessThanOrEqual(1)
    const judged = drawn.filter(({ formed }) => formed !== null)
    expect(
      judged.filter(({ formed, near }) => near.includes(formed?.verdict ?? '')).length,
    ).toBeGreaterThanOrEqual(judged.length - 2)
  })
})

describe('a decay that follows no law in particular', () => {
  const series = (of: (t: number) => number, to_s: number): readonly Block[] => {
    let blocks: readonly Block[] = []
    for (let t_s = 5; t_s < to_s; t_s += 10) blocks = withBlock(blocks, { t_s, A: of(t_s), long_s: 10 })
    return blocks
  }
  it.each([
    ['a power law', (t: number) => 5e-3 / Math.sqrt(1 + t / 30)],
    ['two exponentials', (t: number) => 2e-3 * Math.exp(-t / 300) + 1e-3 * Math.exp(-t / 4000)],
    ['steps', (t: number) => 4e-3 * Math.exp(-0.7 * Math.floor(Math.log2(1 + t / 60)))],
  ])('brackets when %s comes to its target', (_, of) => {
    const target = 0.4 * of(1800)
    let reached = 1800
    while (of(reached) > target) reached += 10
    const found = forecast(series(of, 1800), target)
    expect(found?.soonest_s).toBeLessThan(reached * 1.05)
    expect(found?.latest_s).toBeGreaterThan(reached * 0.95)
  })

  it('keeps days of blocks small and the last minutes fine', () => {
    const blocks = series(() => 1e-3, 300_000)
    expect(blocks.length).toBeLessThanOrEqual(97)
    expect(blocks.slice(-30).every(({ long_s }) => long_s === 10)).toBe(true)
  })

  it('calls a rise a rise only when five minutes stand above the lowest', () => {
    const burst = series((t) => 1e-4 + (t > 900 && t < 1000 ? 5e-4 : 0), 1005)
    expect(isRising(burst, 1e-4, 1e-3, 1e-6)).toBe(false)
    const rise = series((t) => 1e-4 + (t > 600 ? 2e-4 : 0), 1000)
    expect(isRising(rise, lowest_A(1e-4, rise), 1e-3, 1e-6)).toBe(true)
    expect(
      isClimbing(
        series((t) => 1e-4 + t * 1e-6, 60),
        1e-6,
      ),
    ).toBe(true)
    expect(
      isClimbing(
        series((t) => 2e-4 - t * 1e-6, 60),
        1e-6,
      ),
    ).toBe(false)
  })
})

describe('capacitance by charge', () => {
  it('takes off what leaks and what the instruments are off by', () => {
    // 16 µF through 100 kΩ to 100 V, a leak of 2 MΩ, and a supply that reads 0.5 V too much throughout.
    const [ohm, F, leak, off] = [1e5, 16e-6, 2e6, 0.5]
    const S = 1 / ohm + 1 / leak
    const end_V = 100 / ohm / S
    const tau = F / S
    const s = 12 * tau
    const part_Vs = end_V * (s - tau * (1 - Math.exp(-12)))
    const drop_Vs = (100 + off) * s - part_Vs
    const found = capacitanceOf(
      {
        s,
        from_V: 0,
        to_V: end_V,
        meter_ohm: null,
        drop_Vs,
        part_Vs,
        before: { drop_V: off, V: 0 },
        after: { drop_V: 100 + off - end_V, V: end_V },
      },
      ohm,
      0,
      0.01,
    )
    expect(Math.abs((found?.F ?? 0) / F - 1)).toBeLessThan(0.01)
  })
})

describe('a bench that cannot judge', () => {
  const errorsOf = (given: Partial<typeof part>): string[] => {
    const made = { ...part, ...given }
    return judgePart(made, { ...plan, parts: [made] }).map(({ what, remedy }) => `${what} ${remedy}`)
  }
  it('is refused with the resistor that would do', () => {
    expect(errorsOf({})).toEqual([])
    const coarse = errorsOf({ feed_ohm: 1000, feed_rated_W: 500 })
    expect(coarse.some((text) => /cannot judge C1: it tells .* at best/.test(text))).toBe(true)
    expect(coarse.some((text) => /With a feed resistor of \d+(\.\d)? kΩ it does/.test(text))).toBe(true)
    expect(errorsOf({ feed_rated_W: 1 }).join(' ')).toMatch(/2.0\d* W.* rated 1 W/)
    expect(errorsOf({ feed_ohm: 30_000, feed_rated_W: 20 }).join(' ')).toMatch(/1\.69 W could turn into heat/)
    expect(errorsOf({ feed_ohm: 470_000 }).join(' ')).toMatch(/never come near 450 V/)
  })
  it('is refused for a modern limit by a meter across the part, and told to clip it across the resistor', () => {
    const low = limitOf('low leakage', 4e-6, 450, 450)
    expect(errorsOf({ limit: low, feed_ohm: 100_000 }).join(' ')).toMatch(/clip it across the feed resistor/)
    expect(
      errorsOf({
        limit: low,
        across: 'feed',
        meter_error: { of_reading: 0.003, plus: 0.01, resolution: 0.01 },
      }),
    ).toEqual([])
  })
  it('knows what it resolves', () => {
    expect(resolves_A(part, plan.supply, 450, 0)).toBeGreaterThan(20e-6)
    expect(resolves_A({ ...part, across: 'feed' }, plan.supply, 450, 0)).toBeLessThan(4e-6)
    expect(feedFor_ohm(450, 0.5)).toBe(150_000)
    expect(feedToSee_ohm(part, plan.supply, 450, 1e-7)).toBeNull()
  })
})

describe('verdicts', () => {
  const figures = (leak: number, F: number, volts = 440) => ({
    ...{ volts, leak_A: leak * limit_A, held_s: 300, F: F * 16e-6, F_error: 0, limit_A, resolves_A: 2e-5 },
    ...{ slope: null, soonest_s: null, latest_s: null },
  })
  it.each([
    [0.3, 1, 'good'],
    [0.8, 1, 'marginal'],
    [1.05, 1, 'replace'],
    [0.3, 0.7, 'marginal'],
    [0.3, 1.6, 'marginal'],
    [0.3, 0.55, 'replace'],
    [0.8, 0.55, 'replace'],
  ] as const)('%f of the limit and %f of the capacitance: %s', (leak, F, verdict) => {
    expect(verdictOf(part, plan, figures(leak, F)).verdict).toBe(verdict)
  })
  it('calls nothing good that never saw its volts, nor judges what the bench cannot tell', () => {
    expect(verdictOf(part, plan, figures(0.3, 1, 380)).verdict).toBe('marginal')
    expect(verdictOf(part, plan, { ...figures(0.3, 1), resolves_A: 2 * limit_A }).verdict).toBe('not judged')
  })
})
