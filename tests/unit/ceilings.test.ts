import { describe, expect, it } from 'vitest'
import type { Equipment } from '../../src/equipment/index.js'
import { createLimits, stresses } from '../../src/limits/index.js'
import type { Element } from '../../src/network/index.js'
import { findTube } from '../../src/tubes/index.js'
import { demo, planned, withRail } from '../helpers/small-set.js'

/* Ceilings beyond plates, screens and resistors, and the words of all of them. */

const { equipment, bench } = demo('tern-rock/receive')
const standing = { heaters: 12.6, bias: 60, HT: 250 }
const desk = createLimits(equipment, bench)

function withPart(name: string, change: object): Equipment {
  const was = equipment.parts[name]
  if (was === undefined) throw new Error(name)
  return { ...equipment, parts: { ...equipment.parts, [name]: { ...was, ...change } } }
}
const told = (of: Equipment, severity: 'error' | 'warning') =>
  createLimits(of, bench)
    .at('receive', standing, null, {}, 'hot')
    .problems.flatMap((each) => (each.severity === severity ? [`${each.what} ${each.remedy}`] : []))
    .join('\n')

describe('volts between a heater and its cathode', () => {
  // The cathode of V5 hung on the regulated line: some 150 V above a heater that is returned to the chassis.
  const high = withPart('R19', { between: ['v5 cathode', 'regulated line'] })

  it('beyond the rating are refused, with the rating and its source', () => {
    expect(told(high, 'error')).toMatch(
      /V5 \(6J5\) heater to cathode voltage would stand at \d+ % of its rating \(90 V design-centre × 1\.2; .*\) at .*HT 250 V/,
    )
    expect(told(equipment, 'error')).toBe('')
  })

  it('of a type whose sheet gives none are held against what is usual, said and not refused', () => {
    const known = findTube('6J5').found!
    const record = { ...known, max: { plate_V: known.max.plate_V! } }
    const V5 = { ...high.tubes['V5']!, record }
    const owners = { ...high, tubes: { ...high.tubes, V5 } }
    expect(told(owners, 'error')).toBe('')
    expect(told(owners, 'warning')).toMatch(
      /V5 \(6J5\) heater to cathode voltage would stand at \d+ % of what is usual .*from memory.* Look its limit up/,
    )
  })

  it('are counted from where its chain has that heater, and not at all where its rail hangs free', () => {
    const V_of = (set: Equipment): number | undefined => {
      const elements: Element[] = []
      const found = createLimits(set, bench).operating!.at('receive', { bias: 60, HT: 250 }, 'hot')
      const { tubes } = set
      const V5 = tubes['V5']!.sections[0]!
      const model = findTube('6J5').found!.sections[0]!.model
      if (model?.form !== 'triode') throw new Error('6J5')
      elements.push({
        ...{ kind: 'triode', name: 'V5', plate: V5.plate, grid: V5.grid!, cathode: V5.cathode },
        ...{ model, emission: 1, gas: 0 },
      })
      const solution = { converged: true, volts: found.nodes, currents: {}, limiting: [], iterations: 1 }
      const all = stresses(set, elements, { ...solution, trouble: null })
      const stress = all.find(({ what }) => what.endsWith('heater to cathode voltage'))
      return stress === undefined ? undefined : stress.of_rating * 90
    }
    const cathode_V = desk.operating!.at('receive', { bias: 60, HT: 250 }, 'hot').nodes['v5 cathode'] ?? NaN
    // V5 is the upper of its chain: 6.3 and 12.6 V above the chassis.
    expect(V_of(equipment)).toBeCloseTo(12.6 - cathode_V, 3)
    const heaters = { ...equipment.rails['heaters']!, negative: 'heater return' }
    expect(V_of({ ...equipment, rails: { ...equipment.rails, heaters } })).toBeUndefined()
  })
})

