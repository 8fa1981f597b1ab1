import { describe, expect, it } from 'vitest'
import {
  createDiagnoser,
  createLab,
  endsOf,
  type Fault,
  faultsOf,
  pointsOf,
  type Reading,
} from '../../src/faults/index.js'
import { acrossPart, feeding } from '../../src/faults/place.js'
import { voltsDrawn } from '../../src/faults/probe.js'
import { createScale } from '../../src/faults/scale.js'
import { createModel } from '../../src/faults/signals.js'
import { toldBy } from '../../src/faults/tells.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { readAsAsked } from '../benchmarks/faults/answers.js'
import { faultySets } from '../helpers/faulty-sets.js'

const all = loadAll('profiles/small-receiver/receive-network.yaml').value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench } = all
const { plan } = makePlan(all.profile, equipment, bench)
if (plan === null) throw new Error('no plan')
const draw = faultySets(equipment, bench, plan)
const diagnose = createDiagnoser({ equipment, bench, plan })
const named = (name: string): Fault => {
  const fault = faultsOf(equipment).find(({ fault: each }) => each === name)
  if (fault === undefined) throw new Error(`${name} is not in the library`)
  return fault
}

describe('a place', () => {
  const nodes = new Set(['B plus', 'V3 plate', 'path to earth', 'earth'])
  const ends = (place: string) => endsOf(place, 'chassis', (node) => nodes.has(node))
  it('is a node against the chassis, or two nodes', () => {
    expect(ends('B plus')).toEqual({ a: 'B plus', b: 'chassis' })
    expect(ends('B plus to V3 plate')).toEqual({ a: 'B plus', b: 'V3 plate' })
    expect(ends('V3 plate to chassis')).toEqual({ a: 'V3 plate', b: 'chassis' })
    expect(ends('B plus to nowhere')).toBeNull()
  })
  it('may have the word in a name', () => {
    expect(ends('path to earth')).toEqual({ a: 'path to earth', b: 'chassis' })
    expect(ends('path to earth to B plus')).toEqual({ a: 'path to earth', b: 'B plus' })
  })
  it('of a part is across it, of a tube where its electrodes may touch; its feeds tell its currents', () => {
    expect(acrossPart(equipment, 'L1')).toEqual([{ a: 'HT line', b: 'B plus' }])
    expect(acrossPart(equipment, 'V4')).toContainEqual({ a: 'V4 grid', b: 'V4 cathode' })
    // What has one end at the chassis is read from its other end.
    expect(acrossPart(equipment, 'R9').every(({ a, b }) => a !== 'chassis' && b !== 'chassis')).toBe(true)
    expect(feeding(equipment, 'V4').length).toBeGreaterThan(0)
  })
})

describe('what a reading is expected to tell', () => {
  it('is all of an even pair where they read apart, and nothing where a spread hides it', () => {
    const pair = (off: number, variance: number) =>
      toldBy(
        [
          { y: 0, variance },
          { y: off, variance },
        ],
        [0.5, 0.5],
      )
    expect(pair(5, 0.01)).toBeCloseTo(Math.log(2), 6)
    expect(pair(0, 0.01)).toBeCloseTo(0, 9)
    expect(pair(1, 0.01)).toBeGreaterThan(pair(1, 1))
  })
  it('is something too where only one of two spreads', () => {
    const told = toldBy(
      [
        { y: 0, variance: 0.01 },
        { y: 0, variance: 4 },
      ],
      [0.5, 0.5],
    )
    expect(told).toBeGreaterThan(0.1)
  })
})

describe('readings between two places', () => {
  it('across a winding that is open name it, though what then leaks is in no file', () => {
    const drawn = draw(named('L1:open'), 210_085)
    const before = diagnose(drawn.seen)
    expect(before.hypotheses[0]?.tied_with.length).toBe(1)
    expect(before.next?.place).toBe('HT line to B plus')
    if (before.next === null) throw new Error('it asks for nothing')
    const after = diagnose(drawn.seen, [readAsAsked(drawn, before, before.next, 'receive')])
    const [first] = after.hypotheses
    expect(first?.fault).toBe('L1:open')
    expect(first?.tied_with).toEqual([])
    expect(first?.probability).toBeGreaterThan(0.9)
  })
  it('of volts say where both leads lie and what they must stand', () => {
    const { seen } = draw(named('V4:weak=0.3'), 210_080)
    const { next } = diagnose(seen)
    expect(next?.place).toBe('V4 grid to V4 cathode')
    expect(next?.leads).toEqual(['V4 grid', 'V4 cathode'])
    expect(next?.how).toMatch(/dead at V4 grid.*and at V4 cathode.*rated for them/s)
    expect(next?.step).not.toBeNull()
  })
})

