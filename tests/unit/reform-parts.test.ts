import { resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { unfinished } from '../../src/cli/live/earlier.js'
import { loadAll } from '../../src/files/index.js'
import type { ReformFigures, ReformPart } from '../../src/plan/index.js'
import { checkProfile, type Profile, type ReformOrder } from '../../src/profile/index.js'
import { formedIn } from '../../src/record/index.js'
import { atMost_F } from '../../src/reform/charge.js'
import { reformPlan } from '../../src/reform/index.js'
import { beginHold, beginRamp, seeMeter, seeSupply, watchPart } from '../../src/reform/part.js'
import { period_A } from '../../src/reform/limits.js'
import { chance } from '../../src/chance/index.js'
import { stalls } from '../../src/reform/stop-rules.js'
import { verdictOf } from '../../src/reform/verdict.js'
import { type Oxide, periodLimit_A } from '../../src/virtual/forming.js'
import { type Bench, formingPart, formingPlan, formOne } from '../helpers/forming.js'
import { formingBenchFile, formingPlanOf, shortForming } from '../helpers/forming-set.js'

/* What stands behind a feed resistor, and what may be said of it: strings, sections of one can, parts that are none. */

const { value: loaded, profile: file } = loadAll(resolve('profiles/tern-rock/reform.yaml'))
if (loaded === null) throw new Error('the demo does not load')
const { equipment, profile } = loaded
const whole = profile.reform
if (whole === null) throw new Error('no reform')
const own = whole.parts['C3']
if (own === undefined) throw new Error('no part')

const ordered = (parts: ReformOrder['parts'], more: Partial<ReformOrder> = {}): Profile => ({
  ...profile,
  reform: { ...whole, ...more, parts },
})
const wrong = (asked: Profile): string =>
  reformPlan(asked, equipment, loaded.bench)
    .problems.filter(({ severity }) => severity === 'error')
    .map(({ what, remedy }) => `${what} ${remedy}`)
    .join('\n')

describe('a string behind one feed resistor', () => {
  const string = { ...own, of: ['C3', 'C5'], joined: 'series' } as const
  const meters = {
    ...loaded.bench.meters,
    'meter bank': { ...loaded.bench.meters['meter C3'], at: 'bank +' },
  } as typeof loaded.bench.meters
  const made = reformPlan(ordered({ bank: string }), equipment, { ...loaded.bench, meters })
  const C3 = equipment.parts['C3']
  if (C3?.kind !== 'capacitor') throw new Error('no capacitor')

  it('gets no more volts than one of it may have, since a short of one puts them on the other', () => {
    expect(made.problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(made.plan?.reform?.top_V).toBeLessThanOrEqual(C3.rated_V)
    expect(Math.max(...(made.plan?.steps.map(({ target_V }) => target_V) ?? []))).toBeLessThanOrEqual(
      C3.rated_V,
    )
  })

  it('is held against the limit of one part, and is never called good by half of its volts', () => {
    const [part] = made.plan?.reform?.parts ?? []
    if (part === undefined) throw new Error('no part')
    const F = Math.min(
      ...['C3', 'C5'].map((name) => {
        const one = equipment.parts[name]
        return one?.kind === 'capacitor' ? one.F : Infinity
      }),
    )
    expect(part.limit.amps).toBeCloseTo(period_A(F, C3.rated_V), 9)
    expect(part.rated_V).toBe(2 * C3.rated_V)
    expect(verdictOf(part, { top_V: 441 }, sound(part, 430)).verdict).toBe('marginal')
    expect(made.plan?.unproved.join('\n')).toMatch(/a short of one puts nearly all of them on another/)
  })
})

describe('what a profile may not put together', () => {
  const errors = (parts: ReformOrder['parts']): string =>
    checkProfile(ordered(parts), equipment, file.where)
      .map(({ what }) => what)
      .join('\n')
  it.each([
    [
      'sections of one can in series',
      { bank: { ...own, of: ['C1a', 'C1b'], joined: 'series' } },
      /negative end in common/,
    ],
    [
      'a part twice',
      { C3: own, bank: { ...own, of: ['C3', 'C5'] } },
      /'C3' is named twice, in C3 and in bank/,
    ],
    ['a part twice in one string', { bank: { ...own, of: ['C3', 'C3'] } }, /both times in bank/],
    [
      'a part under the name of another',
      { C5: { ...own, of: ['C3'] } },
      /'C5' is an electrolytic of the set/,
    ],
  ] as const)('%s', (_, parts, says) => {
    expect(errors(parts)).toMatch(says)
    expect(errors({ C3: own, C5: own })).toBe('')
  })
})

describe('sections of one can', () => {
  it('are judged together before anything is on: half a watt is the can’s', () => {
    expect(wrong(ordered({ C1a: own }))).toBe('')
    const both = wrong(ordered({ C1a: own, C1b: own }))
    expect(both).toMatch(
      /C1a, C1b stand in one can, C1, into which up to 924 mW .* runs of their own.*220 kΩ or more each/,
    )
    const larger = { ...own, feed_ohm: 220_000 }
    expect(wrong(ordered({ C1a: larger, C1b: larger }))).toBe('')
  })
})

function sound(
  { F, limit, resolves_A }: ReformPart,
  volts: number,
  more: Partial<ReformFigures> = {},
): ReformFigures {
  return {
    ...{ volts, leak_A: 0.2 * limit.amps, held_s: 360, F, F_error: 0, limit_A: limit.amps, resolves_A },
    ...{ slope: null, soonest_s: null, latest_s: null },
    ...more,
  }
}

const bench: Bench = {
  supply: { of_reading: 0.001, plus: 0.2, resolution: 0.1 },
  meter: { of_reading: 0.003, plus: 0.2, resolution: 0.1 },
  off: { supply: [1.0005, -0.1], meter: [0.9985, 0.1], feed: 1.005 },
}
const part = formingPart({ F: 16e-6, rated_V: 450 }, bench)
const plan = formingPlan(part, bench)
const oxide = (more: Partial<Oxide> = {}): Oxide => ({
  ...{ F: 16e-6, rated_V: 450, formed_A: 0.1 * periodLimit_A(16e-6, 450), fresh: 8, n: 0.75, worked_s: 0 },
  ...more,
})

describe('a part that takes no charge', () => {
  it.each([1e-6, 0.3e-6, 1e-9])(
    'with %f F of 16 µF is not taken for one that merely was not measured',
    (F) => {
      const formed = formOne(plan, F, oxide(), bench, chance(9))
      expect(formed.verdict).toBe('replace')
      expect(formed.told.at(-1)?.text).toMatch(/dried out/)
    },
  )

  it('without anything on its lead is told so within the first steps', () => {
    const formed = formOne(plan, 1e-9, oxide({ formed_A: 0 }), bench, chance(10))
    expect(formed).toMatchObject({ verdict: 'replace', code: 'no-charge' })
    expect(formed.told.at(-1)?.text).toMatch(/its lead is off/)
    expect(formed.hours).toBeLessThan(0.2)
  })

  it('is told as dried out where the bench tells no more than that, and how far is left open', () => {
    const small = formingPart({ F: 4e-6, rated_V: 350 }, bench)
    const least = (F_most: number | null) =>
      verdictOf(small, { top_V: 350 }, sound(small, 345, { F: null, F_error: null, F_most }))
    expect(least(2.76e-6)).toMatchObject({
      verdict: 'marginal',
      text: expect.stringMatching(
        /69 % of what is marked at most: dried out, and how far this bench does not tell/,
      ) as unknown,
    })
    expect(least(2e-6).verdict).toBe('replace')
    expect(least(3.6e-6).text).toMatch(/its capacitance could not be measured$/)
    expect(least(null).verdict).toBe('marginal')
  })

  it('is not seen in a sound one, however late the supply tells of its own volts', () => {
    const small = formingPart({ F: 4e-6, rated_V: 450 }, bench)
    const [ohm, V] = [100e3, 100]
    let watch = watchPart(small)
    const read = (t_s: number, supply_V: number, part_V: number): void => {
      watch = seeSupply(watch, supply_V, t_s * 1e6)
      watch = seeMeter(watch, part_V, t_s * 1e6 + 1, formingPlan(small, bench), 1e5).watch
    }
    let now_s = 0
    for (const from_V of [0, 100, 200]) {
      for (let s = 0; s < 2; s += 0.2) read(now_s + s, from_V, from_V)
      now_s += 2
      watch = beginRamp(watch, from_V + V)
      // It stands at its new volts at once, and says so a second later.
      for (let s = 0.1; s < 40; s += 0.2) {
        if (s > 2 && watch.hold === null)
          watch = beginHold(watch, 1, { what: 'rung', least_s: 30 }, from_V + V, (now_s + s) * 1e6)
        const part_V = from_V + V * (1 - Math.exp(-s / (ohm * small.F)))
        read(now_s + s, s < 1 ? from_V : from_V + V, Math.round(10 * part_V) / 10)
      }
      now_s += 40
    }
    expect(watch.over).toBe(false)
    expect(Math.min(...watch.mosts_F, Infinity)).toBeGreaterThan(small.F)
  })

  it('is bounded from above, never below what is there', () => {
    for (const [F, s] of [
      [1e-6, 0.5],
      [4e-6, 0.4],
      [16e-6, 2],
      [47e-6, 1],
    ] as const) {
      const seen_V = 20 * (1 - Math.exp(-s / (1e5 * F)))
      const most = atMost_F({ s, from_V: 0, seen_V, after: { drop_V: 0, V: 20 } }, 1e5, 0.1)
      expect(most ?? Infinity).toBeGreaterThan(F)
    }
    // A reading that comes late says little, and one that shows no rise nothing.
    expect(atMost_F({ s: 20, from_V: 0, seen_V: 20, after: { drop_V: 0, V: 20 } }, 1e5, 0.1)).toBeGreaterThan(
      40e-6,
    )
    expect(atMost_F({ s: 1, from_V: 19, seen_V: 20, after: { drop_V: 0, V: 20 } }, 1e5, 0.1)).toBeNull()
  })
})

describe('a verdict', () => {
  it('far below the rating says so, and is no better than marginal', () => {
    const low = { ...plan, top_V: 200 }
    const found = verdictOf(part, low, sound(part, 198))
    expect(found.verdict).toBe('marginal')
    expect(found.text).toContain('at 198 V of the 450 V that it is rated for')
    expect(verdictOf(part, { top_V: 450 }, sound(part, 430)).verdict).toBe('good')
  })

  it('is not given on a current that no part can give', () => {
    const found = verdictOf(part, plan, sound(part, 440, { leak_A: -164e-6, resolves_A: 33e-6 }))
    expect(found.verdict).toBe('not judged')
    expect(found.text).toMatch(/no part gives current/)
    expect(verdictOf(part, plan, sound(part, 440, { leak_A: -20e-6, resolves_A: 33e-6 })).verdict).toBe(
      'good',
    )
  })
})

describe('a part whose time ran out', () => {
  const slow = formOne(
    plan,
    16e-6,
    oxide({ formed_A: 2 * periodLimit_A(16e-6, 450), fresh: 12, n: 0.5 }),
    bench,
    chance(11),
    0.3,
    8 * 3600,
  )
  it('is condemned only where the run has waited for it alone for half a night', () => {
    const held = { V: 200, leak_A: 0.5e-3, held_s: 4000 }
    expect(stalls({ waited_s: 3600 }, held, 0.4e-3, 9000, 60)).toMatchObject({ verdict: 'not finished' })
    expect(stalls({ waited_s: 11 * 3600 }, held, 0.4e-3, 9000, 60).verdict).toBeUndefined()
    expect(stalls({ waited_s: 0 }, held, 0.4e-3, 40 * 3600, 60).verdict).toBeUndefined()
  })
  it('is not finished, and can be taken up again', () => {
    expect(slow).toMatchObject({ verdict: 'not finished', code: 'stalled' })
    const { plan: made } = formingPlanOf(shortForming, formingBenchFile)
    const told = slow.told.at(-1)
    if (told === undefined) throw new Error('nothing was told')
    const step = made.steps.findLast(({ reform }) => reform?.what === 'rung')?.index ?? 0
    const event = (name: string, more: object) => ({
      ...{ t_us: 1e6, what: 'judgement' as const },
      data: { reform: { ...told, part: name, step, ...more } },
    })
    const events = ['C3', 'C5'].flatMap((name) => [
      event(name, { act: 'go on', verdict: null, code: null }),
      event(name, {}),
    ])
    const left = unfinished({ run: 'the night', started: '' }, formedIn(made, events), made)
    expect(left?.why_not).toBeNull()
    expect(left?.earlier?.formed_V['C3']).toBeGreaterThan(0)
  })
})
