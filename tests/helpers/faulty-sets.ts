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
  type SeenHookup,
  type SeenStep,
} from '../../src/faults/index.js'
import { undriven } from '../../src/faults/bed.js'
import { heatersWith } from '../../src/faults/heaters.js'
import { handMeter } from '../../src/faults/hand-meter.js'
import { noticedAt } from '../../src/faults/notice.js'
import { benchRails, clippedOn, heaterPoint, sampleElements } from '../../src/limits/index.js'
import type { Element } from '../../src/network/index.js'
import type { Plan } from '../../src/plan/index.js'

/** What has been done to a set: a fault, or something that no library lists (an element more). */
export interface Spoilt {
  readonly fault: Fault | null
  readonly extra?: Element
}

/** A set with one fault, its parts drawn, and what a run over the plan would have read of it. */
export interface FaultySet {
  readonly seen: Seen
  /** What somebody reads there, with an error of the meter's own. */
  read(place: string, measure: 'volts' | 'ohms', at: Readonly<Record<string, number>>, mode: string): Reading
}

interface Accuracy {
  readonly of_reading: number
  readonly plus: number
}

/**
 * Drawn as healthy sets are, then spoilt. The checks of the wiring, heaters and each step of the plan are solved at rest and
 * read with the bench's accuracy and resolution; the run ends where a rule of the plan would end it. Not a whole rehearsal:
 * nothing here takes time.
 */