describe('volts that were read', () => {
  const drawn = draw(named('V4:weak=0.3'), 210_080)
  const at = (step: number, volts: number): Reading => ({
    ...drawn.read('V4 cathode', 'volts', { HT: volts }, 'receive'),
    step,
  })
  const steps = new Map(drawn.seen.steps.map(({ step, rails }) => [Math.round(rails.HT?.volts ?? 0), step]))
  it('are reckoned with where the rails stood then', () => {
    for (const [volts, step] of steps)
      if (volts > 90) {
        const told = diagnose(drawn.seen, [at(step, volts)])
        expect(told.hypotheses[0]?.fault).toBe('V4:weak=0.3')
        expect(told.from.some((line) => line.startsWith('volts at V4 cathode'))).toBe(true)
      }
  })
  it('at a step at which no rail stood are not, and the answer says so', () => {
    const told = diagnose(drawn.seen, [at(1, 250)])
    expect(told.from.some((line) => line.startsWith('volts at V4 cathode'))).toBe(false)
    expect(told.notes.join(' ')).toMatch(/Not reckoned with: V4 cathode .* at step 1/)
  })
})

describe('what these readings neither show nor rule out', () => {
  it('is told with nothing: no fault drops out of the answer without having been refuted', () => {
    // It moves readings by more than two standard deviations, but this set's own parts hide it.
    const { seen } = draw(named('V4:strong=2'), 210_025)
    const { nothing, hypotheses } = diagnose(seen, [], { next: false })
    expect(hypotheses.flatMap(({ fault, tied_with }) => [fault, ...tied_with])).not.toContain('V4:strong=2')
    expect(nothing.faults).toContain('V4:strong=2')
    expect(nothing.cannot_show).toBe(nothing.faults.length)
  })
})

describe('volts with a fault', () => {
  it('are told from sets drawn with it, where the file alone says little of them', () => {
    const converter = loadAll('tests/sets/converter/receive.yaml').value
    if (converter === null) throw new Error('the converter does not load')
    const lab = createLab(converter.equipment, converter.bench)
    const top = pointsOf(converter.equipment, planOf(converter)).at(-1)?.point
    const open = faultsOf(converter.equipment).find(({ fault }) => fault === 'R14:open')
    if (top === undefined || open === undefined) throw new Error('no R14, or no plan')
    // Behind an open resistor what leaks decides: of sets that differ by their tolerances some stand near nothing, some near the rail.
    const drawn = voltsDrawn(lab, lab.at(top), 'v3 cathode 2', open)
    expect(Math.sqrt(drawn?.variance ?? 0)).toBeGreaterThan(0.5)
    // What it moves little is as sure as in a whole set.
    expect(voltsDrawn(lab, lab.at(top), 'HT line', open)).toBeNull()
  })
})

describe('a fault behind a gas regulator', () => {
  it('shows where that has not struck, though the rail draws the same at the top', () => {
    const set = loadAll('profiles/tern-rock/receive.yaml').value
    if (set === null) throw new Error('the demo does not load')
    const own = planOf(set)
    const weak = faultsOf(set.equipment).find(({ fault }) => fault === 'V3:weak=0.3')
    if (weak === undefined) throw new Error('no V3')
    const { seen } = faultySets(set.equipment, set.bench, own)(null, 3)
    const model = createModel(createLab(set.equipment, set.bench), own, seen)
    const { row, healthy } = createScale(model, null, model.signals, (signal, who) =>
      model.value(signal, who),
    )
    const moved = (row({ fault: weak }) ?? []).map((y, i) => Math.abs(y - (healthy[i] ?? 0)))
    const of = (step: number): number =>
      moved[model.signals.findIndex(({ what }) => what === `HT in step ${step}`)] ?? 0
    expect(of(12)).toBeLessThan(0.01)
    expect(of(7)).toBeGreaterThan(0.03)
    expect(of(11)).toBeGreaterThan(0.03)
  })
})

function planOf({ profile, equipment: its, bench: on }: NonNullable<ReturnType<typeof loadAll>['value']>) {
  const made = makePlan(profile, its, on).plan
  if (made === null) throw new Error('no plan')
  return made
}

describe('the check of the wiring below 5 V, with a dead short behind it', () => {
  it('counts what stands in the lead: the fuse too', () => {
    const set = loadAll('tests/sets/hailer/receive.yaml').value
    const short = set === null ? undefined : faultsOf(set.equipment).find(({ fault }) => fault === 'C1:short')
    if (set === null || short === undefined) throw new Error('no C1')
    const spot = createLab(set.equipment, set.bench).at({ mode: 'receive', volts: { HT: 0.5 }, hot: false })
    // By hand: 1.2 Ω of fuse (0.3 V at 250 mA), 0.2 Ω of leads, and a short of half an ohm.
    expect(0.5 / (spot.state({ fault: short })?.amps['HT'] ?? 0)).toBeCloseTo(1.9, 2)
  })
})