describe('gas tubes and rectifiers', () => {
  it('a regulator beyond its largest current is refused', () => {
    // 100 V across 1.5 kΩ in place of 4.7 kΩ: some 60 mA, of which the oscillator takes 10.
    expect(told(withPart('R10', { ohm: 1500 }), 'error')).toMatch(
      /V9 \(0A2\) current would stand at \d+ % of its rating \(30 mA unknown; unverified/,
    )
  })

  it('a rectifier that holds back more than it is rated for is refused', () => {
    const model = findTube('5R4GY').found!.sections[0]!.model
    if (model?.form !== 'diode') throw new Error('5R4GY')
    const element = {
      kind: 'diode tube',
      name: 'V16.1',
      plate: 'p',
      cathode: 'k',
      model,
      emission: 1,
    } as const
    const V16 = { ...equipment.tubes['V16']!, pulled: false }
    const set = { ...equipment, tubes: { ...equipment.tubes, V16 } }
    const at = (plate_V: number) => {
      const volts = { p: plate_V, k: 400 }
      const solution = { converged: true, volts, currents: {}, limiting: [], iterations: 1, trouble: null }
      return stresses(set, [element], solution).find(({ what }) => /inverse/.test(what))
    }
    expect(at(-3600)?.of_rating).toBeCloseTo(4000 / findTube('5R4GY').found!.max.peak_inverse_V!.value, 6)
    expect(at(420)).toBeUndefined()
  })
})

describe('a driven stage', () => {
  const own = demo('tern-rock/transmit').equipment
  const V12 = own.tubes['V12']!
  const [section] = V12.sections
  const model = findTube('807').found!.sections[0]!.model
  if (section?.driven === undefined || model?.form !== 'screen') throw new Error('V12')
  const bare = Object.fromEntries(
    Object.entries(section.driven).filter(([key]) => key !== 'figures'),
  ) as unknown as typeof section.driven
  const held = (driven: object, volts: Record<string, number>, type = '807') => {
    const V12s = {
      ...V12,
      type,
      sections: [{ ...section, driven: { ...bare, ...driven } }],
    }
    const set = { ...own, tubes: { ...own.tubes, V12: V12s } } as Equipment
    const figures = {
      plate_V: 600,
      screen_V: 275,
      grid_V: -90,
      peak_V: 115,
      plate_A: 0.1,
      screen_A: 0.0065,
      grid_A: 0.004,
    }
    const element: Element = {
      ...{ kind: 'screen tube', name: 'V12', plate: 'p', screen: 's', grid: 'g', cathode: section.cathode },
      ...{ model, emission: 1, gas: 0 },
      driven: { ...figures, by: 'RF', whole_at_V: null, mu: 8, plate: 1, screen: 1, grid: 1, bend: 0 },
    }
    const currents = { V12: { plate: 0.08, screen: 0.012, grid: 0.004 } }
    const solution = { converged: true, volts, currents, limiting: [], iterations: 1, trouble: null }
    return stresses(set, [element], solution)
  }
  const volts = { p: 450, s: 330, g: -90, [section.cathode]: 0 }
  const of = (all: ReturnType<typeof stresses>, what: RegExp) => all.find((each) => what.test(each.what))

  it('is held by its screen’s volts, its cathode’s current and its heater too, not by plate and input alone', () => {
    const all = held({}, volts)
    expect(of(all, /screen voltage in class C plate-modulated/)?.of_rating).toBeCloseTo(330 / 300, 6)
    expect(of(all, /cathode current/)?.of_rating).toBeCloseTo(0.096 / 0.12, 6)
    expect(of(all, /screen dissipation in class C/)?.of_rating).toBeCloseTo((0.012 * 330) / 2.3, 6)
    const high = held({}, { ...volts, [section.cathode]: 250, p: 700, s: 500, g: 100 })
    expect(of(high, /heater to cathode voltage/)?.of_rating).toBeGreaterThan(1)
  })

  it('and by the part of its input that stays in its plate, where the row that it is scaled from prints its output', () => {
    // 600 V and 100 mA make 42.5 W (ICAS): 29 % of the input stay; 16.5 W allowed, CCS.
    const loss = of(held({}, volts), /plate dissipation in class C plate-modulated, CCS/)
    expect(loss?.of_rating).toBeCloseTo((450 * 0.08 * (1 - 42.5 / 60)) / 16.5, 6)
    expect(loss?.rating).toMatch(/^16\.5 W, 71 % of its input being output as in typical operation at 600 V/)
    expect(loss?.unverified).toBe('figure')
    const figures = {
      plate_V: 395,
      screen_V: 230,
      grid_V: -95,
      peak_V: 130,
      plate_A: 0.065,
      screen_A: 0.005,
      grid_A: 0.0035,
    }
    expect(
      of(held({ figures: { ...figures, source: 'a test' } }, volts), /plate dissipation/),
    ).toBeUndefined()
  })

  it('whose service names no screen is held by its type’s, without the factor of its system', () => {
    const rating = {
      plate_V: 475,
      plate_A: 0.083,
      screen_W: null,
      grid_A: null,
      plate_input_W: 40,
      source: 'a test',
    }
    const all = held({ rating }, volts)
    const screen = of(all, /screen dissipation/)
    expect(screen?.ratio).toBeCloseTo((0.012 * 330) / 3.5, 6)
    expect(screen?.rating).toMatch(/its type's: none is known for class C plate-modulated, CCS/)
    expect(of(all, /screen voltage/)?.ratio).toBeCloseTo(330 / 300, 6)
    // Four types of the catalogue print no screen watts for it.
    for (const type of ['1619', '829B'])
      expect(of(held({ duty: 'ICAS' }, volts, type), /screen dissipation/)?.rating ?? type).toMatch(
        /none is known/,
      )
  })
})

describe('leakage that heats a can', () => {
  it('is a ceiling where the rail shows it before half a watt', () => {
    const point = desk.operating!.at('transmit', { bias: 60 }, 'hot')
    const guard = point.guards['bias']?.find(({ text }) => text.startsWith('heat in'))
    expect(guard?.text).toMatch(
      /^heat in C4, 500 mW, allows 8\.\d+ mA of leakage at 5\d\.\d V; what else hangs on the rail draws at least 8\.\d+ mA$/,
    )
    // 60 V behind 82 Ω: what leaks is what the rail shows, the divider's part aside.
    expect(guard!.ceiling_A).toBeGreaterThan(0.016)
    expect(guard!.ceiling_A).toBeLessThan(0.018)
  })

  it('is nothing where a feed resistor cannot bring it so much', () => {
    // C1c stands behind some 9 kΩ: at 60 V that is 0.1 W at most, at 250 V well over half a watt.
    const of = (HT: number) => {
      const { guards, cans } = desk.operating!.at('receive', { bias: 60, HT }, 'hot')
      return [...(guards['HT'] ?? []).map(({ text }) => text), ...cans.map(({ part }) => `heat in ${part}`)]
    }
    expect(of(60).some((text) => text.startsWith('heat in C1b'))).toBe(true)
    expect(of(60).some((text) => text.startsWith('heat in C1c'))).toBe(false)
    expect(of(250).some((text) => text.startsWith('heat in C1c'))).toBe(true)
  })

  it('is named where it drowns in what healthy sets differ by', () => {
    const { cans } = desk.at('receive', standing, null, {}, 'hot')
    expect(cans.map(({ part }) => part)).toEqual(expect.arrayContaining(['C1a', 'C1b', 'C1c']))
    // A can with a few volts across it, and one that is no electrolytic, are not.
    expect(cans.map(({ part }) => part)).not.toEqual(expect.arrayContaining(['C2']))
    for (const { V, leaks_A } of cans) expect(Math.abs((V * leaks_A) / 0.5 - 1)).toBeLessThan(0.03)
    expect(planned(demo('tern-rock/receive')).unproved.join('\n')).toMatch(
      /HT: heat in a leaking electrolytic, 500 mW .* may hide in its current: C1a \([\d.]+ mA\), .* Form them first/,
    )
  })
})

it('a rated winding of a set known by its rails is a ceiling, and a rail that should draw more is refused', () => {
  const small = demo('small-receiver/receive')
  const at = (rated_A: number) => {
    const winding = { rated_A, source: 'stamped on the choke' }
    return createLimits(withRail(small.equipment, 'HT', { winding }), small.bench).at(
      'receive',
      { HT: 250 },
      null,
      {},
      'hot',
    )
  }
  const reason = at(0.11).limits['HT']!.because.find(({ limit }) => limit === 'ceiling')
  expect(reason).toMatchObject({ value: 0.11, source: 'stamped on the choke' })
  expect(reason?.text).toBe(
    'ceiling 110 mA: the winding that all of this rail flows through is rated no higher',
  )
  expect(
    at(0.08)
      .problems.map(({ severity, what }) => `${severity} ${what}`)
      .join(),
  ).toMatch(/error HT should draw 86\.4 mA .* more than the ceiling of 80 mA: the winding/)
})

describe('words of a ceiling', () => {
  it('name the rating with its system and factor, what it allows at which volts, and what the others draw at least', () => {
    const HT = desk.at('receive', { ...standing, HT: 180 }, null, {}, 'hot').limits['HT']!
    const reason = HT.because.find(({ limit }) => limit === 'ceiling')
    const told =
      /^ceiling ([\d.]+) mA: V2 \(6BE6\) plate dissipation, 1 W design-centre × 1\.2, allows ([\d.]+) mA plate and [\d.]+ mA screen at ([\d.]+) V; the other \d tubes and what else hangs on the rail draw at least ([\d.]+) mA; unverified/.exec(
        reason?.text ?? '',
      )
    expect(told, reason?.text).not.toBeNull()
    const [ceiling = 0, plate = 0, V = 0, rest = 0] = (told ?? []).slice(1).map(Number)
    expect(Math.abs((1e-3 * plate * V) / 1.2 - 1)).toBeLessThan(0.01)
    expect(rest).toBeLessThan(ceiling)
    expect(rest).toBeGreaterThan(0.5 * ceiling)
  })

  it('of a band name what moves it most', () => {
    const HT = desk.at('receive', standing, null, {}, 'hot').limits['HT']!
    const band = HT.because.find(({ limit }) => limit === 'band')?.text ?? ''
    const told =
      /each alone at its 95 % point .*: resistors by tolerance and age −([\d.]+) mA, V8 \+([\d.]+) mA/.exec(
        band,
      )
    expect(told, band).not.toBeNull()
    const [aged = 0, V8 = 0] = (told ?? []).slice(1).map(Number)
    // A tube on its cathode resistor answers a third more emission with far less than a third more current.
    const share_mA = 1e3 * (HT.expected_A * 0.29)
    expect(V8).toBeGreaterThan(0.05 * share_mA)
    expect(V8).toBeLessThan(0.33 * share_mA)
    // Together they are of the size of the band that was drawn.
    const width_mA = 1e3 * (HT.upper_A - HT.lower_A)
    expect(aged + V8).toBeGreaterThan(0.4 * width_mA)
    expect(aged + V8).toBeLessThan(2 * width_mA)
  })
})
