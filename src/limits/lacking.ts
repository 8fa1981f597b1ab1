import {
  drivenStages,
  type Equipment,
  type ModeName,
  type RailName,
  recordOf,
  unchartedSections,
} from '../equipment/index.js'
import { formatQuantity } from '../quantities/index.js'
import { chartCurrents, type Lack } from './chart-currents.js'
import { tubesOn, usualCurrents } from './level1.js'

/** What the limits of a rail had to do without, and what to add to the set's file for better ones. Level 3 lacks curves only. */
export function lackingOf(equipment: Equipment, name: RailName, mode: ModeName): Lack[] {
  const rail = equipment.rails[name]
  if (rail === undefined || rail.role === 'heater') return []
  if (equipment.level === 3) return unchartedLacks(equipment, name)
  const tubes = tubesOn(equipment, name, mode)
  const charts = chartCurrents(equipment, name, mode)
  const lacks: Lack[] = []
  const total = `totals: { ${mode}: { at: ${formatQuantity(rail.working_V, 'V')}, current: …, source: … } } at rail ${name}`
  if (charts !== null) lacks.push(...charts.lacks)
  else if (tubes.length === 0 && rail.totals[mode] === undefined && rail.manual !== undefined)
    lacks.push({ lacks: `nothing but a limit stated by hand guards ${name} in ${mode}`, add: total })
  else if (tubes.length > 0 && rail.totals[mode] === undefined)
    lacks.push({
      lacks: `what ${name} draws in ${mode} is a sum of published currents: no handbook total, no chart`,
      add: total,
    })
  const driven = drivenStages(equipment, mode).map((stage) => stage.tube)
  for (const { part, tube } of tubes) {
    const record = recordOf(tube)
    // Of a driven stage its service's rating and operation count, and a file without them is refused.
    if (record === null || record.kind === 'diode' || driven.includes(part)) continue
    const { plate_W, cathode_A, dc_output_A, regulator_A } = record.max
    if ([plate_W, cathode_A, dc_output_A, regulator_A].every((figure) => figure === undefined))
      lacks.push({
        lacks: `no rating bounds what ${part} (${tube.type}) may draw, so the rail's ceiling counts no tube`,
        add: `the type under tube_types with its plate_dissipation or cathode_current under max, from its sheet`,
      })
    if (
      charts === null &&
      rail.totals[mode] === undefined &&
      usualCurrents(tube, rail.working_V).length === 0
    )
      lacks.push({
        lacks: `nothing says what ${part} (${tube.type}) draws, so the sum leaves it out`,
        add: total,
      })
  }
  if (rail.role !== 'bias' && !Object.values(equipment.rail_capacitors).some((each) => each.rail === name))
    lacks.push({
      lacks: `no capacitor of the set stands on ${name}: charging current and stored charge are the supply's own only`,
      add: `rail_capacitors: { C1: { rail: ${name}, value: …, rated: … } }`,
    })
  if (charts === null && tubes.length > 0)
    lacks.push({
      lacks: `node volts and what each tube on ${name} draws in ${mode}`,
      add: `charts: voltages: lines { node: ${tubes[0]?.part ?? 'V1'} cathode, mode: ${mode}, volts: …, through: { ohm: … } } with the meter's ohms_per_volt, from the handbook`,
    })
  return lacks
}

/** Tubes of a level-3 set that no curve tells: what is taken in place of one, and what would bring it. */
function unchartedLacks(equipment: Equipment, name: RailName): Lack[] {
  return unchartedSections(equipment)
    .filter(({ rail }) => rail === name)
    .map(({ part, type, why, plate_A, screen_A, at_V, by }) => {
      const most_A = (plate_A ?? 0) + (screen_A ?? 0)
      const taken =
        most_A > 0
          ? `it is taken at anything from nothing to what its ratings allow at ${formatQuantity(at_V, 'V')}, ${formatQuantity(Number(most_A.toPrecision(3)), 'A')} (${by}), and half of that is in what ${name} should draw`
          : `no rating bounds it either, so it is left out of what ${name} should draw: all that it draws comes on top and may trip a healthy set`
      return {
        lacks: `${part} (${type}) has no curves, so what it draws and its node volts are not judged: ${why}; ${taken}. Read its cathode volts yourself, by a meter clipped on with HT down`,
        add: `the type under tube_types with its operating points, from its sheet`,
      }
    })
}
