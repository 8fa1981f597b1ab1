import { describe, expect, it } from 'vitest'
import type { Plan, ReformJudgement, ReformPlan } from '../../src/plan/index.js'
import { follow, openWatch, type ReformWatch, see, type Seen } from '../../src/reform/index.js'
import {
  beginHold,
  beginRamp,
  type PartWatch,
  seeMeter,
  seeSupply,
  watchPart,
} from '../../src/reform/part.js'
import { type Bench, formingPart, formingPlan, stepsOf } from '../helpers/forming.js'

/* Each stop rule by the smallest thing that breaks it, and by what does not. */

const bench: Bench = {
  supply: { of_reading: 0.001, plus: 0.2, resolution: 0.1 },
  meter: { of_reading: 0.003, plus: 0.2, resolution: 0.1 },
  off: { supply: [1, 0], meter: [1, 0], feed: 1 },
}
const ohm = 100e3
const part = formingPart({ F: 16e-6, rated_V: 450 }, bench)
const plan = formingPlan(part, bench)
const limit_A = part.limit.amps

type What = 'rung' | 'top' | 're-test'
const held = (what: What, target_V: number, least_s = 60): PartWatch =>
  beginHold(beginRamp(watchPart(part), target_V), 3, { what, least_s }, target_V, 0)

/** Volts across the part with this leakage, and what its meter takes beside it. */
const behind = (target_V: number, leak_A: number): number =>
  (target_V - ohm * leak_A) / (1 + ohm / part.meter_ohm)

/** The first verdict or giving up, of readings every 2 s. */
function until(
  watch: PartWatch,
  volts: (s: number) => number,
  to_s: number,
  left_s = 1e5,
): { told: ReformJudgement; s: number } | null {
  const target_V = watch.hold?.target_V ?? 0
  let now = watch
  for (let s = 0; s <= to_s; s += 2) {
    now = seeSupply(now, target_V, s * 1e6)
    const seen = seeMeter(now, volts(s), s * 1e6 + 1000, plan, left_s)
    now = seen.watch
    if (seen.told !== null && (seen.told.act === 'give up' || seen.told.verdict !== null))
      return { told: seen.told, s }
  }
  return null
}

describe('what waits for no estimate', () => {
  it('a part the wrong way round, which is not called bad for it', () => {
    const found = until(held('rung', 22), () => -2, 60)
    expect(found?.told).toMatchObject({ code: 'reversed', verdict: 'not judged', act: 'give up' })
    expect(found?.s).toBe(4)
    expect(until(held('rung', 22), (s) => (s === 10 || s === 12 ? -2 : 21), 30)).toBeNull()
  })

  it('heat in its can, as soon as charging is over', () => {
    // 225 V across it and 2.25 mA: the worst that 100 kΩ lets in at 450 V.
    const found = until(held('top', 450), () => 225, 60)
    expect(found?.told).toMatchObject({ code: 'heat', verdict: 'replace' })
    expect(found?.s).toBeLessThan(30)
    expect(found?.told.text).toMatch(/0\.51 W into heat, and 0\.50 W/)
    expect(until(held('top', 450), () => 236, 60)?.told.code).toBe('heat')
    expect(until(held('top', 450), () => 200, 60)).toBeNull()
  })

  it('a part that does not follow', () => {
    const found = until(held('rung', 100), () => 15, 60)
    expect(found?.told).toMatchObject({ code: 'not-following', verdict: 'replace' })
  })
})

