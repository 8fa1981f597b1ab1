import { type Equipment, jumperOf, toNetwork } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { leakage_S } from './forming.js'
import { isDriven, ownDrive } from './drive.js'
import { loadElements } from './loads.js'
import { across, type Live, vigour, type Volts } from './live.js'
import type { Parts } from './parts.js'
import type { FaultSpec } from './types.js'
import { chainOhm, heaterOhm } from './warmth.js'

/** The set as a network: what does not change by itself, and what does. */
export interface Body {
  readonly fixed: readonly Element[]
  readonly live: readonly Live[]
}

/** Ohms of a path that is broken, and of a dead short inside a part (common practice, no source). */
export const broken_ohm = 1e10
const short_ohm = 0.5

/** The part an element belongs to: element names are the part's, or begin with it. */
export function ownerOf(equipment: Equipment, element: string): string {
  const known = (name: string): boolean =>
    equipment.parts[name] !== undefined ||
    equipment.tubes[name] !== undefined ||
    equipment.rail_capacitors[name] !== undefined
  if (known(element)) return element
  for (let end = element.length - 1; end > 0; end--) {
    const head = element.slice(0, end)
    if (/[^\p{L}\p{N}]/u.test(element[end] ?? '') && known(head)) return head
  }
  return ''
}

/** The set in `mode`, with its own values and the faults that are on. */
export function makeBody(parts: Parts, mode: string, faults: readonly FaultSpec[]): Body {
  const { equipment } = parts
  const fixed: Element[] = []
  const live: Live[] = []
  const base = equipment.level === 3 ? setElements(parts, mode) : loadElements(parts, mode, faults)
  for (const given of base) {
    if ('key' in given) {
      live.push(given)
      continue
    }
    const owner = ownerOf(equipment, given.name)
    const on = faults.filter((fault) => fault.part === owner)
    const made = ownValue(parts, owner, given)
    const spoilt = spoil(made, on)
    if (spoilt.kind === 'capacitor') {
      const extra = on.find((fault) => fault.kind === 'leaky')?.value
      live.push(liveCapacitor(parts, owner, spoilt, extra === undefined || extra === null ? 0 : 1 / extra))
    } else if (spoilt.kind === 'triode' || spoilt.kind === 'screen tube' || spoilt.kind === 'diode tube') {
      live.push(liveTube(parts, owner, spoilt, faults))
    } else if (spoilt.kind === 'heater') {
      const lamp = liveLamp(parts, owner, spoilt)
      if (lamp !== null) live.push(lamp)
    } else fixed.push(spoilt)
  }
  live.push(...heaterRails(parts))
  return { fixed, live }
}

/** The circuit itself: no supplies, no meters, no heater chains (warmed by their own model). */
function setElements({ equipment, drawn }: Parts, mode: string): readonly Element[] {
  const { elements } = toNetwork(equipment, mode, {}, { heaters: false })
  const nominal = elements.filter((element) => element.kind !== 'supply' && element.kind !== 'meter')
  if (drawn === null) return nominal
  const own = new Map(drawn(nominal).map((element) => [element.name, element]))
  return nominal.map((element) => own.get(element.name) ?? element)
}

/** The element with this set's own value instead of the nominal one. */
function ownValue(parts: Parts, owner: string, element: Element): Element {
  const factor = parts.factor(owner)
  switch (element.kind) {
    case 'resistor':
      return parts.drawn === null ? { ...element, ohm: element.ohm * factor } : element
    case 'capacitor':
      return { ...element, F: element.F * factor }
    case 'inductor':
      return { ...element, ohm: element.ohm * factor }
    case 'regulator': {
      if (parts.drawn !== null) return element
      const chance = parts.chance(`regulator ${owner}`)
      const shift = 1.5 * Math.max(-1.5, Math.min(1.5, chance.normal()))
      const model = {
        ...element.model,
        operating_V: element.model.operating_V + shift,
        strike_V: element.model.strike_V + shift * 1.5,
      }
      return { ...element, model }
    }
    default:
      return element
  }
}

