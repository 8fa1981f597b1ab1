import { execFileSync } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { type Fits, fits, readData, records } from '../../src/tubes/build.js'
import {
  allTypes,
  coldRatio,
  coldResistance,
  diodeCurrent,
  findTube,
  heaterCurrent,
  regulatorVolts,
  screenTubeCurrents,
  triodeConnectedCurrents,
  triodeCurrents,
  tungstenKelvin,
  tungstenResistivity,
  type TubeRecord,
} from '../../src/tubes/index.js'
import { rawTubeFiles, tubeData } from '../helpers/tube-data.js'

/** The same shape and words, and every number within this part of itself. */
function sameWithin(part: number, one: unknown, other: unknown): boolean {
  if (typeof one === 'number' && typeof other === 'number')
    return Math.abs(one - other) <= part * Math.max(Math.abs(one), Math.abs(other))
  if (typeof one !== 'object' || typeof other !== 'object' || one === null || other === null)
    return one === other
  const [a, b] = [Object.entries(one), Object.entries(other)]
  return a.length === b.length && a.every(([key, value]) => sameWithin(part, value, (other as never)[key]))
}

function found(type: string): TubeRecord {
  const hit = findTube(type)
  if (hit.found === null) throw new Error(`${type} not found, near: ${hit.near.join(', ')}`)
  return hit.found
}

describe('names', () => {
  test('a type is found however its name is written', () => {
    expect(found('6v6-gt').type).toBe('6V6GT')
    expect(findTube('6V6GT')).toMatchObject({ as: '' })
  })

  test('an equivalent name gives the type it is taken as and says so', () => {
    expect(findTube('ECC83')).toMatchObject({ found: { type: '12AX7' }, as: 'ECC83 is taken as 12AX7' })
  })

  test('every other name that a type is shown under finds it, in either alphabet', () => {
    for (const record of allTypes())
      for (const alias of record.aliases) {
        if (/\(near\)/.test(alias)) continue
        const name = alias.replace(/\s*\(.*\)\s*$/u, '')
        const taken = found(name)
        if (taken.type !== record.type) expect(taken.aliases.concat(taken.type)).toContainEqual(name)
      }
    expect(found('СГ1П').type).toBe('0A2')
    expect(found('ГУ-50').type).toBe('GU-50')
  })

  test('a nought written as a letter and a name without its bulb letters find what they mean', () => {
    expect(found('OA2').type).toBe('0A2')
    expect(found('OD3').type).toBe('0D3')
    expect(found('JAN-OA2').type).toBe('0A2')
    expect(findTube('5Y3')).toMatchObject({
      found: { type: '5Y3GT' },
      as: '5Y3 is taken as 5Y3GT, the form that is stored',
    })
    expect(found('5R4').type).toBe('5R4GY')
    expect(found('6AS7').type).toBe('6080')
  })

  test('a name that two different forms go by is not chosen for the person', () => {
    expect(findTube('5U4')).toEqual({ found: null, near: ['5U4G', '5U4GB'] })
  })

  test('a name that is only near is suggested and never taken', () => {
    const hit = findTube('KT77')
    expect(hit.found).toBeNull()
    expect(hit).toMatchObject({ near: expect.arrayContaining(['EL34']) as string[] })
  })

  test('a misspelt name gives the names near it', () => {
    expect(findTube('6VV6GT')).toMatchObject({
      found: null,
      near: expect.arrayContaining(['6V6GT']) as string[],
    })
    expect(findTube('wholly unknown')).toEqual({ found: null, near: [] })
  })

  test('a type that differs by its heater has that heater and the curves of its parent', () => {
    const twelve = found('12SK7')
    expect(twelve.heater?.volts.value).toBe(12.6)
    expect(twelve.heater?.amps.value).toBe(0.15)
    expect(twelve.sections).toEqual(found('6SK7').sections)
  })

  test.each([
    ['VT-107', '6V6GT'],
    ['JAN-6V6GT', '6V6GT'],
    ['JAN-CRC-6SN7GT', '6SN7GT'],
    ['CV511', '6V6GT'],
    ['CV1075', 'KT66'],
    ['CV4004', '12AX7'],
    ['VT-100', '807'],
    ['VT-144', '813'],
    ['VT 131', '12SK7'],
    ['JAN CRC 12AU7', '12AU7'],
    ['JAN-5814A', '5814A'],
    ['DF91', '1T4'],
    ['VT-171', '1R5'],
    ['3s4 1.4 V', '3S4 (1.4 V)'],
    ['12AX7 (12.6 V)', '12AX7 (12.6 V)'],
    ['dial lamp 47', 'lamp 47'],
    ['47', '47'],
  ])('%s is found as %s', (name, type) => {
    expect(found(name).type).toBe(type)
  })

  test('the bare number of a lamp or barretter is suggested and never taken, because tubes bear such numbers too', () => {
    expect(findTube('40')).toMatchObject({
      found: null,
      near: expect.arrayContaining(['lamp 40']) as unknown,
    })
    expect(found('47').kind).toBe('pentode')
    expect(found('lamp 47').heater?.amps.value).toBe(0.15)
    expect(found('barretter 301').barretter).toMatchObject({ amps: { value: 0.3 }, most_V: { value: 221 } })
  })

  test('the two connections of a split filament are two records, each with its own rows', () => {
    expect(found('3S4').heater?.volts.value).toBe(2.8)
    expect(found('3S4').points[0]?.plate_A).toBe(0.0061)
    expect(found('3S4 (1.4 V)').heater?.amps.value).toBe(0.1)
    expect(found('3S4 (1.4 V)').points[0]?.plate_A).toBe(0.0074)
  })

  test('no two types share a name', () => {
    const names = allTypes().map((t) => t.type.toUpperCase())
    expect(new Set(names).size).toBe(names.length)
  })
})

