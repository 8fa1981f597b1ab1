import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import { someRuns } from '../simulator/many.js'
import { drawKind, type KindOfRun, kindsOfRun, loadParts, type Part, type Parts } from '../simulator/parts.js'
import { planted, timesFound } from '../simulator/planted.js'
import { simulate } from '../simulator/simulation.js'

const parts = loadParts()
/** The first so many seeds whose run is of this kind. */
const seedsOf = (kind: KindOfRun, count: number): number[] =>
  Array.from({ length: 2000 }, (_, i) => 1 + i)
    .filter((seed) => drawKind(chance(seed)) === kind)
    .slice(0, count)
const few = kindsOfRun.flatMap((kind) => seedsOf(kind, 4))
const all = [...Array.from({ length: 40 }, (_, i) => 1000 + i), ...few].map((seed) => simulate(parts, seed))

describe('runs with everything simulated and faults drawn on every layer', () => {
  it('keep every invariant and end in bounded time', () => {
    const broken = all.flatMap(({ seed, broken }) =>
      broken.map(({ invariant, text }) => `seed ${seed}: ${invariant}: ${text}`),
    )
    expect(broken).toEqual([])
  })

  it.each([
    [7_001_567, 'the computer slept while a run was going off, and it gave up as it woke'],
    [7_003_956, 'the same after the supervisor had taken over, with HT up'],
    [1_003_450, 'answers one question behind, taken for those of a bias that stood at 5 V'],
    [1_006_155, 'heaters that do not obey OFF, whose lead falls off: their volts rise'],
    [1_014_866, 'the plug of HT in another instrument, then a power cut: the next start knows who answered'],
    [1_013_867, 'a line that is still pulled as all else is over: asked of too soon'],
    [1_031_173, 'a clock that steps back between what was seen at first look and its judging'],
    [1_043_396, 'a clock that steps back, HT that does not obey OFF, and a cut-off relay that is fed again'],
    [
      1_059_706,
      'heaters that do not obey OFF, at 2 V and with nothing that draws current: called off without a word',
    ],
    [77_001_821, 'a reform that climbs two rungs at once past the step that asks for hands clear'],
    [1_084_285, 'heaters at 2 V that do not obey OFF, with their lead off: called off without a word'],
    [1_094_718, 'heaters left on, and HT too, whose line was in another instrument before anything began'],
    [1_002_812, 'an identity garbled twice the same way while whoever took over makes safe'],
  ])('seed %i holds, which once did not: %s', (seed) => {
    expect(simulate(parts, seed).broken).toEqual([])
  })

  it('go through a first look too: its OFF ends that run for the current that was seen', () => {
    const { first_looks, reason, broken } = simulate(parts, 1_000_118)
    expect({ first_looks, reason, broken }).toEqual({ first_looks: 1, reason: 'over-ceiling', broken: [] })
  })

  it.each([
    [2289, 'supply resets', 'protection'],
    [2664, 'high:drifts=1.1', 'off-set-point'],
  ])('seed %i meets one supply alone that fails by itself (%s), and ends by %s', (seed, fault, code) => {
    const { faults, reason, how, broken } = simulate(parts, seed)
    expect({ faults: [...faults.keys()], reason, how, broken }).toEqual({
      ...{ faults: [fault], reason: code, how: 'ended: tripped', broken: [] },
    })
  })

  it('are of every kind', () => {
    for (const kind of kindsOfRun) expect(all.filter(({ of }) => of === kind).length, kind).toBeGreaterThan(3)
  })

  it('go the same way from the same seed', () => {
    const [once, again] = [simulate(parts, 1003), simulate(parts, 1003)]
    expect([once.virtual_s, once.how, [...once.faults]]).toEqual([
      again.virtual_s,
      again.how,
      [...again.faults],
    ])
    // Every reading, event, request and word of it: the whole record as it was told.
    expect(again.entries.length).toBeGreaterThan(100)
    expect(again.entries).toEqual(once.entries)
  })

  it('leave the other faults as they were when one is left out', () => {
    const found = all.find(({ faults }) => faults.size >= 2)
    const [first = ''] = found?.faults.keys() ?? []
    const without = simulate(parts, found?.seed ?? 0, new Set([first]))
    expect([...without.faults.keys()]).not.toContain(first)
  })
})

describe('a run that breaks an invariant', () => {
  // The mistake is in the plan here: no sleep of the computer is ever long enough to end a run.
  const mistaken = (part: Part): Part => {
    const rules = part.plan.rules.map((rule) => (rule.code === 'slept' ? { ...rule, trip: 1e9 } : rule))
    return { ...part, plan: { ...part.plan, rules } }
  }
  const wrong: Parts = { ...mistaken(parts), kind: (of) => mistaken(parts.kind(of)) }
  const run = simulate(wrong, 1_000_010)
  const { broken, faults } = someRuns(wrong, 1, 7, 1)
  const invariant = 'what must end a run ends it at once'
  const told = broken.find((each) => each.invariant === invariant)

  it('is told by its seed as a short story that ends in what broke', () => {
    expect(run.broken.map((each) => each.invariant)).toContain(invariant)
    expect(told?.seed).toBe(1_000_010)
    expect(told?.story.at(-1)).toMatch(
      /^ +\d+\.\d\d s {2}BROKEN: what must end a run ends it at once: the computer slept$/,
    )
  })

  it('loses every fault on the way that is not needed to break it', () => {
    expect(Object.keys(faults)).toEqual(['HT:ignores-off', 'machine sleeps', 'unplugged line'])
    const kinds = told?.story
      .filter((line) => line.includes('** '))
      .map((line) => line.replace(/.*\*\* /, ''))
    expect(kinds).toEqual(['machine sleeps'])
  })
})

describe('mistakes planted on purpose', () => {
  it.each(planted.map((plant) => [plant.name, plant] as const))(
    '%s: its text stands once in the program',
    (_name, plant) => {
      expect(timesFound(plant)).toBe(1)
    },
  )

  it('are all in the table, and all were seen', () => {
    const table = readFileSync(new URL('../simulator/PLANTED.md', import.meta.url), 'utf8')
    for (const { name, file } of planted)
      expect(table).toMatch(
        new RegExp(`\\| ${name.replaceAll(/[.*+?^()|]/g, '\\$&')} \\| \`src/${file}\` \\| \\d+ \\|`),
      )
  })
})
