import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { actsOf, type Expected } from '../simulator/signals-acts.js'
import { loadSignalParts } from '../simulator/signals-bench.js'
import { downRails } from '../simulator/signals-down.js'
import { cellOf, expectedOf, notMet } from '../simulator/signals-expected.js'
import {
  type Moment,
  moments,
  type Signal,
  signalNames,
  type SignalWay,
  waysOf,
} from '../simulator/signals-list.js'
import { spoil } from '../simulator/signals.js'

const parts = loadSignalParts()
const wanted = (signal: Signal, way: SignalWay, moment: Moment): Expected =>
  actsOf(parts(signal, moment))[expectedOf(signal, way, moment)]
const table = readFileSync(new URL('./SIGNALS.md', import.meta.url), 'utf8')
const cells = table
  .split('\n')
  .filter((line) => signalNames.some((name) => line.startsWith(`| ${name} |`)))
  .map((line) =>
    line
      .split('|')
      .map((cell) => cell.trim())
      .slice(1, -1),
  )
const written = (signal: Signal, way: SignalWay): readonly string[] =>
  cells.find(([its, in_way]) => its === signal && in_way === way)?.slice(2) ?? []

/** A cell as it is written: the act, its seconds and the longest, and what was down by when. */
const parted = (cell: string) =>
  /^([\w: -]+?)(?:, ([\d.]+) s(?: of ([\d.]+) s)?)?(?:; (.+))?$/.exec(cell)?.slice(1) ?? []

describe('the table of spoilt readings', () => {
  it('has every reading and every way once, and every cell with what was expected of it', () => {
    expect(cells.map(([signal, way]) => `${signal} ${way}`)).toEqual(
      signalNames.flatMap((signal) => waysOf(signal).map((way) => `${signal} ${way}`)),
    )
    for (const signal of signalNames)
      for (const way of waysOf(signal))
        for (const [i, moment] of moments.entries()) {
          const name = expectedOf(signal, way, moment)
          const { acts: right, within_s } = wanted(signal, way, moment)
          const cell = written(signal, way)[i] ?? ''
          const where = `${cellOf(signal, way, moment)}: ${cell}`
          expect(cell.startsWith('NOT AS EXPECTED: '), where).toBe(notMet.has(cellOf(signal, way, moment)))
          if (notMet.has(cellOf(signal, way, moment))) continue
          expect(cell.startsWith(`${name}: `), where).toBe(true)
          const [said = '', s, most] = parted(cell.slice(name.length + 2))
          expect(right, where).toContain(said)
          if (within_s === null) continue
          expect(most, where).toBe(within_s.toFixed(1))
          expect(Number(s), where).toBeLessThanOrEqual(within_s)
        }
  })

  it('has in "going off" each output with its own time, and the bias that stays only where the alarm sounds', () => {
    for (const signal of signalNames)
      for (const way of waysOf(signal)) {
        const { down } = wanted(signal, way, 'going off')
        const cell = written(signal, way)[moments.indexOf('going off')] ?? ''
        const where = `${signal}, ${way}: ${cell}`
        if (notMet.has(cellOf(signal, way, 'going off'))) continue
        if (down === undefined) {
          expect(cell, where).toBe('not asked: never asked then')
          continue
        }
        const its = new Map((cell.split('; ')[1] ?? '').split(', ').map((text) => [text.split(' ')[0], text]))
        for (const rail of downRails) {
          const [, s, most] = /([\d.]+) s(?: of ([\d.]+) s)?$/.exec(its.get(rail) ?? '') ?? []
          const longest = down[rail]
          if (typeof longest !== 'number') {
            if (longest === 'stays') expect(its.get(rail), where).toBe(`${rail} stays`)
            continue
          }
          expect(most, where).toBe(longest.toFixed(1))
          expect(Number(s), where).toBeLessThanOrEqual(longest)
        }
        if (down.alarm === 'none') expect(cell, where).toMatch(/no alarm$/)
        if (its.get('bias') === 'bias stays') expect(cell, where).toMatch(/alarm [\d.]+ s/)
      }
  })

  it('has HT off within some two seconds and heaters within forty of every decision to go off, whatever is read', () => {
    for (const signal of signalNames)
      for (const way of waysOf(signal)) {
        const { down } = wanted(signal, way, 'going off')
        if (down === undefined) continue
        expect(down.HT, `${signal} ${way}`).toBeLessThan(2.1)
        expect(down.heaters, `${signal} ${way}`).toBeLessThan(40)
      }
  })

  it('lets nothing stand that is silent or no number, and no current that is too much, for longer than two seconds under HT', () => {
    for (const signal of signalNames.filter((name) => / (volts|current)$/.test(name)))
      for (const way of ['off', 'late', 'not a number', 'noise'] as const)
        for (const moment of ['HT rising', 'HT standing', 'question open'] as const)
          expect(wanted(signal, way, moment).within_s, `${signal} ${way}`).toBeLessThan(2)
    for (const signal of ['HT current', 'heater current'] as const)
      for (const moment of ['HT standing', 'question open'] as const)
        expect(wanted(signal, 'three times', moment).within_s).toBeLessThan(1)
  })

  // One in thirty-one, so that each reading, way and moment is among them; all of them are `npm run simulate -- --signals`.
  const some = signalNames
    .flatMap((signal) =>
      waysOf(signal).flatMap((way) => moments.map((moment) => [signal, way, moment] as const)),
    )
    .filter((_, i) => i % 31 === 3)
  it('tries each reading, each way and each moment', () => {
    expect(new Set(some.map(([signal]) => signal)).size).toBe(signalNames.length)
    expect(new Set(some.map(([, way]) => way)).size).toBe(new Set(signalNames.flatMap(waysOf)).size)
    expect(new Set(some.map(([, , moment]) => moment)).size).toBe(moments.length)
  })
  it.each(some)('"%s", %s, from %s on: the program does what is expected of it', (signal, way, moment) => {
    const { wrong, broken } = spoil(parts, signal, way, moment)
    expect(broken).toEqual([])
    expect(wrong === null).toBe(!notMet.has(cellOf(signal, way, moment)))
  })

  it('says OFF to heaters and bias though the word on their own outputs never comes in time', () => {
    for (const signal of ['heater output', 'bias output'] as const)
      expect(spoil(parts, signal, 'late', 'going off').wrong, signal).toBeNull()
  })
})
