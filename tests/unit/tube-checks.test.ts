import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import type { Io } from '../../src/cli/io.js'
import { tube } from '../../src/cli/commands/tube.js'
import { planFiles } from '../../src/cli/plan-files.js'
import type { Plan } from '../../src/plan/index.js'
import {
  allTypes,
  differencesOf,
  figuresOf,
  findTube,
  type OwnerCheck,
  withChecks,
} from '../../src/tubes/index.js'

const folder = mkdtempSync(join(tmpdir(), 'checks-'))
const set = join(folder, 'set')
mkdirSync(set)
for (const name of readdirSync('profiles/tern-rock'))
  copyFileSync(join('profiles/tern-rock', name), join(set, name))
const env = { HOME: join(folder, 'home') }
const io: Io = { out: () => {}, err: () => {}, isTerminal: false, colour: false, cwd: folder, env }
afterAll(() => {
  rmSync(folder, { recursive: true })
})

const planned = () => planFiles(join(set, 'receive.yaml'), undefined, folder, env)
const ceilings = (plan: Plan | null) =>
  (plan?.steps ?? [])
    .flatMap((step) => Object.values(step.limits).flatMap((each) => each.because))
    .filter(({ text }) => text.includes('V2 (6BE6) plate dissipation'))
const reasons = (plan: Plan | null) => [...new Set(ceilings(plan).map(({ source }) => source))]

describe("an owner's checks of tube figures, in a plan", () => {
  it('turn an unverified ceiling into one with the sheet named, and change no figure', () => {
    const before = planned().plan
    expect(reasons(before)[0]).toMatch(/^unverified, check your manual/)
    const checked = { verify: ['plate_W=1'], sheet: 'my manual of 1959, page 300' }
    expect(tube('6BE6', checked, io)).toBe(0)
    const after = planned().plan
    expect(reasons(after).length).toBeGreaterThan(0)
    for (const source of reasons(after)) {
      expect(source).toMatch(/^checked by the owner on .*: my manual of 1959, page 300; from memory/)
    }
    const figures = (plan: Plan | null) => plan?.steps.map((step) => step.limits['HT']?.ceiling_A)
    expect(figures(after)).toEqual(figures(before))
    // The factor above the rating rests on its system, which was recalled too.
    for (const { text, unverified } of ceilings(after)) {
      expect(text).toMatch(/; its rating system is unverified, check your manual$/)
      expect(unverified).toBe(true)
    }
    expect(tube('6BE6', { ...checked, verify: ['rating_system=design-centre'] }, io)).toBe(0)
    const whole = ceilings(planned().plan)
    expect(whole.length).toBeGreaterThan(0)
    for (const { text, unverified } of whole) {
      expect(text).not.toMatch(/unverified/)
      expect(unverified).toBeUndefined()
    }
  })

  it('that print a lower rating lower the ceiling, and the plan says so', () => {
    const before = planned()
    const top = (plan: Plan | null) => plan?.steps.findLast((step) => step.limits['HT'] !== undefined)
    expect(tube('6V6GT', { verify: ['plate_W=6'], sheet: 'the sheet in my folder' }, io)).toBe(1)
    const after = planned()
    expect(after.problems).toContainEqual(
      expect.objectContaining({
        severity: 'warning',
        what: 'V8, V11 (6V6GT) plate_W: your sheet (the sheet in my folder) prints 6 W, the catalogue 12 W. The lower, your sheet’s, is in force.',
      }),
    )
    const over = (problems: typeof after.problems) =>
      problems.filter(({ what }) => /V8.*over its rating/.test(what))
    expect(over(before.problems)).toEqual([])
    // Some 6.2 W with nominal parts: inside 1.2 × 6 W, over 6 W.
    expect(over(after.problems).length).toBeGreaterThan(0)
    expect(top(after.plan)?.limits['HT']?.ratings?.map(({ part }) => part)).toContain('V8')
  })

  it("beside the set's file count last", () => {
    expect(tube('6BE6', { verify: ['plate_W=1'], sheet: "the set's handbook, page 9", in: set }, io)).toBe(0)
    for (const source of reasons(planned().plan)) expect(source).toContain("the set's handbook, page 9")
  })

  it('in a file that cannot be read are told and count for nothing', () => {
    writeFileSync(join(set, 'tube-checks.json'), '{}')
    const { plan, problems } = planned()
    expect(plan).not.toBeNull()
    expect(problems).toContainEqual(
      expect.objectContaining({
        severity: 'warning',
        what: expect.stringContaining('tube-checks.json') as string,
      }),
    )
  })
})

it('the last check of a figure counts, and a later difference takes an agreement back', () => {
  const { found } = findTube('6BE6')
  if (found === null) throw new Error('6BE6')
  const check = (value: number, sheet: string): OwnerCheck => ({
    type: '6BE6',
    figure: 'plate_W',
    value,
    sheet,
    on: '2025-01-31',
  })
  expect(withChecks(found, [check(1, 'first sheet')]).max.plate_W?.confidence).toBe('owner')
  const after = withChecks(found, [check(1, 'first sheet'), check(1.1, 'second sheet')]).max.plate_W
  expect(after).toMatchObject({ value: 1, confidence: 'from memory' })
  expect(after?.source).toContain('second sheet')
})

