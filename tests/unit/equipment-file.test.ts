import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import { changed, expectProblem, positionOf, soundSet, type Case } from '../helpers/files.js'

const read = (text: string) => fromText(text, 'set.yaml', 'equipment')

const cases: readonly Case[] = [
  {
    title: 'a broken bracket',
    from: '[reservoir, HT line], value',
    to: '[reservoir, HT line, value',
    at: ' }\n  C2: {',
    plus: 1,
    says: /bracket \[ opened before is not closed/,
    advises: /close it/,
  },
  {
    title: 'a tab as indentation',
    from: '    role: heater',
    to: '\trole: heater',
    at: '\trole',
    says: /not YAML/,
    advises: /spaces|compare/,
  },
  {
    title: 'two parts with one name',
    from: '  R2: {',
    to: '  R1: {',
    at: 'R1: { kind: resistor, between: [stage HT',
    says: /two entries have the same name: R1/,
    advises: /own name/,
  },
  {
    title: 'a part and a tube with one name',
    from: '  V1: { type',
    to: '  R1: { type',
    at: 'R1: { type',
    says: /name R1 is used twice: under parts and under tubes/,
    advises: /name of its own/,
  },
  {
    title: 'an unknown key, with the near one',
    from: 'working: 250 V',
    to: 'workin: 250 V',
    at: 'workin:',
    says: /'workin' is not known/,
    advises: /'working'/,
  },
  {
    title: 'an unknown key of the whole file',
    from: 'chassis: isolated',
    to: 'chassis: isolated\nlamps: 3',
    at: 'lamps',
    says: /'lamps' is not known/,
    advises: /known here/,
  },
  {
    title: 'text with a comma outside quotes',
    from: 'value: 1k }',
    to: 'value: 1k, note: near V1, left side }',
    at: 'left side',
    says: /'left side' is not known/,
    advises: /in quotes/,
  },
  {
    title: 'a missing key',
    from: '    working: 250 V\n',
    to: '',
    at: 'HT:\n',
    says: /missing: a voltage/,
    advises: /250 V/,
  },
  {
    title: 'a wrong unit',
    from: 'value: 8k2',
    to: 'value: 8 mA',
    at: '8 mA',
    says: /is a current; a resistance is wanted/,
    advises: /4k7/,
  },
  {
    title: 'a number without its unit',
    from: 'working: 250 V',
    to: 'working: 250',
    at: '250\n',
    says: /250 has no unit/,
    advises: /250 V/,
  },
  {
    title: 'a capacitor in the old spelling',
    from: 'value: 16 µF, rated: 350 V, dielectric: electrolytic }\n  L1',
    to: 'value: 16 mF, rated: 350 V, dielectric: electrolytic }\n  L1',
    at: '16 mF',
    says: /two meanings/,
    advises: /16 µF/,
  },
  {
    title: 'a misspelt choice',
    from: 'role: bias',
    to: 'role: bais',
    at: 'bais',
    says: /'bais' is not one of/,
    advises: /'bias'/,
  },
  {
    title: 'an unknown kind of part',
    from: 'kind: choke',
    to: 'kind: coil',
    at: 'coil',
    says: /kind is missing or unknown/,
    advises: /choke/,
  },
  {
    title: 'a converter, which has no model',
    from: 'kind: choke',
    to: 'kind: vibrator',
    at: 'vibrator',
    says: /a vibrator is not supported/,
    advises: /write the rail behind it, fed by a bench supply/,
  },
  {
    title: 'a barretter in a heater chain',
    from: 'heater_chains:\n  A: { rail: heaters, series: [V1, R90] }',
    to: '  B1: { type: barretter 301 }\nheater_chains:\n  A: { rail: heaters, series: [V1, B1] }',
    at: 'B1] }',
    says: /B1 is a barretter, which is not supported/,
    advises: /a heater resistor in its place/,
  },
  {
    title: 'a list where a pair belongs',
    from: 'between: [v1 grid, chassis]',
    to: 'between: v1 grid',
    at: 'v1 grid, value',
    says: /not a pair of nodes/,
    advises: /\[first node, second node\]/,
  },
  {
    title: 'an unknown tube type, with near ones',
    from: 'type: 6V6GT',
    to: 'type: 6V6GTX',
    at: '6V6GTX',
    says: /'6V6GTX' is not in the catalogue; near it: .*6V6GT/,
    advises: /did you mean/,
  },
  {
    title: 'a tube type that is read as a number',
    from: 'type: 6V6GT',
    to: 'type: 807',
    at: '807',
    says: /'807' stands where text is wanted/,
    advises: /quotes/,
  },
  {
    title: 'a screen that is nowhere',
    from: ' screen: v1 screen,',
    to: '',
    at: 'V1: {',
    plus: 4,
    says: /V1 is a 6V6GT and has no node for its screen/,
    advises: /triode_connected/,
  },
  {
    title: 'a tube without nodes among parts with nodes',
    from: '{ type: 6V6GT, plate: v1 plate, screen: v1 screen, grid: v1 grid, cathode: v1 cathode }',
    to: '{ type: 6V6GT, rail: HT }',
    at: 'V1: { type',
    says: /V1 has no nodes/,
    advises: /plate:, cathode:/,
  },
  {
    title: 'a node named only once',
    from: 'between: [v1 grid, chassis]',
    to: 'between: [v1 gird, chassis]',
    at: 'v1 gird',
    says: /node 'v1 gird' is used only once, by R5/,
    advises: /'v1 grid'/,
  },
  {
    title: 'a grid with no DC path',
    from: '  R5: { kind: resistor, between: [v1 grid, chassis], value: 470k }',
    to: '  C5: { kind: capacitor, between: [v1 grid, v1 plate], value: 10 nF, rated: 400 V, dielectric: paper }',
    at: 'v1 grid, v1 plate',
    says: /'v1 grid' has no DC path to a rail or the chassis/,
    advises: /carry no DC/,
  },
  {
    title: 'a capacitor rated below the rail',
    from: '16 µF, rated: 350 V',
    to: '16 µF, rated: 200 V',
    at: '200 V',
    says: /C1 is rated 200 V and stands across rail HT, which works at 250 V/,
    advises: /replace it before any power/,
  },
  {
    title: 'a capacitor below the rail behind a choke',
    from: 'between: [HT line, chassis], value: 16 µF, rated: 350 V',
    to: 'between: [HT line, chassis], value: 16 µF, rated: 200 V',
    at: '200 V',
    says: /C2 is rated 200 V/,
    advises: /at least 250 V/,
  },
  {
    title: 'an electrolytic the wrong way round',
    from: 'between: [reservoir, chassis], value: 16 µF',
    to: 'between: [chassis, reservoir], value: 16 µF',
    at: '[chassis, reservoir]',
    says: /wrong way round across rail HT/,
    advises: /\[reservoir, chassis\]/,
  },
  {
    title: 'a heater in no chain',
    from: 'series: [V1, R90]',
    to: 'series: [R90]',
    at: 'V1: { type',
    says: /heater of V1 is in no heater chain/,
    advises: /6\.3 V, 450 mA/,
  },
  {
    title: 'a heater in two places',
    from: 'series: [V1, R90]',
    to: 'series: [V1, V1]',
    at: 'V1]',
    says: /V1 stands in a heater chain twice/,
    advises: /one place/,
  },
  {
    title: 'a lamp in no chain',
    from: '  R90: {',
    to: '  DS1: { kind: lamp, volts: 6.3 V, amps: 150 mA }\n  R90: {',
    at: 'DS1: {',
    says: /DS1 is a lamp that stands in no heater chain/,
    advises: /between which nodes/,
  },
  {
    title: 'a chain that does not add up to its rail',
    from: 'value: 14 Ω, rated: 5 W',
    to: 'value: 4 Ω, rated: 5 W',
    at: '[V1, R90]',
    says: /adds up to 8\.1 V, but rail heaters works at 12\.6 V/,
    advises: /dropper of/,
  },
  {
    title: 'a chain on a rail that is not for heaters',
    from: 'A: { rail: heaters',
    to: 'A: { rail: HT',
    at: 'HT, series',
    says: /role HT, not heater/,
    advises: /heater rail/,
  },
  {
    title: 'a chain with an unknown name',
    from: 'series: [V1, R90]',
    to: 'series: [V1, R09]',
    at: 'R09',
    says: /there is no tube, lamp or heater resistor 'R09'/,
    advises: /R90/,
  },
  {
    title: 'a chain with a part that has nodes',
    from: 'series: [V1, R90]',
    to: 'series: [V1, R1]',
    at: 'R1]',
    says: /R1 is a resistor/,
    advises: /heater resistor/,
  },
  {
    title: 'an unknown mode',
    from: 'closed_in: [receive]',
    to: 'closed_in: [recieve]',
    at: 'recieve',
    says: /no mode 'recieve'/,
    advises: /'receive'/,
  },
  {
    title: 'a rectifier left in place',
    from: 'V9: { type: 5R4GY, pulled: true,',
    to: 'V9: { type: 5R4GY,',
    at: '{ type: 5R4GY',
    says: /rectifier V9 still stands on rail HT/,
    advises: /pulled: true/,
  },
  {
    title: 'a winding across a DC heater feed',
    from: '    winding_connected: false\n',
    to: '    winding_connected: true\n',
    at: 'true\n  bias',
    says: /winding of the mains transformer is connected across rail heaters/,
    advises: /lift both wires/,
  },
  {
    title: 'a winding of the network across a DC heater feed',
    from: '  R90: {',
    to: '  T1: { kind: winding, between: [heater line, chassis], value: 20 mH, ohm: 0.1 Ω }\n  R90: {',
    at: 'T1: {',
    says: /winding T1 is connected across rail heaters/,
    advises: /lift/,
  },
  {
    title: 'a live chassis without isolating transformer',
    from: 'chassis: isolated',
    to: 'chassis: live',
    at: 'live',
    says: /no isolating transformer is stated/,
    advises: /isolating_transformer/,
  },
  {
    title: 'a working voltage above the highest',
    from: 'working: 250 V',
    to: 'working: 350 V',
    at: '350 V',
    says: /works at 350 V, above its own highest of 300 V/,
    advises: /correct one/,
  },
  {
    title: 'a polarity that the nodes contradict',
    from: '    role: HT\n',
    to: '    role: HT\n    polarity: negative\n',
    at: 'negative\n    positive: res',
    says: /make it positive/,
    advises: /leave it out/,
  },
  {
    title: 'a bias of the wrong sign',
    from: 'at_least: -50 V',
    to: 'at_least: 50 V',
    at: '50 V, nominal',
    says: /wrong sign: rail bias is negative/,
    advises: /-50 V/,
  },
  {
    title: 'a bias rail without the bias required',
    from: '    required_bias: { node: grid return, at_least: -50 V, nominal: -59 V, source: computed }\n',
    to: '',
    at: 'bias:\n',
    says: /does not say what bias is required/,
    advises: /required_bias/,
  },
  {
    title: 'a limit without a source',
    from: 'max: { value: 300 V, source: from memory }',
    to: 'max: { value: 300 V }',
    at: 'max: { value: 300 V',
    says: /missing: text is wanted here \(where the figure comes from/,
    advises: /add it/,
  },
  {
    title: 'half a character, which no record could keep as it is',
    from: 'name: test set',
    to: 'name: "test \\ud800 set"',
    at: '"test',
    says: /half a character/,
    advises: /write it out/,
  },
  {
    title: 'an alias',
    from: 'name: test set',
    to: 'name: &a test set\nspares: [*a]',
    at: '*a',
    says: /alias/,
    advises: /write the entry out/,
  },
  {
    title: 'a test point that is nowhere',
    from: '  grid return: terminal C',
    to: '  grid retrun: terminal C',
    at: 'grid retrun',
    says: /no node of the network/,
    advises: /'grid return'/,
  },
]

describe("a set's file", () => {
  it('that is sound is read whole, with level, chassis polarity and everything in SI units', () => {
    const { value, problems } = read(soundSet)
    expect(problems).toEqual([])
    expect(value?.level).toBe(3)
    expect(value?.rails['bias']?.polarity).toBe('negative')
    expect(value?.rails['HT']?.totals['receive']).toEqual({
      at_V: 250,
      current_A: 0.05,
      source: 'handbook page 4',
    })
    expect(value?.parts['R3']).toMatchObject({ kind: 'resistor', ohm: 8200, tolerance: 0.1, rated_W: null })
    expect(value?.heater_chains['A']?.series).toEqual([['V1'], ['R90']])
  })

  it.each(cases)('is refused for $title, at its place and with what would be right', (wanted) => {
    const text = changed(soundSet, wanted)
    const { value, problems } = read(text)
    expect(value).toBeNull()
    expectProblem(problems, text, wanted)
  })

  it('tells a heater current mismatch with the shunt that would cure it', () => {
    const text = changed(
      changed(soundSet, {
        from: '  R90: {',
        to: '  DS1: { kind: lamp, volts: 6.3 V, amps: 150 mA }\n  R90: {',
      }),
      {
        from: 'series: [V1, R90]',
        to: 'series: [V1, DS1]',
      },
    )
    const { problems } = read(text)
    const hit = problems.find(({ what }) => what.includes('DS1 takes 150 mA'))
    expect(hit?.what).toContain('takes 450 mA')
    expect(hit?.remedy).toContain('shunt DS1 with 21 Ω')
    expect(`${hit?.line}:${hit?.column}`).toBe(positionOf(text, 'DS1]'))
  })

  it('with several things wrong in shape and in meaning gives all of them at once', () => {
    let text = soundSet
    for (const change of [
      { from: 'value: 8k2', to: 'value: 8 mA' },
      { from: 'role: bias', to: 'role: bais' },
      { from: 'series: [V1, R90]', to: 'series: [V1, R09]' },
      { from: 'closed_in: [receive]', to: 'closed_in: [recieve]' },
      { from: '16 µF, rated: 350 V', to: '16 µF, rated: 200 V' },
      { from: '  R2: {', to: '  R1: {' },
    ])
      text = changed(text, change)
    const told = read(text)
      .problems.map(({ what }) => what)
      .join('\n')
    for (const part of [/8 mA/, /bais/, /R09/, /recieve/, /same name: R1/]) expect(told).toMatch(part)
  })

  it('is not blamed for unknown parts when the part itself could not be read', () => {
    const text = changed(soundSet, { from: 'value: 14 Ω', to: 'value: 14 V' })
    const whats = read(text).problems.map(({ what }) => what)
    expect(whats).toHaveLength(1)
    expect(whats[0]).toMatch(/is a voltage; a resistance is wanted/)
  })

  it('warns where nothing is said of the winding across a DC heater rail', () => {
    const { value, problems } = read(changed(soundSet, { from: '    winding_connected: false\n', to: '' }))
    expect(value).not.toBeNull()
    expect(problems.map(({ severity, what }) => `${severity}: ${what}`).join()).toMatch(
      /^warning: heater rail heaters does not say whether a winding/,
    )
  })

  it('with a name that the network needs for itself is refused', () => {
    const { problems } = read(
      changed(soundSet, {
        from: '  R90: {',
        to: '  V1 heater: { kind: resistor, between: [v1 grid, chassis], value: 1M }\n  R90: {',
      }),
    )
    expect(problems.map(({ what }) => what).join()).toMatch(/'V1 heater' is what the network calls/)
  })

  it('that is wrong throughout says so without listing everything', () => {
    const many = Array.from({ length: 1500 }, (_, i) => `  R${i + 1000}: { kind: resistor }`).join('\n')
    const { problems } = read(changed(soundSet, { from: 'parts:', to: `parts:\n${many}` }))
    expect(problems).toHaveLength(201)
    expect(problems.some(({ what }) => /more than 200 things are wrong/.test(what))).toBe(true)
  })

  it('that is a bench file is told so', () => {
    const { problems } = read('slowglow: bench 1\nname: x\n')
    expect(problems).toHaveLength(1)
    expect(problems[0]?.what).toMatch(/this is a bench file; an equipment file is wanted/)
  })

  it.each(['', '# nothing\n', '[]', 'just text', 'slowglow: equipment 2\n', '{', '\u0000', '? [a]\n: b\n'])(
    'is refused without an exception when it holds only %j',
    (text) => {
      const { value, problems } = read(text)
      expect(value).toBeNull()
      expect(problems.length).toBeGreaterThan(0)
      for (const { line, column } of problems) expect(line >= 1 && column >= 1).toBe(true)
    },
  )

  it('that is nested without end, or too long, is refused at once', () => {
    expect(read('['.repeat(200_000)).value).toBeNull()
    expect(read(`slowglow: equipment 1\nname: ${'x'.repeat(1_000_001)}`).problems[0]?.what).toMatch(
      /half a million/,
    )
  })
})
