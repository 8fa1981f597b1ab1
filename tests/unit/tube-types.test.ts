import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { recordOf, toNetwork, type Equipment } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { toRecord } from '../../src/equipment/tube-record.js'
import { tubeTypeShape } from '../../src/equipment/tube-types.js'
import { screenTubeCurrents } from '../../src/tubes/index.js'
import { changed, expectProblem, soundSet } from '../helpers/files.js'
import { demo, planned } from '../helpers/small-set.js'

const defined = `tube_types:
  XB12:
    kind: beam-tetrode
    source: the maker's sheet of XB12, second issue, page 3
    heater: { volts: 6.3 V, current: 0.45 A }
    rating_system: design-maximum
    max: { plate: 320 V, plate_dissipation: 10 W, screen: 300 V, screen_dissipation: 1.8 W, heater_cathode: 100 V }
    points:
      - { plate: 250 V, screen: 250 V, grid: -12.5 V, plate_current: 40 mA, screen_current: 4 mA, transconductance: 3.9 mA/V, screen_mu: 9.6 }
      - { plate: 180 V, screen: 180 V, grid: -8.5 V, plate_current: 26 mA, screen_current: 2.7 mA, transconductance: 3500 µS, source: "the same sheet, page 4" }
`
const set = changed(`${soundSet}${defined}`, { from: 'V1: { type: 6V6GT', to: 'V1: { type: XB12' })
const read = (text: string) => fromText(text, 'set.yaml', 'equipment')

