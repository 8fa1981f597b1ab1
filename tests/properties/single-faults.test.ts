import { describe, expect, it } from 'vitest'
import { loadAll } from '../../src/files/index.js'
import { toNetwork } from '../../src/equipment/index.js'
import { createSolver, type Element, regulatorsToChange, type Solution } from '../../src/network/index.js'
import { makePlan } from '../../src/plan/index.js'
import {
  createBed,
  faulted,
  type FaultKind,
  faultsOf as libraryOf,
  type Point,
  pointsOf,
} from '../../src/faults/index.js'
import { benchRails, clippedOn } from '../../src/limits/index.js'

/** Every single fault of an element that physics of old parts knows, as a change of that element alone. */
function faultsOf(element: Element): readonly (readonly [string, Element])[] {
  const resistor = (a: string, b: string, ohm: number): Element => ({
    kind: 'resistor',
    name: element.name,
    a,
    b,
    ohm,
  })
  switch (element.kind) {
    case 'resistor':
      return [
        ['open', { ...element, ohm: Infinity }],
        ['short', { ...element, ohm: 0 }],
        ['drifted high', { ...element, ohm: 2 * element.ohm }],
        ['drifted low', { ...element, ohm: 0.5 * element.ohm }],
      ]
    case 'capacitor':
      return [
        ['short', resistor(element.a, element.b, 1)],
        ['leaky', { ...element, leak_S: 1e-5 }],
        ['very leaky', { ...element, leak_S: 1e-3 }],
        ['open', { ...element, F: 0, leak_S: 0 }],
      ]
    case 'inductor':
      return [
        ['open', { ...element, ohm: Infinity }],
        ['turns shorted', { ...element, ohm: element.ohm / 2 }],
        ['shorted', { ...element, ohm: 0 }],
      ]
    case 'contact':
      return [
        [element.closed ? 'stuck open' : 'stuck closed', { ...element, closed: !element.closed }],
        ['burnt', { ...element, closed: true, ohm: 1000 }],
      ]
    case 'triode':
    case 'screen tube':
      return [
        ['missing or cold', { ...element, emission: 0 }],
        ['weak', { ...element, emission: 0.3 }],
        ['strong', { ...element, emission: 2 }],
        ['gassy', { ...element, gas: 1e-3 }],
        ['very gassy', { ...element, gas: 1e-2 }],
        ...driveFaults(element),
      ]
    case 'diode tube':
      return [
        ['missing or cold', { ...element, emission: 0 }],
        ['shorted', resistor(element.plate, element.cathode, 1)],
      ]
    case 'regulator':
      return [
        ['not striking', { ...element, model: { ...element.model, strike_V: 1e6 } }],
        ['shorted', resistor(element.a, element.b, 1)],
        [
          'striking late',
          { ...element, model: { ...element.model, strike_V: 1.3 * element.model.strike_V } },
        ],
      ]
    case 'heater':
      return [
        ['open', resistor(element.a, element.b, Infinity)],
        ['shorted', resistor(element.a, element.b, 0)],
        ['of double current', { ...element, hot_A: 2 * element.hot_A }],
        ['of double volts', { ...element, hot_V: 2 * element.hot_V, hot_A: element.hot_A / 2 }],
      ]
    case 'supply':
      return [
        ['dead', { ...element, V: 0 }],
        ['lead off', resistor(element.a, element.b, Infinity)],
      ]
    case 'junction':
      return [
        ['open', resistor(element.a, element.b, Infinity)],
        ['short', resistor(element.a, element.b, 0)],
      ]
    case 'meter':
      return [['short', { ...element, ohm: 0 }]]
  }
}

function driveFaults(
  element: Extract<Element, { kind: 'triode' | 'screen tube' }>,
): readonly (readonly [string, Element])[] {
  const { driven } = element
  if (driven === undefined) return []
  return [
    ['without drive', { ...element, driven: undefined }],
    [
      'off tune',
      { ...element, driven: { ...driven, plate: 2.5 * driven.plate, screen: 0.7 * driven.screen } },
    ],
    ['with half its drive', { ...element, driven: { ...driven, peak_V: driven.peak_V / 2 } }],
  ]
}

/** Solves from near by, then lights and puts out gas regulators until they agree; how many rounds that took. */
function settled(
  solver: ReturnType<typeof createSolver>,
  elements: readonly Element[],
  changed: readonly Element[],
  start: Solution,
): { solution: Solution; rounds: number; turned: Element[] } {
  let all = elements.map((element) => changed.find(({ name }) => name === element.name) ?? element)
  let solution = solver.solve(changed, start.volts)
  const turned: Element[] = []
  for (let rounds = 0; rounds < 6; rounds++) {
    const turn = regulatorsToChange(all, solution)
    if (turn.length === 0) return { solution, rounds, turned }
    turned.push(...turn)
    all = all.map((element) => turn.find(({ name }) => name === element.name) ?? element)
    solution = solver.solve(turn, solution.volts)
  }
  return { solution, rounds: 6, turned }
}

