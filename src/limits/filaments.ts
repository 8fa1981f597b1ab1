import {
  type Equipment,
  type Feed,
  type FilamentBias,
  filamentOf,
  type ModeName,
  type PartName,
  type RailName,
  sectionName,
  toNetwork,
} from '../equipment/index.js'
import { createSolver, type Solution } from '../network/index.js'

/** A stage whose bias depends on which end of its filament is positive, solved both ways. */
export interface FilamentStage extends FilamentBias {
  readonly part: PartName
  readonly section: number
  readonly type: string
  readonly does: string | null
  /** Node it is counted from: the cathode as its file names it. */
  readonly from: string
  /** Plate current with the leads as the hook-up sheet has them, and exchanged; null where no solution was found. */
  readonly plate_A: number | null
  readonly exchanged_A: number | null
  /** Cathode currents of the tubes above in its chain, that return through its filament. */
  readonly returned_A: number
}

/** Every directly heated amplifier in a heater chain, with its currents at the rails' working volts. Level 3. */
export function filamentStages(equipment: Equipment, mode: ModeName): FilamentStage[] {
  const found = Object.entries(equipment.tubes).flatMap(([part, { sections, type, does }]) =>
    sections.flatMap(({ cathode }, section) => {
      const bias = filamentOf(equipment, part, cathode)
      return bias === null ? [] : [{ ...bias, part, section, type, does: does ?? null, from: cathode }]
    }),
  )
  if (found.length === 0) return []
  const asLaid = solved(equipment, mode, false)
  const exchanged = solved(equipment, mode, true)
  return found.map((each) => {
    const count = equipment.tubes[each.part]?.sections.length ?? 1
    const name = sectionName(each.part, count, each.section)
    return {
      ...each,
      plate_A: asLaid.converged ? (asLaid.currents[name]?.plate ?? null) : null,
      exchanged_A: exchanged.converged ? (exchanged.currents[name]?.plate ?? null) : null,
      returned_A: each.above.reduce((sum, tube) => sum + cathode_A(equipment, tube, asLaid), 0),
    }
  })
}

function solved(equipment: Equipment, mode: ModeName, exchanged: boolean): Solution {
  const feeds: Record<RailName, Feed> = {}
  for (const [name, rail] of Object.entries(equipment.rails))
    if (rail.role !== 'heater') feeds[name] = { V: rail.working_V, limit_A: 1e3, ohm: 1e-3 }
  return createSolver(
    toNetwork(equipment, mode, feeds, { heaters: false, exchanged: () => exchanged }),
  ).solve()
}

function cathode_A(equipment: Equipment, tube: PartName, { currents }: Solution): number {
  const sections = equipment.tubes[tube]?.sections ?? []
  return sections.reduce((sum, _, section) => {
    const of = currents[sectionName(tube, sections.length, section)]
    return sum + Math.max(0, (of?.plate ?? 0) + (of?.screen ?? 0) + (of?.grid ?? 0))
  }, 0)
}
