import type { Equipment } from '../equipment/index.js'
import { coldReadings } from '../limits/index.js'
import { ohmsBy, reading } from './check.js'
import type { ColdCheck } from './types.js'

/** Through so little a chart's reading may be taken by current and volts; what else stands there may bear no more. */
const through_A = 0.1

/**
 * The handbook's resistance chart: what the set read from point to point when it was new. A file with its charts alone has no
 * other cold resistances; beside a circuit they are a second opinion of it.
 */
export function chartChecks(equipment: Equipment, first: string): ColdCheck[] {
  const { charts, chassis_node, modes } = equipment
  const taken = new Set<string>()
  // In the controls of the whole sheet first, so that few lines ask for others.
  const order = [first, ...Object.keys(modes).filter((mode) => mode !== first)]
  return order.flatMap((mode) =>
    coldReadings(equipment, mode).flatMap(({ node, to, ohm, low_ohm, high_ohm, source }) => {
      const line = charts.resistances.find((each) => each.node === node && each.to === to && each.ohm === ohm)
      const key = JSON.stringify([node, to, ohm])
      if (taken.has(key)) return []
      taken.add(key)
      const against = to === chassis_node ? 'chassis' : to
      const controls = Object.entries(modes[mode]?.controls ?? {}).map(([control, at]) => `${control}: ${at}`)
      const turned =
        line?.mode == null || mode === first || controls.length === 0
          ? ''
          : `, controls as in mode ${mode} (${controls.join(', ')})`
      return [
        reading('Ω', {
          item: `${node} to ${against}`,
          group: 'resistances',
          what: `by the handbook's chart: ${node} to ${against}, set off, tubes cold${turned}`,
          low: low_ohm,
          high: high_ohm,
          usual: ohm,
          because:
            'the chart reads so; higher, a part is open or has drifted, lower, something leaks or shorts beside it',
          source,
          ...ohmsBy(ohm, through_A),
          parts: line?.of == null ? [] : [line.of.tube],
        }),
      ]
    }),
  )
}
