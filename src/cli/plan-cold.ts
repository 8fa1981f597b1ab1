import { coldChecksNow } from '../book/index.js'
import type { Equipment } from '../equipment/index.js'
import type { ColdChecks, Plan } from '../plan/index.js'

/** A set's plan with what its book says of its cold checks; waivers and what was never read stay in every later view of it. */
export function withColdChecks(plan: Plan, equipment: Equipment, equipmentPath: string): Plan {
  const cold_checks = coldChecksNow(plan, equipment, equipmentPath)
  return { ...plan, cold_checks, unproved: [...plan.unproved, ...unprovedBy(cold_checks)] }
}

function unprovedBy({
  not_asked,
  not_taken,
  old = [],
  marginal,
  waived,
  once_waived = [],
}: ColdChecks): string[] {
  return [
    ...waived.map(({ text }) => `WAIVED cold check ${text}`),
    ...once_waived.map((text) => `Waived once, cold check ${text}`),
    ...marginal.map((text) => `Marginal cold check ${text}`),
    ...(not_asked.length === 0
      ? []
      : [
          `Cold checks that a real bench asks for before its first volt, not taken on this virtual one: ${not_asked.join(', ')}.`,
        ]),
    ...(not_taken.length === 0 ? [] : [`Cold checks not taken: ${counted(not_taken)}.`]),
    ...(old.length === 0
      ? []
      : [`Cold checks whose reading is old, or from before the last repair: ${counted(old)}.`]),
  ]
}

/** A whole sheet of names helps nobody. */
const named = 6

function counted(items: readonly string[]): string {
  if (items.length <= named) return items.join(', ')
  return `${items.slice(0, named).join(', ')} and ${items.length - named} more (slowglow worksheet lists them)`
}
