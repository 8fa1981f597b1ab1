import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import * as z from 'zod'
import { equipmentShape, recordOf } from '../../src/equipment/index.js'
import { toRecord } from '../../src/equipment/tube-record.js'
import { tubeTypeShape } from '../../src/equipment/tube-types.js'
import { fromText } from '../../src/files/index.js'
import { elementOf } from '../../src/limits/heaters.js'
import { chartCurrents } from '../../src/limits/index.js'
import { mostOf } from '../../src/limits/level1.js'
import { makePlan } from '../../src/plan/index.js'
import { allTypes, ratingsOf } from '../../src/tubes/index.js'
import { changed, expectProblem, soundSet } from '../helpers/files.js'
import { demo, planned } from '../helpers/small-set.js'

/* A tube defined in a set's file may be of any kind that the catalogue has, with or without operating points. */

const read = (text: string) => fromText(text, 'set.yaml', 'equipment')
const mixer = `  XK8:
    kind: triode-hexode
    cut_off: remote
    source: the maker's sheet of XK8, page 2
    heater: { volts: 6.3 V, current: 0.3 A }
    max: { plate: 300 V, plate_dissipation: 0.75 W, screen: 150 V, screen_dissipation: 0.9 W }
    max_of: { triode: { plate: 175 V, plate_dissipation: 0.8 W } }
    points:
      - { plate: 250 V, screen: 100 V, grid: -3 V, plate_current: 2.5 mA, screen_current: 6 mA, plate_resistance: 600k }
      - { section: triode, plate: 100 V, grid: 0 V, plate_current: 6 mA, transconductance: 3 mA/V, mu: 20 }
`
const bare = `  XP:
    kind: triode-pentode
    source: the card of XP in its box
    heater: { volts: 6.3 V, current: 0.45 A }
    max: { plate_dissipation: 2 W, screen_dissipation: 0.5 W }
`
const lamp = '  XL: { kind: lamp, source: printed on its cap, heater: { volts: 6.3 V, current: 0.25 A } }\n'
const small = (name: string, ...changes: readonly (readonly [string, string])[]) =>
  changes.reduce(
    (text, [from, to]) => changed(text, { from, to }),
    readFileSync(`profiles/small-receiver/${name}.yaml`, 'utf8'),
  )
const define = (type: string, more: object) =>
  toRecord(type, tubeTypeShape.parse({ source: `the maker's sheet of ${type}`, ...more }))
const heater = { volts: '6.3 V', current: '0.3 A' }

describe('kinds', () => {
  it('are all that the catalogue has, in the exported schema too', () => {
    const kinds = tubeTypeShape.shape.kind.options
    expect([...new Set(allTypes().map(({ kind }) => kind))].filter((kind) => !kinds.includes(kind))).toEqual(
      [],
    )
    const schema = JSON.stringify(z.toJSONSchema(equipmentShape, { io: 'input' }))
    for (const kind of kinds) expect(schema).toContain(`"${kind}"`)
    for (const key of ['max_of', 'barretter', 'oscillator anode', 'of its second system'])
      expect(schema).toContain(key)
  })

  it.each(tubeTypeShape.shape.kind.options)('%s: its sections are those of the catalogue', (kind) => {
    const cold = kind === 'regulator-gas' || kind === 'barretter'
    const { record, problems } = define('XX', {
      kind,
      ...(!cold && { heater }),
      ...(kind === 'regulator-gas' && {
        regulator: {
          ...{ operating: '90 V', strikes: '110 V', strikes_at_most: '125 V', goes_out: '84 V' },
          ...{ regulation: '3 V', least: '2 mA', most: '20 mA' },
        },
      }),
      ...(kind === 'barretter' && { barretter: { current: '0.3 A', from: '50 V', to: '120 V' } }),
    })
    expect(problems).toEqual([])
    const names = (sections: readonly { readonly name: string }[]) => sections.map(({ name }) => name).join()
    const like = allTypes().filter((each) => each.kind === kind)
    const twice = (name: string) => (name === 'diode' ? 'diode 1,diode 2' : name)
    const own = names(record?.sections ?? [])
    expect(like.map(({ sections }) => names(sections))).toContain(
      like.some(({ sections }) => names(sections) === own) ? own : twice(own),
    )
    if (cold || kind === 'lamp') expect(like[0]?.cathode).toBe(record?.cathode)
  })

  it('a pentagrid with an anode for its oscillator has it as a section of its own', () => {
    const point = { plate: '250 V', screen: '100 V', grid: '-3 V', plate_current: '3.5 mA' }
    const anode = { section: 'oscillator anode', plate: '170 V', plate_current: '4 mA' }
    const { record } = define('XA8', { kind: 'heptode', cut_off: 'remote', heater, points: [point, anode] })
    expect(record?.sections.map(({ name, model }) => [name, model?.form])).toEqual([
      ['heptode', 'screen'],
      ['oscillator anode', 'diode'],
    ])
  })

  it.each([
    [
      { kind: 'triode-pentode', points: [{ section: 'hexode', plate: '1 V', plate_current: '1 A' }] },
      /of its hexode, but this triode pentode has pentode, triode/,
    ],
    [
      {
        kind: 'triode-pentode',
        points: [{ section: 'triode', plate: '90 V', screen: '80 V', grid: '-1 V', plate_current: '1 mA' }],
      },
      /a point of a triode has screen volts/,
    ],
    [{ kind: 'triode-pentode', sections: 2 }, /those of this triode pentode are known: leave it out/],
    [{ kind: 'pentode', max_of: { triode: { plate: '90 V' } } }, /no second system .* write them under max/],
    [
      { kind: 'indicator', max_of: { triode: { plate: '90 V' } } },
      /second system of this indicator is its target/,
    ],
    [
      { kind: 'lamp', points: [{ plate: '6 V', plate_current: '1 A' }] },
      /no operating points: leave them out/,
    ],
    [{ kind: 'barretter', heater: undefined }, /needs its current and its volts under barretter/],
    [
      { kind: 'pentode', barretter: { current: '0.3 A', from: '50 V', to: '120 V' } },
      /is for a barretter, not a pentode/,
    ],
    [
      { kind: 'barretter', heater: undefined, barretter: { current: '0.3 A', from: '50 V', to: '20 V' } },
      /not below/,
    ],
  ])('%j is refused in words', (more, says) => {
    expect(define('XX', { heater, ...more }).problems).toEqual([expect.stringMatching(says) as string])
  })
})