describe('where a sheet and the record differ the stricter is in force', () => {
  const { found } = findTube('807')
  if (found === null) throw new Error('807')
  const check = (figure: string, value: OwnerCheck['value']): OwnerCheck => ({
    ...{ type: '807', figure, value, sheet: 'my sheet', on: '2025-01-31' },
  })
  const of = (figure: string, value: OwnerCheck['value']) => withChecks(found, [check(figure, value)])

  it('of a rating the lower, whosever it is', () => {
    expect(of('plate_W', 20).max.plate_W).toMatchObject({ value: 20, confidence: 'owner' })
    expect(of('plate_W', 20).max.plate_W?.source).toMatch(
      /^the owner's sheet.*my sheet; the catalogue has 25/,
    )
    expect(of('plate_W', 30).max.plate_W).toMatchObject({
      value: 25,
      confidence: found.max.plate_W?.confidence,
    })
  })

  it('of the warm-up the longer, and of a heater neither', () => {
    expect(of('warm_up_s', 60).warm_up_s).toMatchObject({ value: 60, confidence: 'owner' })
    expect(of('warm_up_s', 5).warm_up_s.value).toBe(found.warm_up_s.value)
    expect(of('heater_A', 0.8).heater?.amps.value).toBe(0.9)
  })

  it('of rating systems the one that allows less', () => {
    expect(findTube('6V6GT').found?.rating_system).toBe('design-centre')
    const stricter = { ...check('rating_system', 'absolute'), type: '6V6GT' }
    expect(withChecks(findTube('6V6GT').found!, [stricter])).toMatchObject({
      rating_system: 'absolute',
      rating_confidence: 'owner',
    })
    expect(of('rating_system', 'design-centre').rating_system).toBe('absolute')
    const gas = findTube('0A2').found!
    const told = { ...check('rating_system', 'design-centre'), type: '0A2' }
    expect(withChecks(gas, [told]).rating_system).toBe('design-centre')
    expect(differencesOf(gas, [told])).toEqual([])
  })

  it('of what a service allows, one figure at a time', () => {
    const at = found.service.findIndex(
      ({ rating, service, duty }) => rating && service === 'class C plate-modulated' && duty === 'CCS',
    )
    const row = of(`service_${at + 1}_plate_A`, 0.07).service[at]
    expect(row).toMatchObject({
      plate_A: 0.07,
      checked: ['plate_A'],
      confidence: found.service[at]?.confidence,
    })
    expect(of(`service_${at + 1}_plate_A`, 0.1).service[at]).toMatchObject({ plate_A: 0.083, checked: [] })
  })

  it('and a plan is told of each difference, once, by its tubes', () => {
    const differences = differencesOf(found, [
      check('plate_W', 20),
      check('plate_V', 600),
      check('point_1', 1),
    ])
    expect(differences.map(({ figure, whose }) => [figure.name, whose])).toEqual([
      ['plate_W', 'sheet'],
      ['point_1', 'record'],
    ])
  })

  it('screen currents and the figures of a gas tube can be checked too', () => {
    const names = (type: string) => figuresOf(findTube(type).found!).map(({ name }) => name)
    expect(names('6V6GT')).toEqual(expect.arrayContaining(['point_1_screen_A', 'rating_system']))
    expect(names('0A2')).toContain('regulator_operating_V')
    const gas = findTube('0A2').found!
    const checked = withChecks(gas, [{ ...check('regulator_operating_V', 150), type: '0A2' }])
    expect(checked.regulator?.operating_V.confidence).toBe('owner')
  })
})

it('every figure of every record can be checked, and one that agrees changes no figure', () => {
  const names = new Set<string>()
  for (const record of allTypes()) {
    const figures = figuresOf(record)
    for (const { name } of figures) names.add(name.replace(/_\d+/, ''))
    expect(new Set(figures.map(({ name }) => name)).size, record.type).toBe(figures.length)
    const checks = figures.flatMap(({ name, value }) =>
      value === 'unknown'
        ? []
        : [{ type: record.type, figure: name, value, sheet: 'my sheet', on: '2025-01-31' }],
    )
    expect(differencesOf(record, checks), record.type).toEqual([])
    const words = (of: typeof record) =>
      JSON.stringify(of, (key, value: unknown) =>
        ['source', 'confidence', 'rating_source', 'rating_confidence', 'checked'].includes(key)
          ? undefined
          : value,
      )
    const checked = withChecks(record, checks)
    expect(words(checked), record.type).toBe(words(record))
    // Whatever number a record holds with a source of its own, an owner's sheet can stand behind.
    const recalled = JSON.stringify([
      ...[checked.heater, checked.max, checked.regulator, checked.barretter, checked.mercury],
      ...(checked.cathode === 'cold' ? [] : [checked.warm_up_s]),
    ])
    expect(recalled, record.type).not.toMatch(/"confidence":"(from memory|published)"/)
  }
  for (const name of [
    ...['heater_V', 'warm_up_s', 'rating_system', 'plate_W', 'regulator_slope_ohm', 'regulator_max_A'],
    ...['point', 'point_gm_S', 'point_rp_ohm', 'point_mu', 'service_plate_input_W', 'service_grid_V'],
    ...['service_output_W', 'barretter_amps', 'mercury_first_use_s', 'mercury_condensed_low_C'],
  ])
    expect(names).toContain(name)
})

it('figures in other units are read in them', () => {
  const sheet = { sheet: 'my manual of 1959, page 271' }
  const good = (type: string, verify: string) => tube(type, { verify: [verify], ...sheet }, io)
  expect(good('6V6GT', 'point_1_gm_S=4.1 mA/V')).toBe(0)
  expect(good('12AX7', 'point_1_mu=100')).toBe(0)
  expect(good('12AX7', 'point_1_mu=hundred')).toBe(2)
  expect(good('0D3', 'regulator_operating_V=150')).toBe(0)
  expect(good('866A', 'mercury_condensed_low_C=25 °C')).toBe(1)
  expect(withChecks(findTube('866A').found!, []).mercury?.condensed_low_C.value).toBe(20)
})