describe('data', () => {
  test('every data file is sound', () => {
    expect(readData(rawTubeFiles()).problems).toEqual([])
  })

  test('a value without a source is refused and the message names its file and place', () => {
    const file = rawTubeFiles().find((f) => f.name === '6V6GT.json')!
    const raw = structuredClone(file.raw) as { max: Record<string, { source?: string }> }
    delete raw.max['plate_W']!.source
    expect(readData([{ name: file.name, raw }]).problems).toEqual([
      expect.stringContaining('6V6GT.json: max.plate_W.source') as string,
    ])
    raw.max['plate_W']!.source = ''
    expect(readData([{ name: file.name, raw }]).problems).toHaveLength(1)
  })

  test('other names without a source are refused', () => {
    for (const name of ['6V6GT.json', '12SK7.json']) {
      const file = rawTubeFiles().find((f) => f.name === name)!
      const raw = structuredClone(file.raw) as { aliases_source?: string; type: string }
      delete raw.aliases_source
      const { problems } = readData([...rawTubeFiles().filter((f) => f.name !== name), { name, raw }])
      expect(problems).toContainEqual(expect.stringContaining(`${name}: aliases_source`))
    }
  })

  test('a field that the shape does not know is refused', () => {
    const file = rawTubeFiles().find((f) => f.name === '6V6GT.json')!
    const raw = { ...(file.raw as object), plate_watts: 12 }
    expect(readData([{ name: file.name, raw }]).problems).toHaveLength(1)
  })

  test('a variant of a type that is not there is refused', () => {
    const raw = {
      type: '12ZZ9',
      as: '6ZZ9',
      aliases: [],
      heater: {
        volts: { value: 12.6, source: 'invented for this test', confidence: 'owner' },
        amps: { value: 0.15, source: 'invented for this test', confidence: 'owner' },
      },
    }
    expect(readData([{ name: '12ZZ9.json', raw }]).problems).toEqual(['12ZZ9: as: there is no type 6ZZ9'])
  })

  test('the generated catalogue is exactly what the data and the fits give', () => {
    expect(() => execFileSync(process.execPath, ['scripts/build-catalogue.mjs', '--check'])).not.toThrow()
  })

  test('the fits are what the points give today', () => {
    const stored = JSON.parse(readFileSync('src/tubes/fits.json', 'utf8')) as Fits
    const today = fits(tubeData())
    expect(Object.keys(today).sort()).toEqual(Object.keys(stored).sort())
    for (const [type, sections] of Object.entries(today)) {
      sections.forEach((section, i) => {
        const was = stored[type]?.[i]
        expect(sameWithin(1e-3, was?.model, section.model), `${type} model`).toBe(true)
        // What makes its band: rows told by a fit that had not seen them.
        expect(sameWithin(2e-3, was?.unseen, section.unseen), `${type} unseen`).toBe(true)
      })
    }
    expect(sameWithin(1e-3, { K: 1.1e-3 }, { K: 1.145e-3 })).toBe(false)
    expect(sameWithin(1e-3, [{ ratio: 1 }], [])).toBe(false)
  })

  test('a rectifier’s rows are told by its other rows alone', () => {
    const { types } = tubeData()
    const all = fits({ types, variants: [] })
    const many = types.filter(
      ({ type, sections }) => sections[0]?.curves === 'diode' && all[type]![0]!.unseen.length > 1,
    )
    expect(many.map(({ type }) => type)).toEqual(expect.arrayContaining(['5Y3GT', '5U4G']))
    for (const { type, points } of many) {
      const rows = points.filter((p) => p.doubtful === null && p.section === 0 && p.plate_A !== null)
      const K = rows.map(({ plate_V, plate_A }) => Math.log((plate_A ?? 0) / (plate_V * Math.sqrt(plate_V))))
      rows.forEach((_, i) => {
        const others = K.filter((__, k) => k !== i)
        const middle = others.reduce((sum, each) => sum + each, 0) / others.length
        expect(all[type]![0]!.unseen[i]!.ratio, type).toBeCloseTo(Math.exp((K[i] ?? 0) - middle), 3)
      })
    }
  })

  test('a type without its own warm-up time takes the default of its cathode and says that it has no source', () => {
    expect(found('6V6GT').warm_up_s).toMatchObject({ value: 30 })
    expect(found('5U4G').warm_up_s).toMatchObject({ value: 10 })
    expect(found('6V6GT').warm_up_s.source).toContain('common practice, no source')
    expect(found('866A').warm_up_s.value).toBe(30)
  })

  test('where sources conflict the lower figure is kept', () => {
    expect(found('845').max.plate_W?.value).toBe(75)
    expect(found('GU-50').heater?.amps.value).toBe(0.655)
    expect(found('5763').heater?.volts.value).toBe(6)
    expect(found('829B').max.screen_V?.value).toBe(225)
    expect(found('837').max.screen_V?.value).toBe(200)
  })

  test('what was recalled with doubt has no curves', () => {
    for (const type of ['EF92', 'RV12P4000']) expect(found(type).sections[0]?.model).toBeNull()
    expect(found('RV12P4000').max).toEqual({
      heater_cathode_V: expect.objectContaining({ value: 90 }) as unknown,
    })
  })

  test('an owner may add a type from two published points', () => {
    const file = rawTubeFiles().find((f) => f.name === '6V6GT.json')!
    const raw = {
      ...(structuredClone(file.raw) as { points: object[] }),
      type: '6ZZ6',
      aliases: [],
    }
    raw.points = raw.points.slice(0, 2)
    const { data, problems } = readData([{ name: '6ZZ6.json', raw }])
    expect(problems).toEqual([])
    const [record] = records(data, fits(data))
    const model = record!.sections[0]!.model
    expect(model?.form).toBe('screen')
    if (model?.form === 'screen')
      expect(screenTubeCurrents(model, 250, 250, -12.5).plate_A).toBeCloseTo(0.045, 2)
  })
})

