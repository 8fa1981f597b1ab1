import { readFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { fromText, loadEquipment } from '../../src/files/index.js'
import {
  type ColdCheck,
  type ColdFact,
  coldChecksOf,
  judgeReading,
  makeWorksheet,
  standingOf,
} from '../../src/worksheet/index.js'
import { soundSet } from '../helpers/files.js'
import { receiver } from './virtual-fixture.js'

const rock = resolve(import.meta.dirname, '../../profiles/tern-rock/equipment.yaml')
const demo = loadEquipment(rock).value
if (demo === null) throw new Error('the demo is sound')
const sheet = makeWorksheet(demo)
const item = (name: string, of = sheet): ColdCheck => {
  const found = of.checks.find((check) => check.item === name)
  if (found === undefined)
    throw new Error(`${name} is not among ${of.checks.map((check) => check.item).join(', ')}`)
  return found
}

describe('the cold checks of a set', () => {
  it('each has its window, its reason, its source, its method and its meter', () => {
    for (const check of sheet.checks)
      for (const words of [check.what, check.wanted, check.because, check.source, check.method, check.meter])
        expect(words, check.item).not.toBe('')
    expect(new Set(sheet.checks.map((check) => check.item)).size).toBe(sheet.checks.length)
    expect(JSON.stringify(sheet)).not.toMatch(/safe to touch|NaN|no value|Infinity/)
  })

  it('must be taken where product and life hang on it, and nowhere else', () => {
    expect(sheet.checks.filter(({ must }) => must).map((check) => check.item)).toEqual([
      ...[
        'charge bias line',
        'charge reservoir',
        'charge HT line',
        'charge audio HT',
        'charge modulator screen',
      ],
      ...[
        'charge speech HT',
        'charge grid return',
        'chassis bond',
        'heaters forward',
        'bias forward',
        'HT forward',
      ],
      ...['A', 'B', 'C', 'D', 'E', 'F', 'G', 'H'].map((chain) => `chain ${chain}`),
    ])
    expect(
      sheet.checks.filter(({ waivable }) => !waivable).every(({ group }) => group === 'stored charge'),
    ).toBe(true)
  })

  it('a live chassis must be parted from the mains, and that is not waived', () => {
    const live = makeWorksheet({ ...demo, chassis: 'live', isolating_transformer: 'bench transformer' })
    expect(item('live chassis isolation', live)).toMatchObject({ must: true, waivable: false, low: 1e6 })
    expect(live.checks.some((check) => check.item === 'chassis bond')).toBe(false)
  })

  it('a heater chain cold lies between a seventh and a third of hot, and its heaters by themselves too', () => {
    // V13 and V14: 6.3 V 0.9 A each, in series 14 Ω hot.
    const { low, high, volts } = item('chain G')
    expect(low).toBeCloseTo(14 / 7.2, 6)
    expect(high).toBeCloseTo(14 / 2.7, 6)
    expect(volts).toEqual({ by: 'current', A: 0.05 })
    expect(item('V13 heater').low).toBeCloseTo(7 / 7.2, 6)
  })

  it('an HT line cold is its bleeders and dividers, and its capacitors charge through the meter', () => {
    const { low, high, usual } = item('HT forward')
    // R50 alone with the send relay at receive: K1a joins the receiver, whose only way to chassis is a grid of dark tubes.
    expect(usual).toBeGreaterThan(40e3)
    expect(usual).toBeLessThan(48e3)
    expect(low).toBeLessThan(0.75 * (usual ?? 0))
    expect(high).toBeGreaterThan(usual ?? 0)
    expect(item('HT reversed').low).toBeCloseTo((low ?? 0) / 2, 6)
    expect(item('HT charges').kind).toBe('look')
    expect(item('HT forward').method).toContain('16 µF')
  })

  it('a resistor with others beside it says so, and reads what the circuit makes of it', () => {
    // R62, R63 and R64 stand across R61 from the grid return to chassis: 10 k beside 42 k.
    const { usual, because } = item('R61')
    expect(usual).toBeCloseTo(1 / (1 / 10e3 + 1 / 42e3), 0)
    expect(because).toContain('lift one end')
    // A winding that is lifted at both ends reads as itself, in milliohms by a current.
    expect(item('T1c')).toMatchObject({ usual: 0.08, volts: { by: 'current', A: 0.5 } })
  })

  it('a leak of a coupling capacitor is told as the shift it makes: V·Rg/(Rleak + Rg)', () => {
    const { low, near_low, because } = item('C17 leak')
    // 470 k + 10 % and 400 V: 0.5 V at 413 MΩ.
    expect(low).toBeCloseTo(517e3 * (400 / 0.5 - 1), -3)
    expect(near_low).toBeCloseTo(517e3 * (400 / 0.1 - 1), -3)
    expect(because).toContain('grid of V8')
    // Check case T6.02: at 250 V and 470 k a shift of 0.1 V needs 1174.5 MΩ.
    expect(470e3 * (250 / 0.1 - 1)).toBeCloseTo(1174.5e6, -5)
  })

  it('every other paper capacitor is tested at its volts too, against what stands around it', () => {
    const papers = Object.entries(demo.parts).filter(
      ([, part]) => 'dielectric' in part && part.dielectric === 'paper',
    )
    for (const [name] of papers) expect(item(`${name} leak`).parts).toEqual([name])
    // R50 and R4 from the screen of V1 to chassis: 47 k and 56 k with all they may be off, and twenty times that.
    expect(item('C10 leak').low).toBeGreaterThan(20 * 100e3)
    expect(item('C10 leak').low).toBeLessThan(20 * 125e3)
    // A cathode's few hundred ohms ask for nothing: paper that reads less than a megohm has failed all the same.
    expect(item('C11 leak')).toMatchObject({ low: 1e6, volts: { by: 'series meter', test_V: 200 } })
    expect(judgeReading(item('C16 leak'), '100 kΩ')).toMatchObject({ verdict: 'out of range' })
  })

  it('both positions of each relay contact', () => {
    expect(item('K1a closed')).toMatchObject({ low: 0, high: 0.1 })
    expect(item('K1a open').low).toBeGreaterThan(1e3)
  })

  it('a file without a circuit says what it cannot compute, and still asks for what must be taken', () => {
    const little = makeWorksheet(receiver)
    expect(little.not_computed).toHaveLength(1)
    expect(little.checks.filter(({ must }) => must).map((check) => check.item)).toEqual([
      ...['charge B+', 'chassis bond', 'heaters forward', 'HT forward', 'chain all'],
    ])
    // 250 V at 60 mA: less than 4.2 k would take more cold than the whole set hot.
    expect(item('HT forward', little)).toMatchObject({ low: 250 / 0.06, high: null })
  })

  it("the handbook's resistance chart is on the sheet, at its own tolerance and with its source", () => {
    const charted = loadEquipment(
      resolve(import.meta.dirname, '../../profiles/small-receiver/equipment-charts.yaml'),
    ).value
    if (charted === null) throw new Error('the small receiver is sound')
    const of = makeWorksheet(charted)
    expect(item('V3 plate to HT line', of)).toMatchObject({ usual: 220e3, low: 176e3, unit: 'Ω' })
    expect(item('V4 cathode to chassis', of)).toMatchObject({ usual: 270, parts: ['V4'] })
    expect(item('HT line to chassis', of).source).toContain('resistance chart')
    expect(of.checks.filter(({ what }) => what.startsWith("by the handbook's chart"))).toHaveLength(
      charted.charts.resistances.length,
    )
    expect(of.not_computed.join()).toMatch(/^Resistances that the chart does not give, windings/)
  })

  it('contacts that no file lists: plugs, and the key and microphone of a set that sends', () => {
    expect(item('plug contacts')).toMatchObject({ high: 0.1, volts: { by: 'current', A: 0.1 } })
    expect(item('key contacts').because).toContain('HT or bias')
    expect(item('microphone contacts').what).toContain('carbon capsule')
    const deaf = makeWorksheet({ ...demo, modes: { receive: { controls: {}, driven: false } } })
    expect(deaf.checks.map((check) => check.item)).not.toContain('key contacts')
  })

  it('what a heater reads when it is hot stands beside its cold window', () => {
    expect(item('chain A').because).toContain('hot it is 42 Ω, 39.9 Ω to 44.1 Ω')
    expect(item('V1 heater').because).toContain('hot it is 21 Ω, 19.9 Ω to 22.1 Ω')
  })

  it('two that would be called the same are told apart', () => {
    const twice = fromText(soundSet.replaceAll('R1:', "'HT forward':"), 'x.yaml', 'equipment')
    if (twice.value === null) throw new Error(JSON.stringify(twice.problems))
    const items = makeWorksheet(twice.value).checks.map((check) => check.item)
    expect(items).toContain('HT forward')
    expect(items).toContain('HT forward (resistances)')
  })
})

describe('the readings that the demo ships', () => {
  it('are in range, and are all of its sheet', () => {
    const lines = readFileSync(rock.replace('equipment.yaml', 'cold-readings.txt'), 'utf8').split('\n')
    const readings = lines
      .filter((line) => line !== '' && !line.startsWith('#'))
      .map((line) => line.split('='))
    expect(readings.map(([name]) => name)).toEqual(sheet.checks.map((check) => check.item))
    for (const [name = '', written = ''] of readings)
      expect(judgeReading(item(name), written), `${name}=${written}`).toMatchObject({ verdict: 'in range' })
  })
})

describe('a reading', () => {
  const verdict = (name: string, written: string): string => {
    const judged = judgeReading(item(name), written)
    return judged.ok ? judged.verdict : judged.problem
  }
  it('is judged at once, with the reason where it is out of range', () => {
    expect(verdict('chain G', '3 Ω')).toBe('in range')
    expect(verdict('chain G', '5.1 Ω')).toBe('marginal')
    expect(verdict('chain G', '6 Ω')).toBe('out of range')
    expect(verdict('chain G', 'open')).toBe('out of range')
    const judged = judgeReading(item('chain G'), 'OL')
    expect(judged.ok && judged.text).toMatch(
      /^open; wanted: .*OUT OF RANGE: Cold heaters; hot it is 14 Ω, .*Open, a heater/,
    )
    expect(verdict('charge reservoir', '-4 V')).toBe('in range')
    expect(verdict('charge reservoir', '-40 V')).toBe('out of range')
    expect(verdict('look dust', 'good')).toBe('in range')
    expect(verdict('look dust', 'bad')).toBe('out of range')
  })
  it('of small ohms may be typed as the volts at the test current, of a leak as the volts of a meter in series', () => {
    expect(judgeReading(item('chassis bond'), '12 mV')).toMatchObject({ value: 0.012, verdict: 'in range' })
    expect(judgeReading(item('chain G'), '150 mV')).toMatchObject({ value: expect.closeTo(3, 9) as number })
    // 400 V over 10 MΩ of meter and 390 MΩ of leak shows 10 V.
    expect(judgeReading(item('C17 leak'), '10 V at 10 MΩ')).toMatchObject({
      value: 390e6,
      verdict: 'out of range',
    })
    expect(judgeReading(item('C17 leak'), '0 V at 10 MΩ')).toMatchObject({ verdict: 'in range' })
    expect(judgeReading(item('C17 leak'), '400 V@10M')).toMatchObject({ value: 0, verdict: 'out of range' })
  })
  it('by a meter in series is nothing without that meter: the same volts are a leak ten times as bad on another one', () => {
    const live = makeWorksheet({ ...demo, chassis: 'live', isolating_transformer: 'bench transformer' })
    for (const check of [item('mains insulation'), item('live chassis isolation', live)]) {
      // A leak of 0.1 MΩ at 500 V, read on 1 MΩ; taken for 10 MΩ it would be 1 MΩ and pass.
      expect(judgeReading(check, '454.5 V at 1 MΩ')).toMatchObject({
        value: expect.closeTo(100.1e3, -2) as number,
        verdict: 'out of range',
      })
      const alone = judgeReading(check, '454.5 V')
      expect(alone).toMatchObject({
        ok: false,
        problem: expect.stringContaining('own resistance') as string,
        remedy: expect.stringContaining('"455 V at 10 MΩ"') as string,
      })
      for (const no of ['454.5 V at 0 Ω', '454.5 V at my meter', '454.5 V at 10'])
        expect(judgeReading(check, no).ok).toBe(false)
      expect(judgeReading(check, '2 MΩ')).toMatchObject({ verdict: 'in range' })
    }
  })
  it('under test volts is taken with no hand on it, by a meter that bears them; above 600 V by an insulation tester alone', () => {
    const HT = demo.rails['HT']
    if (HT === undefined) throw new Error('HT')
    const high = makeWorksheet({ ...demo, rails: { ...demo.rails, HT: { ...HT, working_V: 1200 } } })
    for (const check of [item('mains insulation'), item('C17 leak'), item('HT insulation', high)]) {
      expect(check.method).toContain('hands away and nobody near')
      expect(check.cautions.join()).toMatch(/Meter, leads and clips are rated for [\d.]+ k?V or more/)
    }
    expect(item('mains insulation').method).toContain('one of 10 MΩ may show')
    expect(item('HT insulation', high)).toMatchObject({ volts: null })
    expect(item('HT insulation', high).method).toContain('and nothing else')
    expect(judgeReading(item('HT insulation', high), '3 V at 10 MΩ').ok).toBe(false)
  })
  it('without a unit, or of the wrong one, or less than nothing is no reading', () => {
    for (const [name, written] of [
      ['chain G', '3'],
      ['chain G', '-3 Ω'],
      ['chain G', ''],
      ['HT forward', '3 V'],
      ['charge reservoir', '3 Ω'],
      ['look dust', 'yes'],
    ] as const)
      expect(judgeReading(item(name), written).ok, `${name} ${written}`).toBe(false)
  })
})

const stamp = (seq: number) => ({
  seq,
  at: `2026-01-0${Math.floor(seq) + 1}T00:00:00.000Z`,
  by: 'me',
})
const read = (
  seq: number,
  name: string,
  value: number | 'good' | 'bad',
  verdict = 'in range' as const,
): ColdFact => ({
  ...stamp(seq),
  ...{ kind: 'reading', item: name, value, verdict, wanted: 'something', unit: 'Ω' },
})
const waive = (seq: number, name: string, of: number | null): ColdFact => ({
  ...stamp(seq),
  ...{ kind: 'waiver', item: name, of, reason: 'it is known' },
})
const repair = (seq: number, ...parts: string[]): ColdFact => ({
  ...stamp(seq),
  kind: 'repair',
  parts,
  text: 'mended',
})
/** Everything that must be taken, in range, in one go: the facts of a set that may have power. */
const whole = (from = 0): ColdFact[] =>
  sheet.checks
    .filter(({ must }) => must)
    .map((check, i) => read(from + i / 100, check.item, check.usual ?? 0))
const rails = ['heaters', 'bias', 'HT']
const gate = (facts: readonly ColdFact[], kind: 'real' | 'virtual' = 'real', on = rails) =>
  coldChecksOf(standingOf(sheet, facts), on, kind)
const blocked = (...of: Parameters<typeof gate>): string[] =>
  gate(...of).blocks.map(({ item: name, why }) => `${name}: ${why}`)

describe('the interlock of the cold checks', () => {
  it('a set of which nothing was read gets no power on a real bench; a virtual one says what was not asked', () => {
    expect(gate([]).blocks).toHaveLength(19)
    expect(gate([]).blocks.every(({ why }) => why === 'not taken')).toBe(true)
    const virtual = gate([], 'virtual')
    expect(virtual.blocks).toEqual([])
    expect(virtual.not_asked).toHaveLength(19)
  })
  it('what must be taken opens it; all else that is missing is listed as not taken', () => {
    const checks = gate(whole())
    expect(checks.blocks).toEqual([])
    expect(checks.not_taken).toContain('R50')
    expect(checks.not_taken).toHaveLength(sheet.checks.length - 19)
  })
  it.each(sheet.checks.filter(({ must }) => must).map((check) => check.item))(
    '%s missing alone keeps it shut',
    (name) => {
      expect(blocked(whole().filter((fact) => fact.kind !== 'reading' || fact.item !== name))).toEqual([
        `${name}: not taken`,
      ])
    },
  )
  it('asks only for the rails that the plan drives', () => {
    const heatersOnly = whole().filter(
      (fact) => fact.kind === 'reading' && !/^(?:HT|bias) forward$/.test(fact.item),
    )
    expect(blocked(heatersOnly, 'real', ['heaters'])).toEqual([])
    expect(blocked(heatersOnly, 'real', ['heaters', 'HT'])).toEqual(['HT forward: not taken'])
  })
  it.each(['real', 'virtual'] as const)(
    'a reading out of range keeps it shut on a %s bench, whatever rail it is of',
    (kind) => {
      expect(blocked([...whole(), read(5, 'R50', 1e3)], kind, ['heaters'])).toEqual(['R50: out of range'])
      expect(blocked([...whole(), read(5, 'look mains', 'bad')], kind)).toEqual(['look mains: out of range'])
      expect(blocked([...whole(), read(5, 'R50', Number.NaN)], kind)).toEqual(['R50: out of range'])
    },
  )
  it('is opened by a later reading in range, and shut again by one that is not', () => {
    const bad = [...whole(), read(5, 'R50', 1e3)]
    expect(blocked([...bad, read(6, 'R50', 46e3)])).toEqual([])
    expect(blocked([...bad, read(6, 'R50', 46e3), read(7, 'R50', 1e3)])).toEqual(['R50: out of range'])
  })
  it('is opened by a waiver of that very reading, which stays in view; the next bad one needs its own', () => {
    const bad = [...whole(), read(5, 'R50', 1e3)]
    const waived = gate([...bad, waive(6, 'R50', 5)])
    expect(waived.blocks).toEqual([])
    expect(waived.waived).toEqual([
      {
        item: 'R50',
        text: expect.stringMatching(
          /^R50: 1 kΩ; wanted: .* Waived by me on 2026-01-07: it is known$/,
        ) as string,
      },
    ])
    expect(waived.once_waived).toEqual([])
    expect(blocked([...bad, waive(6, 'R50', 5), read(7, 'R50', 900)])).toEqual(['R50: out of range'])
    // It follows the set for ever, mended and read in range or not.
    const after = [repair(7, 'R50'), ...whole(7.1), read(8, 'R50', 47e3)]
    const mended = gate([...bad, waive(6, 'R50', 5), ...after])
    expect([mended.blocks, mended.waived]).toEqual([[], []])
    expect(mended.once_waived).toEqual([
      expect.stringMatching(/^R50: waived by me on 2026-01-07: it is known\. Now: /) as string,
    ])
    expect(blocked([...bad, waive(6, 'R50', null)])).toEqual(['R50: out of range'])
    expect(blocked([...bad, waive(6, 'R51', 5)])).toEqual(['R50: out of range'])
  })
  it('a reading that must be taken may be waived untaken, stored charge and a live chassis never', () => {
    const without = (name: string): ColdFact[] =>
      whole().filter((fact) => fact.kind !== 'reading' || fact.item !== name)
    expect(blocked([...without('chain A'), waive(6, 'chain A', null)])).toEqual([])
    expect(blocked([...without('charge reservoir'), waive(6, 'charge reservoir', null)])).toEqual([
      'charge reservoir: not taken',
    ])
    expect(blocked([...whole(), read(5, 'charge reservoir', 300), waive(6, 'charge reservoir', 5)])).toEqual([
      'charge reservoir: out of range',
    ])
  })
  it('after a repair what must be taken is taken again, and the part it was about; a bad reading stays one until then', () => {
    expect(blocked([...whole(), repair(5, 'C17')])).toHaveLength(19)
    expect(blocked([...whole(), repair(5, 'C17'), ...whole(6)])).toEqual([])
    const bad = [read(1, 'R50', 1e3), repair(5, 'R50'), ...whole(6)]
    expect(blocked(bad)).toEqual(['R50: out of range'])
    expect(gate(bad).blocks[0]?.text).toMatch(
      /^1 kΩ was read before a repair \(mended\): to be read again; wanted: /,
    )
    expect(blocked([...bad, read(8, 'R50', 46e3)])).toEqual([])
    // Of another part it says nothing.
    expect(gate([read(1, 'R51', 8.2e3), repair(5, 'R50'), ...whole(6)]).not_taken).not.toContain('R51')
    // A waiver is of the set as it stood then.
    expect(blocked([read(1, 'R50', 1e3), waive(2, 'R50', 1), repair(5, 'R50'), ...whole(6)])).toEqual([
      'R50: out of range',
    ])
  })
  it('a sheet from before the repair that is typed in after it is of the set as it was', () => {
    const repaired = { ...repair(5, 'C17'), on: '2026-01-20' }
    const typed = (on: string): ColdFact[] => whole(6).map((fact) => ({ ...fact, on }))
    expect(blocked([...whole(), repaired, ...typed('2026-01-10')])).toHaveLength(19)
    expect(blocked([...whole(), repaired, ...typed('2026-01-20')])).toEqual([])
  })
  it('a reading older than it stands is said to be old; one that must be taken is taken again', () => {
    const clock = (now: string, days = 90) => ({ now, stands_s: days * 86_400 })
    const facts = [...whole(), read(1, 'R50', 46e3)]
    const on = (now: string, days?: number) =>
      coldChecksOf(standingOf(sheet, facts, clock(now, days)), rails, 'real')
    expect(on('2026-01-20T00:00:00.000Z')).toMatchObject({ blocks: [], old: [] })
    const late = on('2026-06-01T00:00:00.000Z')
    expect(late.blocks).toHaveLength(19)
    expect(late.blocks[0]?.text).toContain(
      '151 days old, more than the 90 days that a reading stands: to be read again',
    )
    expect(late.old).toEqual(['R50'])
    expect(on('2026-06-01T00:00:00.000Z', 365)).toMatchObject({ blocks: [], old: [] })
    // The day on which it was read counts, not that of typing it in; a day that cannot be is no proof.
    const typed = (day: string): ColdFact[] => facts.map((fact) => ({ ...fact, on: day }))
    const by = (day: string) =>
      coldChecksOf(standingOf(sheet, typed(day), clock('2026-06-01T00:00:00.000Z')), rails, 'real')
    expect(by('2026-05-30').blocks).toEqual([])
    expect(by('2026-08-01').blocks).toHaveLength(19)
    expect(by('no day').blocks).toHaveLength(19)
  })
  it('a reading from before the last repair says so, whatever part that was about', () => {
    const facts = [read(1, 'R51', 8.2e3), repair(5, 'R50'), ...whole(6)]
    const standing = standingOf(sheet, facts).find((each) => each.item === 'R51')
    expect(standing).toMatchObject({ state: 'in range', old: 'taken before the last repair (mended)' })
    expect(standing?.text).toContain('OLD: taken before the last repair (mended).')
    expect(coldChecksOf(standingOf(sheet, facts), rails, 'real').old).toEqual(['R51'])
  })
  it('a bad reading of a check that the file no longer has still keeps it shut', () => {
    const gone: ColdFact = {
      ...stamp(5),
      ...{
        kind: 'reading',
        item: 'R999',
        value: 1,
        verdict: 'out of range',
        wanted: '1 MΩ or more',
        unit: 'Ω',
      },
    }
    expect(blocked([...whole(), gone])).toEqual(['R999: out of range'])
    expect(blocked([...whole(), gone, waive(6, 'R999', 5)])).toEqual([])
    expect(blocked([...whole(), { ...gone, verdict: 'in range' }])).toEqual([])
  })
  it('judges by the file of today: a window that moved counts', () => {
    const moved = {
      ...sheet,
      checks: sheet.checks.map((check) => (check.item === 'HT forward' ? { ...check, low: 1e6 } : check)),
    }
    expect(coldChecksOf(standingOf(moved, whole()), rails, 'real').blocks.map((each) => each.item)).toEqual([
      'HT forward',
    ])
  })
})