describe('what is seen over time', () => {
  it('a leakage above twice its limit, after an hour and no sooner', () => {
    const found = until(held('top', 450), () => behind(450, 2.1 * limit_A), 4000)
    expect(found?.told).toMatchObject({ code: 'over-target', verdict: 'replace' })
    expect(found?.s).toBeGreaterThanOrEqual(3600)
    expect(until(held('top', 450), () => behind(450, 1.9 * limit_A), 4000)).toBeNull()
  })

  it('a leakage that would not come down in the time that is left', () => {
    const stays = (): number => behind(200, 0.8 * limit_A)
    const found = until(held('rung', 200), stays, 4000, 600)
    expect(found?.told).toMatchObject({ code: 'stalled', verdict: 'not finished' })
    expect(until(held('rung', 200), stays, 4000, 20 * 3600)).toBeNull()
  })

  it('a leakage that fell and rises', () => {
    const fell = (s: number): number => behind(450, s < 900 ? (0.9 - s / 1500) * limit_A : 0.6 * limit_A)
    expect(until(held('top', 450, 14_400), fell, 2400)?.told).toMatchObject({
      code: 'rising',
      verdict: 'replace',
    })
  })

  it('a leakage that climbs in the re-test, however far below its limit: it is looked at for longer, and is not good', () => {
    const climbs = (s: number): number => behind(450, (0.2 + s / 20_000) * limit_A)
    const found = until(held('re-test', 450, 360), climbs, 1200)
    expect(found?.told).toMatchObject({ verdict: 'marginal', code: null })
    expect(found?.told.text).toContain('still climbing')
    expect(found?.s).toBeGreaterThanOrEqual(900)
    const stands = until(held('re-test', 450, 360), () => behind(450, 0.2 * limit_A), 1200)
    expect(stands?.s).toBeLessThan(400)
    expect(stands?.told.text).not.toContain('climbing')
    // By the rule of a rise where it goes on.
    const runs = (s: number): number => behind(450, (0.2 + s / 3000) * limit_A)
    expect(until(held('re-test', 450, 360), runs, 1200)?.told.code).toBe('rising')
  })
})

describe('what needs more than one meter', () => {
  const two: ReformPlan = {
    ...plan,
    parts: ['C1a', 'C1b'].map((name) => ({
      ...part,
      name,
      meter: `meter ${name}`,
      cans: ['C1'],
      case: `${name} case`,
    })),
  }
  const [, , rung] = stepsOf(plan)
  const begun = (): ReformWatch => {
    const watch = openWatch({ reform: two } as unknown as Plan)
    if (watch === null || rung === undefined) throw new Error('no reform')
    return follow(watch, { ...standing, step: { ...rung, target_V: 450 }, holds: true, t_us: 0 })
  }
  const standing = { step: null, holds: true, t_us: 0 }
  const fed = (watch: ReformWatch, reading: Seen): { watch: ReformWatch; told: readonly ReformJudgement[] } =>
    see(watch, reading, () => 1e5)

  it('heat of two sections in one can counts together, against the hotter one', () => {
    const given = (a_V: number, b_V: number): ReformJudgement[] => {
      let watch = begun()
      const told: ReformJudgement[] = []
      for (let s = 0; s < 120; s += 1) {
        const t_us = s * 1e6
        watch = fed(watch, { kind: 'supply', volts: 450, t_us }).watch
        for (const [name, value] of [
          ['C1a', a_V],
          ['C1b', b_V],
        ] as const) {
          const seen = fed(watch, { kind: 'meter', meter: `meter ${name}`, value, t_us: t_us + 1000 })
          watch = seen.watch
          told.push(...seen.told.filter(({ act }) => act === 'give up'))
        }
      }
      return told
    }
    // 380 V at 0.7 mA are 0.27 W, 370 V at 0.8 mA are 0.3 W: each may be, both together not.
    const [first, ...more] = given(380, 370)
    expect(first).toMatchObject({ part: 'C1b', code: 'heat', verdict: 'replace' })
    expect(first?.text).toMatch(/0\.30 W into heat, 0\.5\d W with the other sections of its can/)
    expect(more).toEqual([])
    expect(given(380, 430)).toEqual([])
  })

  it('a case more than ten kelvin above what it was, whatever its leakage says', () => {
    let watch = begun()
    const warm = (degrees: number): readonly ReformJudgement[] => {
      const seen = fed(watch, { kind: 'meter', meter: 'C1a case', value: degrees, t_us: 1e6 })
      watch = seen.watch
      return seen.told
    }
    expect([warm(21), warm(26), warm(31)].flat()).toEqual([])
    expect(warm(31.2)).toEqual([
      expect.objectContaining({ part: 'C1a', code: 'hot-case', act: 'give up', verdict: 'replace' }),
    ])
    expect(warm(35)).toEqual([])
  })
})
