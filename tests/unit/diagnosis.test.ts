import { describe, expect, it } from 'vitest'
import { createDiagnoser, createLab, diagnosisOf, type Fault, faultsOf } from '../../src/faults/index.js'
import { createBed, faulted } from '../../src/faults/bed.js'
import { cholesky, covariance, distance, unscaledBy } from '../../src/faults/likelihood.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { faultySets } from '../helpers/faulty-sets.js'

const all = loadAll('profiles/small-receiver/receive-network.yaml').value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench } = all
const { plan } = makePlan(all.profile, equipment, bench)
if (plan === null) throw new Error('no plan')
const set = { equipment, bench, plan }
const draw = faultySets(equipment, bench, plan)
const named = (name: string): Fault => {
  const fault = faultsOf(equipment).find(({ fault: each }) => each === name)
  if (fault === undefined) throw new Error(`${name} is not in the library`)
  return fault
}

describe('the likelihood', () => {
  it('measures distances by a covariance', () => {
    const lower = cholesky([
      [4, 2],
      [2, 3],
    ])
    // By hand: the inverse of [[4, 2], [2, 3]] is [[3, -2], [-2, 4]] / 8.
    expect(distance(lower, [2, 1])).toBeCloseTo((3 * 4 - 2 * 2 * 2 + 4) / 8, 9)
  })
  it('takes covariance from rows', () => {
    const { mean, cov } = covariance([
      [1, 2],
      [3, 6],
    ])
    expect(mean).toEqual([2, 4])
    expect(cov).toEqual([
      [2, 4],
      [4, 8],
    ])
  })
})

describe('ohms of the cold set', () => {
  it('are by one inverse what solving the network with each fault gives', () => {
    const lab = createLab(equipment, bench)
    const places = ['B plus', 'V3 plate', 'V4 grid', 'V4 screen', 'V2 cathode']
    for (const place of places) {
      const probe = {
        kind: 'supply',
        name: 'probe',
        a: place,
        b: 'chassis',
        V: 0,
        limit_A: 1e3,
        ohm: 1e-3,
      } as const
      const bed = createBed(equipment, 'receive', {}, [], [probe])
      for (const name of [
        'C5:leaky=1000k',
        'R13:drift=2',
        'R5:open',
        'L1:open',
        'C4:short',
        'V4:grid-short',
        'C5:short',
      ]) {
        const point = { mode: 'receive', volts: { probe: 0.2 }, hot: false }
        const { solution } = bed.solve(point, faulted(bed, named(name)), new Set())
        const ohm = Math.min(5e7, 0.2 / Math.max(-(solution.currents.probe?.a ?? 0), 1e-12))
        const told = lab.ohm('receive', place, { fault: named(name) })
        expect(Math.abs(told / ohm - 1), `${name} at ${place}: ${told} for ${ohm}`).toBeLessThan(0.001)
      }
    }
  })
})

describe('a contact that opens in the cold set', () => {
  it('leaves its node to what leaks there, though a milliohm was taken away', () => {
    const other = loadAll('tests/sets/converter/receive.yaml').value
    const open =
      other === null ? undefined : faultsOf(other.equipment).find(({ fault }) => fault === 'S1:open')
    if (other === null || open === undefined) throw new Error('the converter has no S1')
    const lab = createLab(other.equipment, other.bench)
    expect(lab.ohm('calibrate', 'calibrator HT', { fault: open })).toBeGreaterThan(4e7)
    expect(lab.ohm('calibrate', 'B plus', { fault: open })).toBeCloseTo(
      lab.ohm('receive', 'B plus', null),
      -3,
    )
  })
})

describe('a cold reading behind an open path', () => {
  it('is told from what leaks there over drawn sets, and as widely', () => {
    const lab = createLab(equipment, bench)
    const open = lab.ohmDrawn('receive', 'HT line', named('L1:open'))
    const whole = lab.ohmDrawn('receive', 'HT line', null)
    // C1 alone stands there, and leaks up to its limit when new: JAN-C-62 gives 0.7 mA at 350 V for 16 µF, so half a megohm and up.
    const ohm = unscaledBy(open.mean, 0.5)
    expect(ohm).toBeGreaterThan(0.4e6)
    expect(ohm).toBeLessThan(1e7)
    expect(open.variance).toBeGreaterThan(10 * whole.variance)
  })
})

