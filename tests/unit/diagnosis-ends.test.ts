import { describe, expect, it } from 'vitest'
import { faultsOf } from '../../src/faults/index.js'
import { endWords, hotWords } from '../../src/faults/next-words.js'
import { pairOf, severitiesOf } from '../../src/faults/severity.js'
import { aboutText } from '../../src/faults/told.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { pointOf } from '../../src/faults/points.js'
import { distinct } from '../benchmarks/faults/answers.js'

const all = loadAll('profiles/small-receiver/receive-network.yaml').value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench, profile } = all
const faults = faultsOf(equipment)
const named = (name: string) => {
  const fault = faults.find(({ fault: each }) => each === name)
  if (fault === undefined) throw new Error(`${name} is not in the library`)
  return fault
}
const cause = (name: string, probability: number, tied = false) => ({ fault: named(name), probability, tied })

describe('the end of a search', () => {
  const ends = (left: ReturnType<typeof cause>[], unshown = 0) =>
    endWords({ left, others: 0, unshown, burning: [] })
  it('names what cannot be told apart, each with how likely it is', () => {
    expect(ends([cause('L1:open', 0.5, true), cause('C1:short', 0.45, true)])).toMatch(
      /^No next reading: 2 causes are left that cannot be told apart by a reading still open: L1 open \(50 %\), C1 shorted \(45 %\)\. Confirm/,
    )
  })
  it('names six of many', () => {
    const many = faults.slice(0, 9).map((fault) => ({ fault, probability: 0.1, tied: true }))
    const words = ends(many)
    for (const { fault } of many.slice(0, 6)) expect(words).toContain(`${fault.text} (10 %)`)
    expect(words).not.toContain(`${many[6]?.fault.text ?? ''} (10 %)`)
    expect(words).toContain('and 3 more')
  })
  it('never says that one is left where others stand, however unlikely', () => {
    const words = ends([cause('L1:open', 0.93, true), cause('C1:short', 0.04)], 0.03)
    expect(words).not.toMatch(/one cause is left/)
    expect(words).toMatch(
      /likeliest cause is L1 open \(93 %\); no reading still open .* still stands: C1 shorted \(4 %\); that nothing shows or no known fault explains it 3 %/,
    )
  })
  it('of one that is left says how likely it is, and what else there may be', () => {
    expect(ends([cause('L1:open', 0.8, true)], 0.2)).toMatch(
      /one cause is left: L1 open \(80 %\); that nothing shows or no known fault explains it 20 %/,
    )
  })
})

describe('a fault that is weighed with milder and worse ones', () => {
  it('is told by its own size, and that it is about right', () => {
    const texts = (name: string) => severitiesOf(named(name)).map(({ fault }) => fault.text)
    expect(texts('C5:leaky=1000k')).toEqual([
      'C5 leaks (about 5000k)',
      'C5 leaks (about 2200k)',
      'C5 leaks (1000k)',
      'C5 leaks (about 450k)',
      'C5 leaks (about 200k)',
    ])
    expect(aboutText(named('C5:leaky=1000k'))).toBe('C5 leaks (about 1000k)')
    expect(texts('R13:drift=2')[3]).toBe('R13 drifted to about 3.6 times its value')
    expect(texts('V4:weak=0.3')[0]).toBe('V4 is weak (about 39 % emission)')
    expect(texts('V4:strong=2')[2]).toMatch(/^V4 draws about 1\.5 times its current/)
  })
  it('is told with the sizes that explain what was read nearly as well', () => {
    const all = severitiesOf(named('R13:drift=2')).map(({ fault }) => fault)
    expect(aboutText(named('R13:drift=2'), all)).toBe(
      'R13 drifted to about 2 times its value, 1.6 to 3.6 fitting nearly as well',
    )
    expect(aboutText(named('R13:drift=2'), all.slice(1, 2))).toBe('R13 drifted to about 2 times its value')
  })
  it('of a pair in each half', () => {
    const [a, b] = [named('C5:leaky=1000k'), named('L1:open')]
    const [mild] = severitiesOf(a)
    if (mild === undefined) throw new Error('no severities')
    const pair = { ...a, text: `${a.text}, and ${b.text}`, with: b.fault }
    expect(pairOf(pair, mild.fault, b).text).toBe('C5 leaks (about 5000k), and L1 open')
  })
  it('has nothing to tell where its size is not in the words', () => {
    for (const fault of faults.filter(({ kind }) => kind === 'gassy' || kind === 'short'))
      expect(aboutText(fault)).toBe(fault.text)
  })
})

describe('volts that are to be read', () => {
  const { plan } = makePlan(profile, equipment, bench)
  const step = plan?.steps.findLast(({ do: what }) => what === 'raise')
  if (step === undefined) throw new Error('no step')
  const how = (hold_s: number, settle_within_s: number) =>
    hotWords(equipment, { a: 'V4 cathode', b: 'chassis' }, 'V4 cathode', 'chassis', 'the DMM', {
      step: { ...step, hold_s, settle_within_s },
      point: pointOf(equipment, step),
    })
  it('are read during the hold that the plan has, and nothing is said to hold longer', () => {
    expect(how(45, 60)).toMatch(
      /in step \d+; read without touching during the hold of step \d+, which lasts 45 s, and up to 60 s more until the current has settled: no command makes it longer; then, before the plan goes on, end the run/,
    )
    expect(how(45, 0)).toContain('lasts 45 s: no command')
  })
  it('need a hold in the profile where the plan has none', () => {
    expect(how(0, 0)).toMatch(/does not hold there: write a hold at these volts into the profile first/)
  })
})

describe('the figure of the ranking', () => {
  it('says how much of the library came up: a fault that comes again is no second one', () => {
    const cases = ['a A', 'a A', 'a B', 'b A'].map((each) => {
      const [set = '', fault = ''] = each.split(' ')
      return { set, fault }
    })
    const sets = [
      { path: 'a', single: ['A', 'B', 'C'] },
      { path: 'b', single: ['A'] },
    ]
    expect(distinct(cases, sets)).toBe('3 distinct faults of the 4 in the libraries of 2 profiles')
  })
})
