import type { Equipment, PartName } from '../equipment/index.js'
import type { Fault, FaultKind } from './types.js'

/** What of a set's book bears on how likely its faults are, in the order in which it was written. */
export type BookFact =
  | { readonly kind: 'found'; readonly parts: readonly PartName[] }
  | { readonly kind: 'repaired'; readonly parts: readonly PartName[] }
  /** A cold check in range, of these parts and since nothing was done to them. */
  | { readonly kind: 'in range'; readonly parts: readonly PartName[]; readonly group: string }

/** Weights learned, and what from, a sentence each. */
export interface Learned {
  readonly weight: (fault: Fault) => number
  readonly told: readonly string[]
}

/* How much each thing moves: our choice, no source. */
const by = { repaired: 0.25, inRange: 0.25, kin: 1.5, kinMost: 4 } as const

/** Faults that a cold check in range speaks against. */
const speaksOf: Readonly<Record<string, readonly FaultKind[]>> = {
  resistances: ['open', 'short', 'drift'],
  windings: ['open', 'short'],
  contacts: ['open', 'stuck'],
  'coupling capacitors': ['leaky', 'short'],
  insulation: ['leaky', 'short'],
}

/**
 * How often faults come in this very set: what was mended is less likely to fail, and its kin of the same make and age more; what
 * was read in range on the cold set is less likely too.
 */
export function learnedWeights(equipment: Equipment, facts: readonly BookFact[]): Learned {
  const repaired = new Set(facts.flatMap((fact) => (fact.kind === 'repaired' ? fact.parts : [])))
  const suspects = new Set(facts.flatMap((fact) => (fact.kind === 'in range' ? [] : fact.parts)))
  const kin = new Map<string, number>()
  for (const part of suspects) {
    const make = makeOf(equipment, part)
    if (make !== null) kin.set(make, (kin.get(make) ?? 0) + 1)
  }
  const checked = new Map<PartName, Set<FaultKind>>()
  for (const fact of facts)
    if (fact.kind === 'in range')
      for (const part of fact.parts) {
        const kinds = checked.get(part) ?? new Set<FaultKind>()
        for (const each of speaksOf[fact.group] ?? []) kinds.add(each)
        checked.set(part, kinds)
      }
  const kinFactor = (make: string | null): number =>
    make === null ? 1 : Math.min(by.kinMost, 1 + (kin.get(make) ?? 0) * (by.kin - 1))
  return {
    weight: ({ part, kind, weight }) =>
      weight *
      (repaired.has(part) ? by.repaired : kinFactor(makeOf(equipment, part))) *
      (checked.get(part)?.has(kind) === true ? by.inRange : 1),
    told: [
      ...(repaired.size === 0
        ? []
        : [`Mended before, so its faults count a quarter: ${listed([...repaired])}.`]),
      ...[...kin].map(
        ([make, n]) => `${n} of the ${make} failed before: the others count ${kinFactor(make)} times.`,
      ),
      ...(checked.size === 0
        ? []
        : [
            `Read in range on the cold set, so what that would have shown counts a quarter: ${listed([...checked.keys()])}.`,
          ]),
    ],
  }
}

/** Parts of one make grow old alike. */
function makeOf({ parts, tubes }: Equipment, name: PartName): string | null {
  const part = parts[name]
  if (part?.kind === 'capacitor') return `${part.dielectric} capacitors`
  if (part?.kind === 'resistor') return `${part.make} resistors`
  if (part !== undefined) return null
  return tubes[name] === undefined ? null : 'tubes'
}

/** A factor on the weights of a kind (`leaky`), a part (`C17`) or one fault (`C17:leaky`). */
export function adjusted(factors: Readonly<Record<string, number>>): (fault: Fault) => number {
  return ({ fault, part, kind, weight }) =>
    Object.entries(factors).reduce(
      (product, [of, factor]) =>
        of === part || of === kind || of === `${part}:${kind}` || of === fault ? product * factor : product,
      weight,
    )
}

function listed(names: readonly string[]): string {
  return names.length <= 8 ? names.join(', ') : `${names.slice(0, 8).join(', ')} and ${names.length - 8} more`
}