describe("a tube type of the owner's own, defined in the set's file", () => {
  const { value, problems } = read(set)
  const record = value === null ? null : recordOf(value.tubes['V1']!)

  it("is read with the owner's sheet as the source of every figure", () => {
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(record?.max.plate_W).toEqual({
      value: 10,
      source: "the maker's sheet of XB12, second issue, page 3",
      confidence: 'owner',
    })
    expect(record?.points[1]?.source).toBe('the same sheet, page 4')
    expect(record?.rating_system).toBe('design-maximum')
  })

  it('has curves fitted to its own points', () => {
    const model = record?.sections[0]?.model
    if (model?.form !== 'screen') throw new Error('no curves')
    expect(screenTubeCurrents(model, 250, 250, -12.5).plate_A).toBeCloseTo(0.04, 3)
    expect(screenTubeCurrents(model, 180, 180, -8.5).plate_A).toBeCloseTo(0.026, 3)
  })

  it('stands in the network with its own curves', () => {
    const network = toNetwork(value as Equipment, 'receive', {})
    const element = network.elements.find(({ name }) => name === 'V1')
    expect(element).toMatchObject({ kind: 'screen tube', model: record?.sections[0]?.model })
  })

  it('counts in the plan as a tube of the catalogue does: its lower ratings lower the ceiling', () => {
    const { profile, bench } = demo('small-receiver/receive')
    const text = readFileSync('profiles/small-receiver/equipment.yaml', 'utf8')
    const own = read(`${text.replace('V4: { type: 6V6GT', 'V4: { type: XB12')}\n${defined}`)
    if (own.value === null) throw new Error(JSON.stringify(own.problems))
    const usual = planned(demo('small-receiver/receive'))
    const plan = planned({ profile, bench, equipment: own.value })
    expect(plan.steps).toHaveLength(usual.steps.length)
    const ceiling = (each: typeof plan) => each.steps.at(-1)?.limits['HT']?.ceiling_A ?? 0
    expect(ceiling(plan)).toBeGreaterThan(0)
    // 1.1 × (10 W + 1.8 W) at 250 V in place of 1.2 × (12 W + 2 W).
    expect(ceiling(usual) - ceiling(plan)).toBeCloseTo((1.2 * 14 - 1.1 * 11.8) / 250, 6)
  })

  it.each([
    {
      title: 'a source is missing',
      from: "    source: the maker's sheet of XB12, second issue, page 3\n",
      to: '',
      at: 'XB12:\n',
      says: /missing: text is wanted here \(the sheet/,
      advises: /add it/,
    },
    {
      title: 'a source is too short to be looked up',
      from: "source: the maker's sheet of XB12, second issue, page 3",
      to: 'source: sheet',
      at: 'sheet\n',
      says: /too short to be looked up/,
      advises: /issue and page/,
    },
    {
      title: 'a pentode has a point without screen volts',
      from: 'plate: 250 V, screen: 250 V, grid',
      to: 'plate: 250 V, grid',
      at: 'XB12:\n',
      says: /XB12: a point of a screen-grid type has no screen volts/,
      advises: /sheet/,
    },
    {
      title: 'a transconductance is in the wrong unit',
      from: '3.9 mA/V',
      to: '3.9 V',
      at: '3.9 V',
      says: /3\.9 V/,
      advises: /µS|mA\/V/,
    },
  ])('is refused at its place when $title', (wanted) => {
    const text = changed(set, wanted)
    const { value, problems } = read(text)
    expect(value).toBeNull()
    expectProblem(problems, text, wanted)
    // The tube that uses it is no second error.
    expect(problems.filter(({ severity }) => severity === 'error')).toHaveLength(1)
  })

  it('says against which end of its filament its volts are where it is directly heated: there its grid stands half its filament’s volts off', () => {
    const battery = (more: object) =>
      toRecord(
        'XD3',
        tubeTypeShape.parse({
          ...{ kind: 'pentode', cathode: 'direct', source: "the maker's sheet of XD3, page 1" },
          heater: { volts: '2.8 V', current: '50 mA' },
          points: [
            {
              plate: '90 V',
              screen: '67.5 V',
              grid: '-7 V',
              plate_current: '6.1 mA',
              screen_current: '1.1 mA',
              transconductance: '1.42 mA/V',
            },
          ],
          ...more,
        }),
      )
    expect(battery({}).problems).toEqual([
      expect.stringMatching(
        /a directly heated type needs the point .* volts_against: negative filament end/,
      ) as string,
    ])
    const told = (volts_against: string) => battery({ volts_against }).record
    expect(told('negative filament end')?.filament_reference).toBe('negative end')
    expect(told('middle of the filament')?.filament_reference).toBe('middle')
    // Against the far end its grid is 1.4 V nearer: the same row tells other curves.
    const Vct = (end: string): number => (told(end)?.sections[0]?.model as { Vct: number }).Vct
    expect(Vct('middle of the filament') - Vct('negative filament end')).toBeGreaterThan(1)
    const indirect = { cathode: 'indirect', volts_against: 'negative filament end' }
    expect(battery(indirect).problems[0]).toMatch(/said of directly heated types/)
  })

  it('may say otherwise than the catalogue about a type that is there', () => {
    const text = changed(changed(`${soundSet}${defined}`, { from: 'XB12:', to: '6V6GT:' }), {
      from: 'plate_dissipation: 10 W',
      to: 'plate_dissipation: 11 W',
    })
    const { value } = read(text.replaceAll('XB12', '6V6GT'))
    expect(recordOf((value as Equipment).tubes['V1']!)?.max.plate_W?.value).toBe(11)
  })

  it('may be a gas regulator, whose volts must rise in order', () => {
    const gas = (strikes: string) => `${soundSet}tube_types:
  XG90:
    kind: regulator-gas
    cathode: cold
    source: the maker's sheet of XG90, page 1
    regulator: { operating: 90 V, strikes: ${strikes}, strikes_at_most: 125 V, goes_out: 84 V, regulation: 3 V, least: 2 mA, most: 20 mA }
`
    expect(read(gas('110 V')).value).not.toBeNull()
    expect(read(gas('80 V')).problems.map(({ what }) => what)).toEqual([
      expect.stringContaining('must rise in this order') as string,
    ])
  })
})
