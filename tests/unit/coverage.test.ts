import { describe, expect, it } from 'vitest'
import { coverageOf, doubleFaults, faultsOf } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'

function covered(path: string) {
  const all = loadAll(path).value
  if (all === null) throw new Error(`${path} does not load`)
  const { plan } = makePlan(all.profile, all.equipment, all.bench)
  if (plan === null) throw new Error('no plan')
  return { ...all, plan, coverage: coverageOf({ equipment: all.equipment, bench: all.bench, plan }) }
}

describe('coverage of a small set with a circuit', () => {
  const { equipment, plan, coverage } = covered('profiles/small-receiver/receive-network.yaml')
  const of = (fault: string) => {
    const found = coverage.faults.find((each) => each.fault === fault)
    if (found === undefined) throw new Error(`${fault} is not in the library`)
    return found
  }
  it('tries every fault of every part, tube and rail once', () => {
    const faults = faultsOf(equipment)
    expect(new Set(faults.map(({ fault }) => fault)).size).toBe(faults.length)
    expect(coverage.total).toBe(faults.length)
    for (const part of [...Object.keys(equipment.parts), ...Object.keys(equipment.tubes), 'HT'])
      expect(
        faults.some((fault) => fault.part === part),
        part,
      ).toBe(true)
  })
  it('finds a shorted reservoir below 5 V, before anything is raised', () => {
    expect(of('C1:short')).toMatchObject({ caught: true, how: 'hook-up check', by: 'HT', early: true })
  })
  it('finds the output tube missing when its rail draws too little, and says so as a question', () => {
    const { caught, how, step } = of('V4:no-emission')
    expect(caught).toBe(true)
    expect(how).toBe('asked')
    expect(plan.steps.some(({ index }) => index === step)).toBe(true)
  })
  it('cannot see a dried-out capacitor at rest, and turns it into a check by hand', () => {
    expect(of('C2:low')).toMatchObject({ caught: false, step: null, early: true })
    expect(coverage.hand_checks.find(({ part }) => part === 'C2')?.text).toMatch(/capacitance/)
  })
  it('counts each fault once, and never a part that has failed already as burnt', () => {
    const { caught, late, burns_unseen, harmless_unseen, total } = coverage
    expect(caught + late + burns_unseen + harmless_unseen).toBe(total)
    expect(coverage.share).toBeCloseTo(caught / total)
    for (const { part, kind, stress } of coverage.faults)
      if (kind === 'short' || kind === 'open') expect(stress?.part).not.toBe(part)
  })
  it('has a check by hand for whatever it does not notice in time', () => {
    for (const { caught, early, part } of coverage.faults)
      if (!caught || !early) expect(coverage.hand_checks.some((check) => check.part === part)).toBe(true)
  })
  it('says nothing that could be taken for leave to touch', () => {
    expect(JSON.stringify(coverage)).not.toMatch(/safe to/i)
  })
  it('pairs the likeliest faults of different parts, likelier first and none likelier than its halves', () => {
    const single = faultsOf(equipment)
    const pairs = doubleFaults(single, 30)
    expect(pairs.length).toBe(30)
    const weights = pairs.map(({ weight }) => weight)
    expect(weights).toEqual([...weights].sort((a, b) => b - a))
    expect(Math.max(...weights)).toBeLessThan(Math.max(...single.map(({ weight }) => weight)))
  })
})

describe('coverage of a set without a circuit', () => {
  it('tries nothing and says why', () => {
    const { coverage } = covered('profiles/small-receiver/receive.yaml')
    expect(coverage.total).toBe(0)
    expect(coverage.notes.join(' ')).toMatch(/no circuit/)
  })
})