describe('diagnosis of a run', () => {
  it('that tripped on a leaky coupling capacitor names it first, with what cannot be told from it', () => {
    const told = diagnosisOf({ ...set, seen: draw(named('C5:leaky=1000k'), 4).seen })
    const [first] = told.hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('C5:leaky=1000k')
    expect(first?.predicted.length).toBeGreaterThan(0)
    expect(told.next).not.toBeNull()
    const predicts = told.next?.predicts ?? []
    // What a whole set would read comes last: what parts from it is what a person looks for.
    expect(predicts.map(({ whole }) => whole)).toEqual([...predicts.slice(1).map(() => false), true])
    expect(predicts.flatMap(({ causes }) => causes).join()).toMatch(/C5 leaks \(about \d+k\)/)
    for (const [i, { value }] of predicts.entries())
      for (const other of predicts.slice(0, i))
        expect(Math.abs(other.value - value)).toBeGreaterThan(0.02 * Math.abs(other.value))
    expect(told.search_ends).toBeNull()
    // A run alone says little of the size.
    expect(told.hypotheses.map(({ text }) => text).join()).toMatch(
      /C5 leaks \(about \d+k\), \d+k to \d+k fitting nearly as well/,
    )
  })
  it('is sharper after the reading that it asks for', () => {
    const faulty = draw(named('C5:leaky=1000k'), 4)
    const before = diagnosisOf({ ...set, seen: faulty.seen })
    if (before.next === null) throw new Error('it asks for nothing')
    const reading = faulty.read(
      before.next.place,
      before.next.measure,
      before.measured_at?.volts ?? {},
      'receive',
    )
    const after = diagnosisOf({ ...set, seen: faulty.seen, readings: [reading] })
    const [first] = after.hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('C5:leaky=1000k')
    expect(first?.tied_with.length).toBeLessThan(before.hypotheses[0]?.tied_with.length ?? 0)
    expect(after.next?.place === reading.place && after.next.measure === before.next.measure).toBe(false)
  })
  it('of a whole set names nothing, and says how many faults would not show', () => {
    const told = diagnosisOf({ ...set, seen: draw(null, 9).seen })
    expect(told.nothing.probability).toBeGreaterThan(told.hypotheses[0]?.probability ?? 0)
    expect(told.nothing.cannot_show).toBeGreaterThan(0)
    expect(told.verdict).toMatch(/neither show nor rule out/)
    expect(told.next === null).toBe(told.search_ends !== null)
  })
  it('of a whole set asks for no reading, unless it fails all the same or somebody measures already', () => {
    const whole = draw(null, 19)
    const { seen } = whole
    const told = diagnosisOf({ ...set, seen })
    expect(told.hypotheses).toEqual([])
    expect(told.search_ends).toMatch(/fails all the same, say so/)
    const fails = diagnosisOf({ ...set, seen, wanted: { fails: true } })
    expect(fails.next?.why).toMatch(
      /^Nothing that was read shows a fault; if something is wrong all the same/,
    )
    expect(fails.verdict).toBe(told.verdict)
    const reading = whole.read('V2 cathode', 'ohms', {}, 'receive')
    expect(diagnosisOf({ ...set, seen, readings: [reading] }).next).not.toBeNull()
    expect(diagnosisOf({ ...set, seen, readings: [reading], wanted: { next: false } }).next).toBeNull()
  })
  it('of what no fault makes says that none explains it', () => {
    const { seen } = draw(null, 9)
    const steps = seen.steps.map((step, at) => ({
      ...step,
      rails: Object.fromEntries(
        Object.entries(step.rails).map(([rail, { volts, amps }]) => [
          rail,
          { volts, amps: at % 2 === 0 ? 0.02 * amps : 3 * amps },
        ]),
      ),
    }))
    expect(diagnosisOf({ ...set, seen: { steps, tripped: null } }).verdict).toMatch(
      /^None of the known faults/,
    )
  })
  it('adds up to one, with pairs, with none and with nothing', () => {
    const told = diagnosisOf({ ...set, seen: draw(named('V4:no-emission'), 5).seen })
    const sum =
      told.hypotheses.reduce((total, { probability }) => total + probability, 0) +
      told.none +
      told.nothing.probability
    expect(sum).toBeGreaterThan(0.95)
    expect(sum).toBeLessThan(1 + 1e-9)
  })
  it('asks for volts only by the safe sequence, and never says that touching is', () => {
    for (const [fault, seed] of [
      ['V4:no-emission', 5],
      ['C5:leaky=1000k', 4],
    ] as const) {
      const told = diagnosisOf({ ...set, seen: draw(named(fault), seed).seen })
      const how = told.next?.how ?? ''
      expect(how).toMatch(
        told.next?.measure === 'volts'
          ? /HT off and watched down.*hands clear.*read without touching during the hold of step \d+, which lasts \d+ s.*orderly run-down \(r, .*HT off and watched down again, and measured dead/s
          : /Set off.*charge measured away first.*Put an ohmmeter from/s,
      )
      expect(JSON.stringify(told)).not.toMatch(/safe to/i)
      expect(how).not.toMatch(/is held there/)
      if (told.next?.measure === 'ohms') expect(told.next.meter).toEqual({ name: 'an ohmmeter', ohm: null })
    }
  })
  it('reads no volts where a cause that is left would burn a part, nor where the run tripped', () => {
    // C4 shorted burns R5 at 250 V (the plan says so): the run stood there untripped, and the reading is asked for lower.
    const { seen } = draw(named('C4:short'), 4)
    const told = diagnosisOf({ ...set, seen })
    expect(told.hypotheses.flatMap(({ fault, tied_with }) => [fault, ...tied_with])).toContain('C4:short')
    expect(seen.tripped).toBeNull()
    expect(Math.max(...seen.steps.map(({ rails }) => rails.HT?.volts ?? 0))).toBeGreaterThan(245)
    const at = told.measured_at
    expect(at).not.toBeNull()
    expect(at?.volts.HT).toBeLessThan(245)
    // What it would burn above is not above its rating there.
    const lab = createLab(equipment, bench)
    const spot = (volts: number) => lab.at({ mode: 'receive', volts: { HT: volts }, hot: true })
    expect(spot(250).burns(named('C4:short'))).toBe(true)
    expect(spot(at?.volts.HT ?? 250).burns(named('C4:short'))).toBe(false)
    const tripped = draw(named('C5:leaky=1000k'), 4).seen
    expect(tripped.tripped).not.toBeNull()
    expect(diagnosisOf({ ...set, seen: tripped }).measured_at?.step).not.toBe(tripped.tripped?.step)
  })
  it('of a run that its check of the wiring ended names what shows in that check alone', () => {
    const { seen } = draw(named('C1:short'), 3)
    expect(seen.steps).toEqual([])
    const [first] = diagnosisOf({ ...set, seen }).hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('C1:short')
    expect(first?.explains).toMatch(/hook-up check/)
  })
  it('says the same of a run whether others came before it or not', () => {
    const diagnose = createDiagnoser(set)
    const { seen } = draw(named('R9:drift=2'), 6)
    const before = diagnose(seen)
    diagnose(draw(named('C5:leaky=1000k'), 4).seen)
    expect(diagnose(seen)).toEqual(before)
    expect(diagnosisOf({ ...set, seen })).toEqual(before)
  })
  it('of a run that measured nothing, or of a set without a circuit, says so', () => {
    expect(diagnosisOf({ ...set, seen: { steps: [], tripped: null } }).verdict).toMatch(/measured nothing/)
    const plain = loadAll('profiles/small-receiver/receive.yaml').value
    if (plain === null) throw new Error('it does not load')
    expect(
      diagnosisOf({ ...set, equipment: plain.equipment, seen: { steps: [], tripped: null } }).verdict,
    ).toMatch(/no circuit/)
  })
})
