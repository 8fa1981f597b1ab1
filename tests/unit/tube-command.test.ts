import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, test } from 'vitest'
import type { Io } from '../../src/cli/io.js'
import { tube } from '../../src/cli/commands/tube.js'
import { allTypes } from '../../src/tubes/index.js'

describe('slowglow tube', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tube-'))
  afterAll(() => {
    rmSync(folder, { recursive: true })
  })
  function run(type: string, options: Parameters<typeof tube>[1]) {
    let out = ''
    let err = ''
    const io: Io = {
      out: (text) => {
        out += text
      },
      err: (text) => {
        err += text
      },
      isTerminal: false,
      colour: false,
      cwd: '.',
      env: { XDG_DATA_HOME: folder },
    }
    return { code: tube(type, options, io), out, err }
  }
  const at = 'plate_V=250,screen_V=250,grid_V=-12.5'

  test('at a point it prints one JSON document with the current, its band and the sources', () => {
    const { code, out, err } = run('6V6GT', { at, json: true })
    const said = JSON.parse(out) as Record<string, number> & { sources: string[] }
    expect(code).toBe(0)
    expect(err).toBe('')
    expect(said).toMatchObject({
      type: '6V6GT',
      at: { plate_V: 250, screen_V: 250, grid_V: -12.5 },
    })
    expect(said['plate_mA']).toBeCloseTo(45, 0)
    expect(said['screen_mA']).toBeCloseTo(4.5, 0)
    expect(said['lower_mA']).toBeLessThan(45)
    expect(said['upper_mA']).toBeGreaterThan(45)
    expect(said.sources.length).toBeGreaterThan(0)
    expect(said['screen_lower_mA']).toBeLessThan(4.5)
    expect(said['screen_upper_mA']).toBeGreaterThan(4.5)
    expect(said['uncertainty']).toMatch(/rows, each told from the others, were off by/)
  })

  test('at a point its sources are all rows that the curves are fitted to, of another type too', () => {
    const sources = (type: string, at: string) =>
      (JSON.parse(run(type, { at, json: true }).out) as { sources: string[] }).sources
    const { service } = allTypes().find(({ type }) => type === '6V6GT')!
    const idle = service.filter(({ service: of }) => /zero signal/.test(of)).map(({ source }) => source)
    expect(idle.length).toBeGreaterThan(0)
    expect(sources('6V6GT', at)).toEqual(expect.arrayContaining(idle))
    expect(sources('3Q5GT', 'plate_V=90,screen_V=90,grid_V=-4.5')[0]).toMatch(/^rows of 3Q5GT \(1\.4 V\): /)
  })

  test('where no row was ever held against the curves a point says so', () => {
    const untested = (at: string) =>
      (JSON.parse(run('6V6GT', { at, json: true }).out) as { untested?: string }).untested
    expect(untested(at)).toBeUndefined()
    expect(untested('plate_V=30,screen_V=250,grid_V=-12.5')).toMatch(/knee.*untested/)
    expect(untested('plate_V=250,screen_V=250,grid_V=-40')).toMatch(/deep cut-off.*untested/)
    expect(run('6V6GT', { at: 'plate_V=30,screen_V=250,grid_V=-12.5' }).out).toMatch(/mind: no row lies/)
  })

  test('the record prints slopes of its points, and of its services all that is known', () => {
    expect(run('6V6GT', {}).out).toMatch(/point_1: class A1.*gm 4\.1 mS, rp 5\d kΩ/)
    expect(run('12AX7', {}).out).toMatch(/mu 100/)
    expect(run('807', {}).out).toMatch(
      /service_\d+: typical, class C telegraphy, CCS: plate 600 V 100 mA, screen 250 V 7 mA, grid .45 V 3\.5 mA, peak of drive 65 V, output 40 W/,
    )
    expect(run('0A2', {}).out).toMatch(/holds +150 V \[.*unverified.*\] \(regulator_operating_V\)/)
  })

  test('a point beyond the ratings is told as such, and a mercury arc has no current of its own', () => {
    const far = run('807', { at: 'plate_V=2000,screen_V=300,grid_V=0' })
    expect(far.out).toMatch(/over its rating: plate volts 2 kV, 600 V at most/)
    expect(far.out).toMatch(/over its rating: plate dissipation 751.3 W, 25 W at most/)
    expect(run('807', { at: 'plate_V=500,screen_V=300,grid_V=-33' }).out).not.toMatch(/over its rating/)
    const arc = run('866A', { at: 'plate_V=100' })
    expect(arc.code).toBe(2)
    expect(arc.err).toMatch(/drops about 14\.6 V at any current: the circuit sets the current/)
  })

  test('a screen-grid type tied as a triode takes no screen volts and draws the sum of both', () => {
    const both = run('6V6GT', { at: 'plate_V=250,screen_V=250,grid_V=-12.5', json: true })
    const tied = run('6V6GT', { at: 'plate_V=250,grid_V=-12.5', triodeConnected: true, json: true })
    const sum = JSON.parse(both.out) as { plate_mA: number; screen_mA: number }
    const one = JSON.parse(tied.out) as { plate_mA: number; connection: string }
    expect(one.connection).toBe('triode')
    expect(one.plate_mA).toBeCloseTo(sum.plate_mA + sum.screen_mA, 3)
    expect(run('12AX7', { at: 'plate_V=250,grid_V=-2', triodeConnected: true }).code).toBe(2)
  })

  test('units may be written, the true minus sign too', () => {
    expect(run('6V6GT', { at: 'plate_V=250 V, screen_V=250V, grid_V=−12.5' }).code).toBe(0)
  })

  test('an unknown type gives near names and exit 1', () => {
    const { code, err } = run('6V6GX', {})
    expect(code).toBe(1)
    expect(err).toContain('6V6GT')
  })

  test.each([
    ['6V6GT', 'plate_V=250', 'screen_V and grid_V missing'],
    ['6V6GT', 'plate_V=250,screen_V=250,grid=-12.5', "'grid' is no electrode"],
    ['6SN7GT', 'plate_V=250,screen_V=250,grid_V=-8', "'screen_V' is no electrode"],
    ['6V6GT', `${at},grid_V=3`, 'grid_V is given twice'],
    ['6V6GT', 'plate_V=much,screen_V=250,grid_V=-12.5', 'plate_V: '],
    ['6V6GT', 'plate_V=2mA,screen_V=250,grid_V=-12.5', 'plate_V: '],
    ['6V6GT', 'plate_V=1e9,screen_V=250,grid_V=-12.5', 'beyond any tube'],
    ['6V6GT', 'nonsense', 'not NAME=VOLTS'],
    ['0D3', 'plate_V=150', 'holds its volts'],
  ])('%s --at %s is wrong usage and says why', (type, text, why) => {
    const { code, out, err } = run(type, { at: text, json: true })
    expect(code).toBe(2)
    expect(JSON.parse(out)).toMatchObject({ error: { exit: 2 } })
    expect(`${out}${err}`).toContain(why)
  })

  test('a named section is used, an unnamed one is refused', () => {
    expect(run('6K8', { at: 'plate_V=100,grid_V=0', section: 'triode', json: true }).code).toBe(0)
    expect(run('6K8', { at: 'plate_V=100,grid_V=0', section: 'pentode' }).code).toBe(2)
  })

  test('a type without curves says so with exit 1 and keeps its record', () => {
    expect(run('814', { at }).code).toBe(1)
    expect(run('814', {}).out).toContain('50 W')
  })

  test('the record shows its curves as a plot with the published points in it, and how far they may err', () => {
    const { out } = run('6V6GT', {})
    expect(out).toContain('0 grid 0 V, screen 250 V')
    expect(out).toContain('o published point')
    expect(out.split('\n').filter((line) => /\|.*o/.test(line)).length).toBeGreaterThan(0)
    expect(out).toMatch(/model error ×0\.\d+\.\.1\.\d+/)
    expect(out).toMatch(/worth knowing:[\s\S]*production limits/)
    expect(run('12AX7', {}).out).toContain('triode 2: as triode 1')
  })

  test.each(allTypes().map(({ type }) => type))(
    'the record of %s prints, no line without words or a number gone wrong',
    (type) => {
      const { code, out } = run(type, {})
      expect(code).toBe(0)
      expect(out).not.toMatch(/NaN|Infinity|undefined|no value/)
    },
  )

  describe('--verify', () => {
    const sheet = 'my manual of 1959, page 271'

    test("an agreeing figure is the owner's from then on, with the sheet named", () => {
      const { code, out } = run('6V6', { verify: ['heater_A=450 mA', 'heater_cathode_V=90'], sheet })
      expect(out).toContain('as the record does: verified')
      expect(code).toBe(0)
      const after = run('6V6GT', {}).out
      expect(after).toMatch(
        /heater to cathode +90 V \[checked by the owner on \d{4}-\d\d-\d\d: my manual of 1959, page 271; /,
      )
      expect(after).not.toMatch(/90 V \[.*unverified/)
    })

    test('a lower rating is in force from then on, and ends with exit 1', () => {
      const { code, out } = run('6J5', { verify: ['plate_W=2'], sheet })
      expect(code).toBe(1)
      expect(out).toMatch(/Kept as a difference\. The lower, your sheet’s, is in force/)
      expect(run('6J5', {}).out).toMatch(/plate dissipation +2 W \[the owner's sheet/)
    })

    test('a higher one is kept as a difference, changes nothing in use, and ends with exit 1', () => {
      const { code, out } = run('807', { verify: ['plate_W=30'], sheet, json: true })
      expect(code).toBe(1)
      expect(JSON.parse(out)).toMatchObject({
        checks: [{ figure: 'plate_W', value: 30, record: 25, agreed: false, in_force: 25 }],
      })
      expect(run('807', {}).out).toMatch(
        /plate dissipation +25 W \[the owner's sheet prints 30 \(my manual of 1959, page 271\);.*unverified/,
      )
    })

    test('the plate current of a point may be checked', () => {
      expect(run('6SK7', { verify: ['point_1=9.2mA'], sheet }).code).toBe(0)
      expect(run('6SK7', {}).out).toMatch(/draws 9\.2 mA.*checked by the owner/)
    })

    test("a folder beside the set's files keeps it with the set", () => {
      const set = join(folder, 'set')
      expect(run('6J5', { verify: ['plate_V=300'], sheet, in: set }).out).toContain(
        join(set, 'tube-checks.json'),
      )
      expect(run('6J5', { in: set }).out).toMatch(/plate volts +300 V \[checked by the owner/)
      expect(run('6J5', {}).out).not.toMatch(/checked by the owner/)
    })

    test.each([
      [['plate_W=12'], '', '--sheet'],
      [['plate_watts=12'], sheet, "this record's figures are"],
      [['plate_W'], sheet, 'plate_W=VALUE'],
      [['plate_W=12 V'], sheet, '12 V'],
      [['rating_system=strict'], sheet, 'design-centre, design-maximum or absolute'],
      [['heater_A=0.45', 'nonsense=1'], sheet, "this record's figures are"],
    ])('%j with sheet %j is wrong usage and records nothing', (verify, sheet, why) => {
      const before = readFileSync(join(folder, 'slowglow', 'tube-checks.json'), 'utf8')
      const { code, err } = run('6V6GT', { verify, sheet })
      expect(code).toBe(2)
      expect(err).toContain(why)
      expect(readFileSync(join(folder, 'slowglow', 'tube-checks.json'), 'utf8')).toBe(before)
    })

    test('a file that is no file of checks is never written over', () => {
      const broken = join(folder, 'broken')
      mkdirSync(broken)
      writeFileSync(join(broken, 'tube-checks.json'), 'my notes')
      const { code, err } = run('6V6GT', { verify: ['plate_W=12'], sheet, in: broken })
      expect(code).toBe(6)
      expect(err).toContain('Nothing was recorded')
      expect(readFileSync(join(broken, 'tube-checks.json'), 'utf8')).toBe('my notes')
    })
  })

  describe('--set', () => {
    const path = join(folder, 'set.yaml')
    const defined = `slowglow: equipment 1
tube_types:
  XB12:
    kind: beam-tetrode
    source: the maker's sheet of XB12, second issue
    heater: { volts: 6.3 V, current: 0.45 A }
    rating_system: design-maximum
    max: { plate: 320 V, plate_dissipation: 10 W }
    points:
      - { plate: 250 V, screen: 250 V, grid: -12.5 V, plate_current: 40 mA, screen_current: 4 mA, screen_mu: 9.6 }
      - { plate: 180 V, screen: 180 V, grid: -8.5 V, plate_current: 26 mA, screen_current: 2.7 mA }
  XBAD: { kind: lamp, source: printed on its cap }
`
    const own = (type: string, options: Parameters<typeof tube>[1] = {}) =>
      run(type, { ...options, set: path })
    writeFileSync(path, defined)
    writeFileSync(join(folder, 'a-profile.yaml'), 'slowglow: profile 1\nequipment: nowhere.yaml\n')

    test('a type of the set’s file, though the rest of it is not written yet, with its fit, its uncertainty and its source', () => {
      const { code, out, err } = own('xb-12')
      expect([code, err]).toEqual([0, ''])
      expect(out).toMatch(/^XB12: beam tetrode \(defined in .*set\.yaml\)/)
      expect(out).toMatch(/tetrode: fitted to its points/)
      expect(out).toMatch(/model error ×0\.\d+\.\.1\.\d+/)
      expect(out).toMatch(/plate dissipation +10 W \[the maker's sheet of XB12, second issue\]/)
      const said = JSON.parse(own('XB12', { at, json: true }).out) as { plate_mA: number; sources: string[] }
      expect(said.plate_mA).toBeCloseTo(40, 0)
      expect(said.sources).toEqual(["the maker's sheet of XB12, second issue"])
    })

    test('its names are suggested, the catalogue is looked up too, and without --set one is told of it', () => {
      expect(own('XB21').err).toMatch(/neither in .*set\.yaml nor in the catalogue\. Near it.*XB12/)
      expect(own('6V6').out).toMatch(/^6V6GT.*6V6 is taken as 6V6GT/)
      expect(run('XB12', {}).err).toMatch(/--set FILE looks there too/)
    })

    test.each([
      ['XBAD', {}, 1, /set\.yaml:12:3: XBAD: a lamp needs the volts[\s\S]*not as it could be used/],
      ['XB12', { verify: ['plate_W=10'], sheet: 'my sheet' }, 2, /figures are your own sheet's already/],
    ])('%s %j ends with %i and says why', (type, options, code, why) => {
      const said = own(type, options)
      expect(said.code).toBe(code)
      expect(said.err).toMatch(why)
    })

    test('a file that is none is refused', () => {
      expect(run('6V6GT', { set: join(folder, 'none.yaml') }).code).toBe(1)
      expect(run('6V6GT', { set: join(folder, 'a-profile.yaml') }).code).toBe(1)
      expect(run('6V6GT', { set: 'profiles/tern-rock/receive.yaml' }).code).toBe(0)
      expect(run('6V6GT', { set: 'profiles/tern-rock/bench.yaml' }).code).toBe(2)
    })
  })

  test('the record prints every rating with its source, and unverified where it is from memory', () => {
    const { code, out } = run('6V6', {})
    expect(code).toBe(0)
    expect(out).toContain('6V6 is taken as 6V6GT')
    expect(out).toMatch(/plate dissipation +12 W \[published/)
    expect(out).toMatch(/heater: 6\.3 V \[from memory[^\]]*unverified/)
  })
})
