import type { Element } from '../network/index.js'

/* What a node can be given at all: a plate behind 220 kΩ never sees its rated watts, whatever the tube does. */

/** Nodes with their siemens; a list of elements is looked through once, since ratings are tried at every solution. */
const looked = new WeakMap<readonly Element[], ReadonlyMap<string, number>>()

/**
 * Siemens of the resistors at a node together: the most that anything may feed it through. Infinity where a winding, a
 * contact, a diode, a regulator, a lamp, another valve's cathode or a supply joins it, 0 where nothing in the list does.
 */
export function feedOf(elements: readonly Element[], node: string): number {
  const known = looked.get(elements) ?? feedsOf(elements)
  looked.set(elements, known)
  return known.get(node) ?? 0
}

function feedsOf(elements: readonly Element[]): ReadonlyMap<string, number> {
  const feeds = new Map<string, number>()
  const join = (node: string, siemens: number): void => void feeds.set(node, (feeds.get(node) ?? 0) + siemens)
  for (const element of elements) {
    switch (element.kind) {
      case 'resistor':
        join(element.a, 1 / element.ohm)
        join(element.b, 1 / element.ohm)
        break
      case 'inductor':
      case 'contact':
      case 'junction':
      case 'supply':
      case 'heater':
      case 'regulator':
        join(element.a, Infinity)
        join(element.b, Infinity)
        break
      // A valve gives what it has to the node of its cathode; at its plate it only takes.
      case 'diode tube':
      case 'triode':
      case 'screen tube':
        join(element.cathode, Infinity)
        break
      case 'capacitor':
      case 'meter':
        break
    }
  }
  return feeds
}

/** Volts without which `siemens` cannot bring this many watts into a load (it takes most at half the volts); 0 where nothing bounds it. */
export function voltsForWatts(watts: number, siemens: number): number {
  return siemens > 0 ? 2 * Math.sqrt(watts / siemens) : 0
}
