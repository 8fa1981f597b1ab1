import { type Chance, chance } from '../../src/chance/index.js'
import type { Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import {
  type Bed,
  type Change,
  createBed,
  type Fault,
  faulted,
  pointsOf,
  railAmps,
  type Reading,
  type Seen,
  type SeenStep,
} from '../../src/faults/index.js'
import { benchRails, clippedOn, heaterPoint, sampleElements } from '../../src/limits/index.js'
import type { Element } from '../../src/network/index.js'
import type { Plan } from '../../src/plan/index.js'

/** A set with one fault, its parts drawn, and what a run over the plan would have read of it. */
export interface FaultySet {
  readonly seen: Seen
  /** What somebody reads there, with an error of the meter's own. */
  read(place: string, measure: 'volts' | 'ohms', at: Readonly<Record<string, number>>, mode: string): Reading
}

/**
 * Drawn as healthy sets are, then spoilt. Each step of the plan is solved at rest and read with the bench's accuracy and
 * resolution; the run ends where a current passes its trip. Not a whole rehearsal: nothing here takes time.
 */
export function faultySets(
  equipment: Equipment,
  bench: Bench,
  plan: Plan,
): (fault: Fault | null, seed: number) => FaultySet {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const beds = new Map<string, Bed>()
  const bedOf = (mode: string): Bed => {
    const bed = beds.get(mode) ?? createBed(equipment, mode, rails, meters)
    beds.set(mode, bed)
    return bed
  }
  const points = pointsOf(equipment, plan)
  return (fault, seed) => {
    const source = chance(seed).fork('faulty set')
    const spoilt = fault === null ? null : severe(fault, source.fork('severity'))
    const elements = (bed: Bed): Element[] => {
      const own = new Map(
        sampleElements(equipment, bed.network.elements, source).map((element) => [element.name, element]),
      )
      if (spoilt !== null) for (const element of faulted(bed, spoilt, own)) own.set(element.name, element)
      return [...own.values()]
    }
    const noise = source.fork('noise')
    const off = (): number => Math.max(-1, Math.min(1, noise.normal() / 2))
    const read = (
      value: number,
      { of_reading, plus }: { readonly of_reading: number; readonly plus: number },
      step: number,
    ): number => {
      const seenAs = value + off() * (of_reading * Math.abs(value) + plus)
      return step > 0 ? Math.round(seenAs / step) * step : seenAs
    }
    const steps: SeenStep[] = []
    let tripped: Seen['tripped'] = null
    const open = spoilt?.heater ?? null
    const heaters: Record<string, { volts: number; amps: number }> = {}
    const wobble = source.fork('heaters')
    for (const step of plan.steps) {
      const rail = rails[step.rail ?? '']
      if (step.do !== 'raise' || rail?.role !== 'heater') continue
      const own = wobble.fork(rail.name)
      const amps = heaterPoint(equipment, rail.name, step.target_V, rail.lead_ohm, (part) =>
        part === open ? 'open' : 1 + 0.03 * own.fork(part).normal(),
      ).amps
      heaters[rail.name] = { volts: step.target_V, amps: read(amps, rail.accuracy_A, rail.resolution_A) }
      steps.push({
        step: step.index,
        rails: { [rail.name]: { volts: step.target_V, amps: heaters[rail.name]?.amps ?? 0 } },
        meters: {},
      })
    }
    let lit: ReadonlySet<string> = new Set()
    let before: {
      readonly volts: Readonly<Record<string, number>>
      readonly amps: Readonly<Record<string, number>>
    } | null = null
    for (const { step, point, limits } of points) {
      const bed = bedOf(point.mode)
      const changed = elements(bed)
      let here = { ...point, limits_A: {} }
      let solved = bed.solve(here, changed, lit)
      let amps = railAmps(rails, here, solved.solution)
      const over = Object.entries(limits).find(([rail, { trip_A }]) => (amps[rail] ?? 0) > trip_A)
      if (over !== undefined) {
        // Stopped on its way up.
        const [rail, { trip_A }] = over
        const from_A = before?.amps[rail] ?? 0
        const part = Math.max(
          0.02,
          Math.min(1, (trip_A - from_A) / Math.max((amps[rail] ?? 0) - from_A, 1e-9)),
        )
        here = {
          ...here,
          volts: Object.fromEntries(
            Object.entries(point.volts).map(([name, V]) => [
              name,
              (before?.volts[name] ?? (name === step.rail ? 0 : V)) * (1 - part) + part * V,
            ]),
          ),
        }
        solved = bed.solve(here, changed, lit)
        amps = railAmps(rails, here, solved.solution)
        tripped = { step: step.index, text: `${rail} above its trip` }
      }
      lit = solved.lit
      steps.push({
        step: step.index,
        rails: {
          ...heaters,
          ...Object.fromEntries(
            Object.entries(amps).flatMap(([name, A]) => {
              const own = rails[name]
              return own === undefined
                ? []
                : [
                    [
                      name,
                      {
                        volts: read(here.volts[name] ?? 0, own.accuracy_V, own.resolution_V),
                        amps: Math.max(0, read(A, own.accuracy_A, own.resolution_A)),
                      },
                    ],
                  ]
            }),
          ),
        },
        meters: Object.fromEntries(
          Object.values(plan.meters).flatMap(({ name, at, against, measures, port, accuracy, resolution }) =>
            measures !== 'V' || at === null || port === null
              ? []
              : [
                  [
                    name,
                    read(
                      (solved.solution.volts[at] ?? 0) - (solved.solution.volts[against ?? ''] ?? 0),
                      accuracy,
                      resolution,
                    ),
                  ],
                ],
          ),
        ),
      })
      if (tripped !== null) break
      before = { volts: here.volts, amps }
    }
    return {
      seen: { steps, tripped },
      read(place, measure, at, mode) {
        const b = equipment.chassis_node
        const meter: Element =
          measure === 'ohms'
            ? { kind: 'supply', name: 'probe', a: place, b, V: 0, limit_A: 1e3, ohm: 1e-3 }
            : { kind: 'meter', name: 'probe', a: place, b, ohm: 1e7 }
        const bed = createBed(equipment, mode, rails, measure === 'ohms' ? [] : meters, [meter])
        const point =
          measure === 'ohms' ? { mode, volts: { probe: 0.2 }, hot: false } : { mode, volts: at, hot: true }
        const { solution } = bed.solve(point, elements(bed), measure === 'ohms' ? new Set() : lit)
        const A = -(solution.currents['probe']?.a ?? 0)
        const value =
          measure === 'ohms' ? Math.min(5e7, 0.2 / Math.max(A, 1e-12)) : (solution.volts[place] ?? 0)
        const unit = measure === 'ohms' ? 'Ω' : 'V'
        return {
          place,
          unit,
          value: read(
            value,
            { of_reading: 0.01, plus: unit === 'V' ? 0.05 : 0.2 },
            unit === 'V' ? 0.01 : 0.1,
          ),
        }
      },
    }
  }
}

/** The same fault, somewhat worse or milder than the library has it. */
function severe(fault: Fault, own: Chance): Fault {
  const by = Math.exp(0.4 * own.normal())
  const changes = fault.changes.map((change): Change => {
    if (change.is === 'leaks') return { ...change, ohm: change.ohm * by }
    if (change.is === 'ohm times')
      return { ...change, by: Math.max(1.5, change.by * Math.exp(0.25 * own.normal())) }
    if (change.is === 'emission times' && change.by > 0)
      return { ...change, by: change.by * Math.exp(0.2 * own.normal()) }
    if (change.is === 'gas') return { ...change, of_plate: change.of_plate * by }
    return change
  })
  return { ...fault, changes }
}