export function faultySets(
  equipment: Equipment,
  bench: Bench,
  plan: Plan,
): (spoilt: Fault | Spoilt | null, seed: number) => FaultySet {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const known = new Map<string, Bed>()
  const points = pointsOf(equipment, plan)
  const hand = handMeter(bench)
  return (given, seed) => {
    const { fault, extra }: Spoilt = given === null || 'changes' in given ? { fault: given } : given
    const bedOf = (mode: string, probe?: Element): Bed => {
      const key = `${mode} ${probe?.kind ?? ''} ${probe !== undefined && 'a' in probe ? `${probe.a} ${probe.b}` : ''}`
      const old = extra === undefined ? known.get(key) : undefined
      if (old !== undefined) return old
      const more = [extra, probe].filter((each) => each !== undefined)
      const bed = createBed(
        equipment,
        mode,
        probe?.kind === 'supply' ? {} : rails,
        probe?.kind === 'supply' ? [] : meters,
        more,
      )
      if (extra === undefined) known.set(key, bed)
      return bed
    }
    const source = chance(seed).fork('faulty set')
    const spoilt = fault === null ? null : severe(fault, source.fork('severity'))
    const made = new Map<Bed, { readonly all: Element[]; readonly changed: Element[] }>()
    const elements = (bed: Bed): { readonly all: Element[]; readonly changed: Element[] } => {
      const old = made.get(bed)
      if (old !== undefined) return old
      const own = new Map(
        sampleElements(equipment, bed.network.elements, source).map((element) => [element.name, element]),
      )
      const changed = spoilt === null ? [] : faulted(bed, spoilt, own)
      for (const element of changed) own.set(element.name, element)
      const both = { all: [...own.values()], changed }
      made.set(bed, both)
      return both
    }
    const noise = source.fork('noise')
    const off = (): number => Math.max(-1, Math.min(1, noise.normal() / 2))
    const read = (value: number, { of_reading, plus }: Accuracy, step: number): number => {
      const seenAs = value + off() * (of_reading * Math.abs(value) + plus)
      return step > 0 ? Math.round(seenAs / step) * step : seenAs
    }
    const readAmps = (rail: string, A: number): number => {
      const own = rails[rail]
      return own === undefined ? A : Math.max(0, read(A, own.accuracy_A, own.resolution_A))
    }
    let tripped: Seen['tripped'] = null
    const hookups: SeenHookup[] = []
    for (const { index, mode, hookup } of plan.steps) {
      if (hookup === null || rails[hookup.rail]?.role === 'heater') continue
      const { rail, ohm_low, ohm_high } = hookup
      const by = hookup.method === 'ohmmeter' ? 'ohmmeter' : 'supply'
      const test_V = by === 'ohmmeter' ? 0.5 : hookup.test_V
      const bed = bedOf(mode)
      const point = { mode, volts: { [rail]: test_V }, hot: false }
      const { solution } = bed.solve(point, elements(bed).all, new Set())
      const amps = railAmps(rails, point, solution)[rail] ?? 0
      const ohm = test_V / Math.max(amps, 1e-9)
      const seenAs =
        by === 'supply' ? readAmps(rail, amps) : test_V / read(ohm, { of_reading: 0.01, plus: 0.2 }, 0.1)
      hookups.push({ step: index, rail, by, volts: test_V, amps: seenAs })
      if (ohm >= ohm_low && ohm <= ohm_high) continue
      tripped = { step: index, text: `${rail} in its hook-up check` }
      break
    }
    const steps: SeenStep[] = []
    const heaters: Record<string, { volts: number; amps: number }> = {}
    const wobble = source.fork('heaters')
    for (const step of tripped === null ? plan.steps : []) {
      const rail = rails[step.rail ?? '']
      if (step.do !== 'raise' || rail?.role !== 'heater') continue
      if (rail.class !== 'programmed' && rail.amps_meter === null) continue
      const own = wobble.fork(rail.name)
      const drawn_A = (V: number): number =>
        heaterPoint(equipment, rail.name, V, rail.lead_ohm, (part) => {
          const by = heatersWith(spoilt)(part)
          return by === 1 ? 1 + 0.03 * own.fork(part).normal() : by
        }).amps
      const limits = step.limits[rail.name]
      let V = step.target_V
      if (limits !== undefined && drawn_A(V) > limits.trip_A) {
        // Stopped on its way up.
        tripped = { step: step.index, text: `${rail.name} above its trip` }
        let low_V = 0
        while (V - low_V > 0.01) {
          const middle_V = (V + low_V) / 2
          if (drawn_A(middle_V) > limits.trip_A) V = middle_V
          else low_V = middle_V
        }
      }
      const here = { volts: V, amps: readAmps(rail.name, drawn_A(V)) }
      heaters[rail.name] = here
      steps.push({ step: step.index, rails: { [rail.name]: here }, meters: {} })
      if (tripped !== null) break
    }
    let lit: ReadonlySet<string> = new Set()
    let near: Readonly<Record<string, number>> | undefined
    let before: {
      readonly volts: Readonly<Record<string, number>>
      readonly amps: Readonly<Record<string, number>>
      readonly mode: string
    } | null = null
    for (const { step, point, limits } of tripped === null ? points : []) {
      const bed = bedOf(point.mode)
      if (before !== null && before.mode !== point.mode) {
        before = null
        lit = new Set()
      }
      const { all, changed } = elements(bed)
      let here = { ...point, limits_A: {} }
      let solved = bed.solve(here, all, lit, near)
      near = solved.solution.volts
      let amps = railAmps(rails, here, solved.solution)
      const expected = Object.fromEntries(
        Object.entries(limits).map(([rail, { expected_A }]) => [rail, expected_A]),
      )
      const noticed = noticedAt({
        ...{ plan, step, limits, amps, expected, volts: solved.solution.volts },
        lost: undriven(bed, new Map(changed.map((element) => [element.name, element]))),
      })
      if (noticed?.how === 'off at once') {
        tripped = { step: step.index, text: noticed.text }
        if (noticed.rail !== null) {
          // Stopped on its way up.
          const { rail, limit } = noticed
          const from_A = before?.amps[rail] ?? 0
          const part = Math.max(
            0.02,
            Math.min(1, (limit - from_A) / Math.max((amps[rail] ?? 0) - from_A, 1e-9)),
          )
          const was = before?.volts
          here = {
            ...here,
            volts: Object.fromEntries(
              Object.entries(point.volts).map(([name, V]) => [
                name,
                (was?.[name] ?? (name === step.rail ? 0 : V)) * (1 - part) + part * V,
              ]),
            ),
          }
          solved = bed.solve(here, all, lit, near)
          amps = railAmps(rails, here, solved.solution)
        }
      }
      lit = solved.lit
      steps.push({
        step: step.index,
        rails: {
          ...heaters,
          ...Object.fromEntries(
            Object.entries(amps).flatMap(([name, A]) => {
              const own = rails[name]
              if (own === undefined || (own.class !== 'programmed' && own.amps_meter === null)) return []
              const volts = read(here.volts[name] ?? 0, own.accuracy_V, own.resolution_V)
              return [[name, { volts, amps: readAmps(name, A) }]]
            }),
          ),
        },
        meters: Object.fromEntries(
          Object.values(plan.meters).flatMap(
            ({ name, at, against, measures, port, accuracy, resolution }) => {
              if (measures !== 'V' || at === null || port === null) return []
              const volts = (solved.solution.volts[at] ?? 0) - (solved.solution.volts[against ?? ''] ?? 0)
              return [[name, read(volts, accuracy, resolution)]]
            },
          ),
        ),
      })
      if (tripped !== null) break
      before = { volts: here.volts, amps, mode: point.mode }
    }
    return {
      seen: { steps, hookups, tripped },
      read(place, measure, at, mode) {
        const [a = place, b = equipment.chassis_node] = place.split(' to ')
        const ohms = measure === 'ohms'
        const probe: Element = ohms
          ? { kind: 'supply', name: 'probe', a, b, V: 0, limit_A: 1e3, ohm: 1e-3 }
          : { kind: 'meter', name: 'probe', a, b, ohm: hand.ohm }
        const bed = bedOf(mode, probe)
        const point = ohms ? { mode, volts: { probe: 0.2 }, hot: false } : { mode, volts: at, hot: true }
        const { solution } = bed.solve(point, elements(bed).all, ohms ? new Set() : lit)
        const A = -(solution.currents['probe']?.a ?? 0)
        const value = ohms
          ? Math.min(5e7, 0.2 / Math.max(A, 1e-12))
          : (solution.volts[a] ?? 0) - (solution.volts[b] ?? 0)
        const unit = ohms ? 'Ω' : 'V'
        const accuracy = ohms ? { of_reading: 0.01, plus: 0.2 } : hand.accuracy
        return { place, unit, value: read(value, accuracy, ohms ? 0.1 : hand.resolution) }
      },
    }
  }
}