/** What faults make of an element. Tubes are spoilt through their state, not here. */
function spoil(element: Element, faults: readonly FaultSpec[]): Element {
  let made = element
  for (const { part, kind, value } of faults) {
    if (made.kind === 'triode' || made.kind === 'screen tube' || made.kind === 'diode tube') continue
    const { name } = made
    const [a, b] = [made.a, made.b]
    // The link in a tube's base goes with the tube, and with nothing else that befalls it.
    if (name === jumperOf(part)) {
      if (kind === 'missing') made = { kind: 'resistor', name, a, b, ohm: broken_ohm }
      continue
    }
    // A gas tube out of its socket, or one whose gas is gone, conducts nothing at any volts.
    const dark = made.kind === 'regulator' && (kind === 'missing' || kind === 'no-emission')
    if (kind === 'open' || dark) made = { kind: 'resistor', name, a, b, ohm: broken_ohm }
    else if (kind === 'short') made = { kind: 'resistor', name, a, b, ohm: value ?? short_ohm }
    else if (kind === 'drift' && made.kind === 'resistor') made = { ...made, ohm: made.ohm * (value ?? 1) }
    else if (kind === 'low' && made.kind === 'capacitor') made = { ...made, F: made.F * (value ?? 0.2) }
  }
  return made
}

function liveCapacitor(
  parts: Parts,
  owner: string,
  base: Extract<Element, { kind: 'capacitor' }>,
  extra_S: number,
): Live {
  const oxide = parts.oxides.get(owner)
  const part = parts.equipment.parts[owner] ?? parts.equipment.rail_capacitors[owner]
  const dielectric = part !== undefined && 'dielectric' in part ? part.dielectric : 'film'
  // Insulation of dielectrics that have stood, s (ohm × farad): paper takes up damp (common practice, no source).
  const insulation_s = dielectric === 'paper' ? 30 + 400 * parts.chance(`damp ${owner}`).next() : 20_000
  const leak = (volts: Volts): number =>
    extra_S + (oxide === undefined ? base.F / insulation_s : leakage_S(oxide, across(volts, base.a, base.b)))
  return {
    name: base.name,
    key: leak,
    element: (volts) => ({ ...base, leak_S: leak(volts) }),
    last: Number.NaN,
    floor: 1e-9,
  }
}

function liveTube(
  parts: Parts,
  owner: string,
  given: Extract<Element, { kind: 'triode' | 'screen tube' | 'diode tube' }>,
  faults: readonly FaultSpec[],
): Live {
  const base = given.kind === 'diode tube' ? given : ownDrive(parts, owner, given, faults)
  const strength = (): number => Math.max(1e-9, base.emission * vigour(parts, owner))
  const gas = (): number => parts.gas.get(owner) ?? 0
  const undriven = (): boolean =>
    base.kind !== 'diode tube' && base.driven !== undefined && !isDriven(parts, owner, faults)
  return {
    name: base.name,
    key: () => strength() + 300 * gas() + (undriven() ? 10 : 0),
    element: () => {
      if (base.kind === 'diode tube') return { ...base, emission: strength() }
      const now = { ...base, emission: strength(), gas: gas() }
      return undriven() ? { ...now, driven: undefined } : now
    },
    last: Number.NaN,
    floor: 2e-4,
  }
}

/** A lamp of its own between two nodes; lamps and tubes in chains are part of their rail's heaters. */
function liveLamp(parts: Parts, owner: string, base: Extract<Element, { kind: 'heater' }>): Live | null {
  const heater = parts.heaters.get(owner)
  if (heater === undefined || parts.heatedHere.has(owner)) return null
  const { name, a, b } = base
  return {
    name,
    key: () => heaterOhm(heater),
    element: () => ({ kind: 'resistor', name, a, b, ohm: heaterOhm(heater) }),
    last: Number.NaN,
    floor: 1e-3,
  }
}

/** All heater chains of a rail as one resistance that changes as they warm. */
function heaterRails(parts: Parts): Live[] {
  return Object.entries(parts.equipment.rails).flatMap(([rail, { positive, negative }]) => {
    const chains = parts.chains.filter((chain) => chain.rail === rail)
    if (chains.length === 0) return []
    const conductance = (): number => chains.reduce((sum, chain) => sum + 1 / chainOhm(chain), 0)
    const name = `heaters of ${rail}`
    return [
      {
        name,
        key: conductance,
        element: () => ({ kind: 'resistor', name, a: positive, b: negative, ohm: 1 / conductance() }),
        last: Number.NaN,
        floor: 1e-6,
      } satisfies Live,
    ]
  })
}