describe('electrode currents', () => {
  test('a triode with no or negative plate volts draws no plate current', () => {
    const model = found('6SN7GT').sections[0]!.model
    if (model?.form !== 'triode') throw new Error('no triode')
    expect(triodeCurrents(model, 0, 0)).toEqual({ plate_A: 0, grid_A: 0 })
    expect(triodeCurrents(model, -300, 5).plate_A).toBe(0)
  })

  test('a grid driven positive takes current, a negative one none', () => {
    const model = found('6SN7GT').sections[0]!.model
    if (model?.form !== 'triode') throw new Error('no triode')
    expect(triodeCurrents(model, 100, 5).grid_A).toBeGreaterThan(1e-3)
    expect(triodeCurrents(model, 100, -0.1).grid_A).toBe(0)
  })

  test('a screen tube that lost its plate volts sends its cathode current to the screen and no more than that', () => {
    const model = found('6V6GT').sections[0]!.model
    if (model?.form !== 'screen') throw new Error('no screen tube')
    const normal = screenTubeCurrents(model, 250, 250, -12.5)
    const lost = screenTubeCurrents(model, 0, 250, -12.5)
    expect(lost.plate_A).toBe(0)
    expect(lost.screen_A).toBeGreaterThan(0.6 * (normal.plate_A + normal.screen_A))
    expect(lost.screen_A).toBeLessThan(1.3 * (normal.plate_A + normal.screen_A))
  })

  test('triode connection is the sum of plate and screen with both at the same volts', () => {
    const model = found('6V6GT').sections[0]!.model
    if (model?.form !== 'screen') throw new Error('no screen tube')
    const apart = screenTubeCurrents(model, 200, 200, -12)
    expect(triodeConnectedCurrents(model, 200, -12).plate_A).toBeCloseTo(apart.plate_A + apart.screen_A, 12)
  })

  test('a mercury arc conducts only beyond its drop and then holds it', () => {
    const model = found('866A').sections[0]!.model
    if (model?.form !== 'diode') throw new Error('no arc')
    expect(diodeCurrent(model, 14)).toBe(0)
    expect(diodeCurrent(model, 15)).toBeCloseTo(0.25, 3)
    expect(diodeCurrent(model, 16)).toBeGreaterThan(1)
  })

  test('a regulator holds its operating volts in the middle of its range and strikes above them', () => {
    const model = found('0D3').sections[0]!.model
    if (model?.form !== 'regulator') throw new Error('no regulator')
    expect(regulatorVolts(model, 0.0225)).toBeCloseTo(150, 6)
    expect(regulatorVolts(model, 0.04)).toBeGreaterThan(regulatorVolts(model, 0.005))
    expect(model.strike_V).toBeGreaterThan(model.operating_V)
    expect(model.strike_most_V).toBeGreaterThan(model.strike_V)
    expect(model.extinction_V).toBeLessThan(model.operating_V)
  })
})