/** The same fault, somewhat worse or milder than the library has it. */
export function severe(fault: Fault, own: Chance): Fault {
  const by = Math.exp(0.4 * own.normal())
  const changes = fault.changes.map((change): Change => {
    if (change.is === 'leaks') return { ...change, ohm: change.ohm * by }
    if (change.is === 'ohm times' && change.by > 1)
      return { ...change, by: Math.max(1.5, change.by * Math.exp(0.25 * own.normal())) }
    if (change.is === 'emission times' && change.by > 0)
      return { ...change, by: change.by * Math.exp(0.2 * own.normal()) }
    if (change.is === 'gas') return { ...change, of_plate: change.of_plate * by }
    return change
  })
  return { ...fault, changes }
}

/** Faults that no library lists: a resistor of a far lower value, or a bridge of solder, damp or carbon between two nodes. */
export function unlisted(equipment: Equipment, plan: Plan, seed: number): Spoilt {
  const own = chance(seed).fork('unlisted')
  const pick = <T>(all: readonly T[]): T | undefined => all[Math.floor(own.next() * all.length)]
  const resistors = Object.entries(equipment.parts).flatMap(([name, part]) =>
    part.kind === 'resistor' ? [name] : [],
  )
  const part = pick(resistors) ?? ''
  if (own.next() < 0.5) {
    const by = 0.1 + 0.3 * own.next()
    const changes: Change[] = [{ element: part, is: 'ohm times', by }]
    return {
      fault: { fault: `${part}:low value`, part, kind: 'drift', text: '', weight: 0, changes, heater: null },
    }
  }
  const nodes = Object.keys(
    plan.steps.findLast(({ nodes: told }) => Object.keys(told).length > 2)?.nodes ?? {},
  )
  const a = pick(nodes) ?? equipment.chassis_node
  const b = pick(nodes.filter((node) => node !== a)) ?? equipment.chassis_node
  const ohm = 1000 * Math.exp(4.6 * own.next())
  return { fault: null, extra: { kind: 'resistor', name: 'bridge', a, b, ohm } }
}