describe('two systems that differ', () => {
  const text = `${small(
    'equipment-network',
    [
      'type: 6SA7, does: frequency changer, plate: V1 plate, screen: V1 screen, grid: V1 grid, cathode: V1 cathode',
      'type: XK8, sections: [{ plate: V1 plate, screen: V1 screen, grid: V1 grid, cathode: V1 cathode }, { plate: V1 anode, grid: V1 grid, cathode: V1 cathode }]',
    ],
    ['parts:\n', 'parts:\n  R20: { kind: resistor, between: [B plus, V1 anode], value: 33k, rated: 1 W }\n'],
  )}tube_types:\n${mixer}`
  const plan = (of: string) => {
    const { value, problems } = read(of)
    if (value === null) throw new Error(JSON.stringify(problems))
    const { profile, bench } = demo('small-receiver/receive-network')
    return { equipment: value, ...makePlan(profile, value, bench) }
  }

  it('are fitted each to its own points, rated each by its own figures, and stand in the circuit', () => {
    const { equipment, plan: made, problems } = plan(text)
    const record = recordOf(equipment.tubes['V1']!)!
    expect(record.sections.map(({ name, model }) => [name, model?.form])).toEqual([
      ['hexode', 'screen'],
      ['triode', 'triode'],
    ])
    expect(ratingsOf(record, 0).plate_W?.value).toBe(0.75)
    expect(ratingsOf(record, 1).plate_W?.value).toBe(0.8)
    expect(ratingsOf(record, 1).screen_W).toBeUndefined()
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(made?.steps.at(-1)?.limits['HT']?.because[0]?.text).toMatch(/V1 1\d(\.\d)? mA/)
  })

  it('the second is held to its own rating', () => {
    const { plan: made, problems } = plan(changed(text, { from: '0.8 W', to: '0.08 W' }))
    expect(made).toBeNull()
    expect(problems.map(({ what }) => what).join()).toMatch(
      /V1 \(XK8\) plate dissipation of its triode would stand at [3-9]\d\d % of its rating \(80 mW/,
    )
  })

  it('without a circuit each counts at its own watts', () => {
    const { value } = read(`${small('equipment', ['type: 6SA7', 'type: XK8'])}tube_types:\n${mixer}`)
    const most = mostOf(value!.tubes['V1']!, 250)
    // 0.75 W and 0.8 W at 250 V, and 0.9 W at the screen's own 150 V.
    expect(most?.A).toBeCloseTo(1.55 / 250 + 0.9 / 150, 6)
    expect(most?.by).toMatch(/\(hexode\) and 800 mW of plate, unknown \(triode\)/)
  })

  it('a chart of the first is held against points of the first', () => {
    const charts = small('equipment-charts', ['type: 6SA7', 'type: XK8'])
    const { value, problems } = read(`${charts}tube_types:\n${mixer}`)
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(chartCurrents(value!, 'HT', 'receive')).not.toBeNull()
  })
})

describe('without an operating point', () => {
  const types = `tube_types:\n${bare}`

  it('at level 1 its heater and its ratings count, and the plan is made', () => {
    const { value, problems } = read(`${small('equipment', ['type: 6SK7', 'type: XP'])}${types}`)
    expect(problems).toEqual([])
    const { profile, bench } = demo('small-receiver/receive')
    const plan = planned({ profile, bench, equipment: value! })
    const said = plan.steps.flatMap((step) => Object.values(step.limits).flatMap(({ because }) => because))
    expect(said.map(({ text }) => text).join()).toMatch(
      /V2 \(XP\) 20 mA by 2 W of plate and 500 mW of screen/,
    )
    expect(said.map(({ source }) => source).join()).toMatch(/XP: the card of XP in its box/)
  })

  it('in a circuit it stands as anything its ratings allow, and the plan says so', () => {
    const { value } = read(`${small('equipment-network', ['type: 6SK7', 'type: XP'])}${types}`)
    const { profile, bench } = demo('small-receiver/receive-network')
    const lacks = planned({ profile, bench, equipment: value! }).unproved.join()
    expect(lacks).toMatch(/V2 \(XP\)/)
  })

  it('a rectifier in a circuit, or of the own pack, is refused: nothing would tell its drop', () => {
    const rectifier =
      'tube_types:\n  XR: { kind: rectifier-vacuum, source: the card of XR, heater: { volts: 5 V, current: 2 A } }\n'
    const pulled = changed(soundSet, { from: 'type: 5R4GY', to: 'type: XR' })
    expect(read(`${pulled}${rectifier}`).value).not.toBeNull()
    const wanted = {
      ...{ title: '', from: 'pulled: true, ', to: '', at: 'V9: {' },
      says: /V9 is a rectifier whose type has no operating point/,
      advises: /give XR under tube_types its drop/,
    }
    const standing = `${changed(pulled, wanted)}${rectifier}`
    expectProblem(read(standing).problems, standing, wanted)
    const own = readFileSync('profiles/tern-rock/equipment.yaml', 'utf8').replace('type: 5R4GY', 'type: XR')
    expect(read(`${own}${rectifier}`).problems.map(({ what }) => what)).toEqual([
      expect.stringMatching(/the type of V16 has no operating point/) as string,
    ])
  })
})

describe('a dial lamp', () => {
  const set = (line: string) =>
    `${changed(changed(soundSet, { from: '  R90: {', to: `  DS1: ${line}\n  R90: {` }), {
      from: 'series: [V1, R90]',
      to: 'series: [V1, [R90, DS1]]',
    })}tube_types:\n${lamp}`

  it('by its type has that type’s figures, and their source where its heater is told', () => {
    const { value, problems } = read(
      `${small('equipment', ['V1, V2, V3, V4', 'V1, V2, V3, V4, DS1, DS2'])}parts:\n  DS1: { kind: lamp, type: XL }\n  DS2: { kind: lamp, type: "47" }\ntube_types:\n${lamp}`,
    )
    expect(problems).toEqual([])
    expect(value?.level).toBe(1)
    expect(value?.parts).toMatchObject({
      DS1: { kind: 'lamp', volts: 6.3, amps: 0.25 },
      DS2: { kind: 'lamp', volts: 6.3, amps: 0.15 },
    })
    expect(elementOf(value!, 'DS1', [])).toMatchObject([
      { hot_A: 0.25, source: 'XL: printed on its cap', recalled: false },
    ])
    expect(elementOf(value!, 'DS2', [])[0]?.source).toMatch(/^lamp 47: published/)
  })

  it.each([
    [
      '{ kind: lamp, volts: 6.3 V }',
      'DS1: {',
      /nothing says what current the lamp DS1 is for/,
      /type: lamp 47/,
    ],
    ['{ kind: lamp, type: XL, amps: 1 A }', 'XL, amps', /names its type and gives figures/, /leave type out/],
    ['{ kind: lamp, type: 6V6GT }', '6V6GT }', /DS1 is said to be a lamp, and '6V6GT' is none/, /kind: lamp/],
    ['{ kind: lamp, type: XM }', 'XM }', /'XM' is no lamp/, /did you mean 'XL'/],
  ])('%s is refused at its place', (line, at, says, advises) => {
    const text = set(line)
    const { value, problems } = read(text)
    expect(value).toBeNull()
    expectProblem(problems, text, { title: line, from: '', to: '', at, says, advises })
    expect(problems.filter(({ severity }) => severity === 'error')).toHaveLength(1)
  })

  it('under tubes is told where it belongs, once', () => {
    const wanted = {
      ...{ title: '', from: 'tubes:\n', to: 'tubes:\n  DS1: { type: XL }\n', at: 'DS1: { type' },
      says: /DS1 \(XL\) is a lamp/,
      advises: /under parts .* DS1: \{ kind: lamp, type: XL \}/,
    }
    const text = `${changed(soundSet, wanted)}tube_types:\n${lamp}`
    const { problems } = read(text)
    expectProblem(problems, text, wanted)
    expect(problems).toHaveLength(1)
  })
})

it('a mistyped type of the file’s own is suggested', () => {
  const text = `${changed(soundSet, { from: 'type: 6V6GT', to: 'type: XK9' })}tube_types:\n${mixer}`
  expect(read(text).problems.map(({ remedy }) => remedy)).toEqual(["did you mean 'XK8'?"])
})