describe('heaters', () => {
  test('a heater at its rating draws its rated current, and reversed volts reverse it', () => {
    expect(heaterCurrent(6.3, 0.45, 6.3)).toBeCloseTo(0.45, 12)
    expect(heaterCurrent(6.3, 0.45, -6.3)).toBeCloseTo(-0.45, 12)
    expect(heaterCurrent(6.3, 0.45, 0)).toBe(0)
  })

  test('around its rating its current goes as the 0.58th power of its volts', () => {
    const up = Math.log(heaterCurrent(12.6, 0.15, 12.6 * 1.01) / 0.15) / Math.log(1.01)
    expect(up).toBeCloseTo(0.58, 2)
  })

  test('towards no volts it falls back to its cold resistance and never below it', () => {
    const { typical } = coldRatio('indirect')
    const tiny = 1e-6 / heaterCurrent(6.3, 0.3, 1e-6, typical)
    expect(tiny / coldResistance(6.3, 0.3, typical)).toBeCloseTo(1, 3)
    for (let V = 0.01; V < 8; V += 0.01)
      expect(V / heaterCurrent(6.3, 0.3, V)).toBeGreaterThanOrEqual(tiny * 0.9999)
  })

  test('tungsten is read from its table, between its points, and back', () => {
    expect(tungstenResistivity(2000)).toBe(56.67)
    expect(tungstenResistivity(1050)).toBeCloseTo((24.93 + 27.94) / 2, 9)
    expect(tungstenKelvin(56.67 / 5.65)).toBeCloseTo(2000, 6)
    expect(tungstenKelvin(1)).toBeCloseTo(300, 6)
  })
})
