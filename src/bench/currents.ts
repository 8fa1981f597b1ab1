import { heaterRating, recordOf, toNetwork, type Equipment, type RailName } from '../equipment/index.js'
import { solve } from '../network/index.js'

/**
 * About what each rail draws at its working voltage, amps: level 3 from the solved network (the mode that draws most),
 * heaters from their chains, else the handbook's totals, else the sum of the types' published currents. A rail of which
 * nothing is known is absent. A rough figure: limits are computed elsewhere.
 */
export function expectedCurrents(equipment: Equipment): Readonly<Record<RailName, number>> {
  // What lifted electrolytics draw is what they are judged by, at meters of their own.
  if (equipment.lifted === true) return {}
  const found: Record<RailName, number> = {}
  for (const [name, rail] of Object.entries(equipment.rails)) {
    const known =
      rail.role === 'heater'
        ? chains(equipment, name)
        : Math.max(0, ...Object.values(rail.totals).map(({ current_A }) => current_A))
    found[name] = known > 0 ? known : sumOfTypes(equipment, name)
  }
  if (equipment.level === 3) Object.assign(found, solved(equipment))
  return Object.fromEntries(Object.entries(found).filter(([, current]) => current > 0))
}

function chains(equipment: Equipment, rail: RailName): number {
  return Object.values(equipment.heater_chains)
    .filter((chain) => chain.rail === rail)
    .reduce((sum, { series }) => {
      const group =
        series.find((each) => each.some((name) => 'amps' in (heaterRating(equipment, name) ?? {}))) ?? []
      return (
        sum +
        group.reduce((all, name) => {
          const rating = heaterRating(equipment, name)
          return all + (rating !== null && 'amps' in rating ? rating.amps : 0)
        }, 0)
      )
    }, 0)
}

function sumOfTypes(equipment: Equipment, rail: RailName): number {
  return Object.values(equipment.tubes)
    .filter((tube) => tube.rail === rail && tube.pulled !== true)
    .reduce((sum, tube) => {
      const point = recordOf(tube)?.points.find(
        ({ plate_A, doubtful }) => plate_A !== null && doubtful === null,
      )
      return sum + (point?.plate_A ?? 0) + (point?.screen_A ?? 0)
    }, 0)
}

function solved(equipment: Equipment): Record<RailName, number> {
  const feeds = Object.fromEntries(
    Object.entries(equipment.rails).map(([name, { working_V }]) => [
      name,
      { V: working_V, limit_A: 1000, ohm: 0.1 },
    ]),
  )
  const found: Record<RailName, number> = {}
  for (const mode of Object.keys(equipment.modes)) {
    const { converged, currents } = solve(toNetwork(equipment, mode, feeds))
    if (!converged) continue
    for (const name of Object.keys(feeds))
      found[name] = Math.max(found[name] ?? 0, Math.abs(currents[name]?.a ?? 0))
  }
  return found
}