const profiles = ['receive', 'transmit', 'modulated']

/** Faults between a tube's electrodes, at its pins and of what stands in its socket: more than one element changes, or a new one. */
const ofTubes: readonly FaultKind[] = [
  'grid-short',
  'screen-short',
  'heater-leak',
  'plate-open',
  'screen-open',
  'grid-open',
  'cathode-open',
  'wrong-type',
  'wiper-open',
]

describe('every single fault of the demo', () => {
  it('is tried in each of its modes', () => {
    const all = profiles.map((name) => loadAll(`profiles/tern-rock/${name}.yaml`).value)
    const judged = all.flatMap((files) =>
      files === null ? [] : (makePlan(files.profile, files.equipment, files.bench).plan?.steps ?? []),
    )
    const modes = judged.filter(({ do: what }) => what === 'raise').map(({ mode }) => mode)
    expect([...new Set(modes)].sort()).toEqual(Object.keys(all[0]?.equipment.modes ?? {}).sort())
  })

  it.each(profiles)('settles at every step of %s, its regulator too', (name) => {
    const files = loadAll(`profiles/tern-rock/${name}.yaml`).value
    expect(files).not.toBeNull()
    if (files === null) return
    const { plan } = makePlan(files.profile, files.equipment, files.bench)
    const points = new Map<string, { mode: string; volts: Readonly<Record<string, number>> }>()
    for (const step of plan?.steps ?? []) {
      if (step.do === 'hook-up check') continue
      const volts = Object.fromEntries(Object.entries(step.limits).map(([rail, { at_V }]) => [rail, at_V]))
      points.set(`${step.mode} ${JSON.stringify(volts)}`, { mode: step.mode, volts })
    }
    expect(points.size).toBeGreaterThan(7)
    const unsettled: string[] = []
    let count = 0
    for (const { mode, volts } of points.values()) {
      const feeds = Object.fromEntries(
        Object.keys(files.equipment.rails).map((rail) => [
          rail,
          { V: volts[rail] ?? 0, limit_A: rail === 'heaters' ? 8 : 0.5, ohm: 0.1 },
        ]),
      )
      const network = toNetwork(files.equipment, mode, feeds, { lit: () => false })
      const solver = createSolver(network)
      const whole = settled(solver, network.elements, [], solver.solve())
      const healthy = whole.solution
      const elements = network.elements.map(
        (element) => whole.turned.findLast((turned) => turned.name === element.name) ?? element,
      )
      expect(healthy.converged, healthy.trouble ?? '').toBe(true)
      for (const element of elements) {
        for (const [how, fault] of faultsOf(element)) {
          count++
          const { solution, rounds, turned } = settled(solver, elements, [fault], healthy)
          const finite = Object.values(solution.volts).every(Number.isFinite)
          if (!solution.converged || !finite || rounds > 5)
            unsettled.push(
              `${element.name} ${how} in ${mode} at ${JSON.stringify(volts)}: ${solution.trouble ?? `${rounds} rounds`}`,
            )
          const undo = elements.filter(
            (each) => each === element || turned.some((one) => one.name === each.name),
          )
          solver.solve(undo, healthy.volts)
        }
      }
    }
    expect(unsettled).toEqual([])
    expect(count).toBeGreaterThan(3000)
  })

  it.each(profiles)('of tubes in their sockets is solved at every step of %s', (name) => {
    const files = loadAll(`profiles/tern-rock/${name}.yaml`).value
    if (files === null) throw new Error(name)
    const { equipment, bench } = files
    const { plan } = makePlan(files.profile, equipment, bench)
    if (plan === null) throw new Error(name)
    const points = new Map<string, Point>(
      pointsOf(equipment, plan).map(({ point }) => [`${point.mode} ${JSON.stringify(point.volts)}`, point]),
    )
    const faults = libraryOf(equipment).filter(({ kind }) => ofTubes.includes(kind))
    expect(new Set(faults.map(({ kind }) => kind))).toEqual(new Set(ofTubes))
    const rails = benchRails(equipment, bench)
    const unsolved: string[] = []
    for (const mode of new Set([...points.values()].map((point) => point.mode))) {
      const bed = createBed(equipment, mode, rails, clippedOn(equipment, bench))
      for (const point of points.values()) {
        if (point.mode !== mode) continue
        const whole = bed.solve(point, [], new Set())
        for (const fault of faults) {
          const { solution } = bed.solve(point, faulted(bed, fault), whole.lit, whole.solution.volts, true)
          if (!solution.converged)
            unsolved.push(
              `${fault.fault} in ${mode} at ${JSON.stringify(point.volts)}: ${solution.trouble ?? ''}`,
            )
        }
      }
    }
    expect(unsolved).toEqual([])
  })
})
