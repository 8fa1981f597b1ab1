import type { Equipment, NodeName } from '../equipment/index.js'
import { formatShort } from '../quantities/index.js'
import { ours, reading } from './check.js'
import type { ColdCheck } from './types.js'

/** The same as before a hook-up. */
const dead_V = 5
/** Electrolytics rated less than this hold nothing that hurts: cathode and heater circuits. */
const least_V = 60

/** Where charge may stand: the rails' own nodes, and every capacitor behind a contact, a fuse or a choke that kept its own. */
export function chargeChecks(equipment: Equipment): ColdCheck[] {
  const rails = Object.values(equipment.rails).filter(({ role }) => role !== 'heater')
  const held = Object.entries(equipment.parts).flatMap(([name, part]) =>
    part.kind === 'capacitor' && part.dielectric === 'electrolytic' && part.rated_V >= least_V
      ? [{ name, nodes: part.between, F: part.F }]
      : [],
  )
  const onRails = Object.entries(equipment.rail_capacitors).map(([name, { rail, F }]) => ({
    name,
    nodes: [equipment.rails[rail]?.positive ?? '', equipment.rails[rail]?.negative ?? ''] as const,
    F,
  }))
  const all = [...held, ...onRails]
  const pairs = new Map<string, readonly [NodeName, NodeName]>()
  const add = (a: NodeName, b: NodeName): void => {
    // The side that is not chassis names the place.
    const [node, against] = a === equipment.chassis_node ? [b, a] : [a, b]
    if (!pairs.has(node)) pairs.set(node, [node, against])
  }
  for (const { positive, negative } of rails) add(positive, negative)
  for (const { nodes } of all) if (nodes[0] !== '' && nodes[1] !== '') add(nodes[0], nodes[1])
  return [...pairs.values()].map(([node, against]) => {
    const here = all.filter(({ nodes }) => nodes.includes(node))
    const F = here.reduce((sum, each) => sum + each.F, 0)
    const place = equipment.test_points[node]
    return reading('V', {
      item: `charge ${node}`,
      group: 'stored charge',
      what: `stored charge: ${node}${place === undefined ? '' : ` (${place})`} to ${against}`,
      low: -dead_V,
      high: dead_V,
      near_low: null,
      near_high: null,
      usual: 0,
      because: `${F > 0 ? `${formatShort(F, 'F')} there (${here.map(({ name }) => name).join(', ')}) ` : 'What is there '}may hold charge for weeks behind a fuse, a contact or a dry joint, and recovers after it was discharged`,
      source: ours,
      method:
        'Meter first proved on a known voltage, leads clipped on with one hand; then read. Discharge through a resistor with insulated leads, wait a minute, read again. Prove the meter again.',
      meter: `voltmeter, 10 MΩ and rated for the set's highest volts (it takes ${F > 0 ? `${Math.max(1, Math.round(F * 10e6))} s to discharge that by itself to a third` : 'next to no charge'}, so what it shows is what is there)`,
      cautions: ['Measure before touching. Every run asks for this again before its hook-up.'],
      must: true,
      waivable: false,
    })
  })
}

/** The least insulation of mains parts, and of a chassis that is joined to the mains. */
export const leastInsulation = {
  source: 'an old lower limit: 1 MΩ per 1000 V of working voltage, at least 1 MΩ (published, second-hand)',
  tested: '250 to 500 V for gear of 100 to 240 V (published, second-hand)',
} as const

export const insulationCautions = [
  'An insulation test is an energised act: cautions, one hand, nobody at the far end of what is tested.',
  'Discharge what was tested through a resistor afterwards, and measure before touching.',
] as const
