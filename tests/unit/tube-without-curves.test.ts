import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import type { Equipment } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { planPage } from '../../src/cli/plan-text.js'
import { allTypes } from '../../src/tubes/index.js'
import { demo, planned } from '../helpers/small-set.js'
import { rehearse } from '../helpers/replayed.js'

/*
 * Types whose sheets were not found have no curves. A set with one in a socket must still plan, at each of the three
 * levels, with that tube bounded by its ratings and said by name; nothing may be silently left out of what a rail draws.
 */

type Level = 'receive' | 'receive-charts' | 'receive-network'
const files: Record<Level, string> = {
  receive: 'equipment',
  'receive-charts': 'equipment-charts',
  'receive-network': 'equipment-network',
}

function setWith(level: Level, type: string, heater = ''): Equipment {
  const text = readFileSync(`profiles/small-receiver/${files[level]}.yaml`, 'utf8')
  const changed = text
    .replace('V2: { type: 6SK7', `V2: { type: "${type}"`)
    .replace(', V2, V3, V4]]', `${heater}, V3, V4]]`)
  const { value, problems } = fromText(changed, 'set.yaml', 'equipment')
  if (value === null) throw new Error(JSON.stringify(problems))
  return value
}
const words = (text: string): string => text.replace(/\s+/g, ' ')

describe('a tube without curves (EF92 in the place of V2)', () => {
  it.each(['receive', 'receive-charts', 'receive-network'] as const)('%s: the set plans', (level) => {
    const parts = { ...demo(`small-receiver/${level}`), equipment: setWith(level, 'EF92', ', V2') }
    const { plan, problems } = makePlan(parts.profile, parts.equipment, parts.bench)
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(plan?.steps.some(({ limits }) => limits['HT'] !== undefined)).toBe(true)
  })

  const level3 = demo('small-receiver/receive-network')
  const equipment = setWith('receive-network', 'EF92', ', V2')
  const plan = planned({ ...level3, equipment })
  const without = planned({
    ...level3,
    equipment: {
      ...equipment,
      tubes: Object.fromEntries(
        Object.entries(equipment.tubes).map(([name, tube]) => [
          name,
          name === 'V2' ? { ...tube, pulled: true } : tube,
        ]),
      ),
    },
  })
  const top = (of: typeof plan) => of.steps.at(-1)?.limits['HT']

  it('at level 3 the plan says that it is not judged, why, by which ratings it is bounded, and what would bring more', () => {
    const page = words(planPage(plan))
    expect(page).toMatch(
      /V2 \(EF92\) has no curves, so what it draws and its node volts are not judged: its one operating row was recalled with doubt/,
    )
    expect(page).toMatch(
      /what its ratings allow at 250 V, 12\.4 mA \(2\.5 W plate, 600 mW screen \[from memory/,
    )
    expect(page).toMatch(/add the type under tube_types with its operating points/)
    expect(plan.unproved.join(' ')).toMatch(/What V2 \(EF92\) draws/)
  })

  it('at level 3 its rail counts with it: half of what its ratings allow is expected, all of it is let pass', () => {
    const least = top(without)?.expected_A ?? 0
    const expected = top(plan)?.expected_A ?? 0
    // 2.5 W and 0.6 W at 250 V are 12.4 mA; cathode resistor and droppers leave it less.
    expect(expected - least).toBeGreaterThan(0.3 * 12.4e-3)
    expect(expected - least).toBeLessThan(0.5 * 12.4e-3)
    expect(top(plan)?.trip_A).toBeGreaterThan(least + 12.4e-3)
    // Nothing at all is no reason to ask.
    expect(top(plan)?.ask_A).toBeLessThan(least)
  })

  it('a chart is not held against the nodes of a tube that no curve tells', () => {
    const nodes = plan.charts?.nodes ?? []
    for (const { node, network_V, agrees } of nodes)
      if (node.startsWith('V2 ')) expect([network_V, agrees]).toEqual([null, null])
    expect(nodes.find(({ node }) => node === 'V4 cathode')?.network_V).not.toBeNull()
  })

  it('the plan rehearses whole', () => {
    const { ending } = rehearse(plan, equipment, level3.bench, {
      seed: 3,
      faults: [],
      record: () => undefined,
    })
    expect(ending.outcome).toBe('completed')
  })
})

describe('a tube without curves and without ratings (6E5)', () => {
  it('at level 3 is left out of the sum, and the plan says that it comes on top', () => {
    const { plan, problems } = makePlan(
      demo('small-receiver/receive-network').profile,
      setWith('receive-network', '6E5', ', V2'),
      demo('small-receiver/receive-network').bench,
    )
    if (plan === null) throw new Error(JSON.stringify(problems))
    expect(words(planPage(plan))).toMatch(
      /V2 \(6E5\) has no curves.*no rating bounds it either.*may trip a healthy set/,
    )
  })
})

describe('the catalogue', () => {
  it('says of every amplifier without curves why it has none', () => {
    const silent = allTypes().flatMap(({ type, sections }) =>
      sections.flatMap(({ name, model, why }) =>
        model === null && why === undefined && !/diode|wire/.test(name) ? [`${type} ${name}`] : [],
      ),
    )
    expect(silent).toEqual([])
  })
})
