import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { loadParts } from '../simulator/parts.js'
import { moments, type Signal, signalNames, type SignalWay, spoil, ways } from '../simulator/signals.js'

const parts = loadParts()
const table = readFileSync(new URL('./SIGNALS.md', import.meta.url), 'utf8')
  .split('\n')
  .filter((line) => signalNames.some((name) => line.startsWith(`| ${name} |`)))
  .map((line) =>
    line
      .split('|')
      .map((cell) => cell.trim())
      .slice(1, -1),
  )

function row(signal: Signal, way: SignalWay): readonly string[] {
  return table.find((cells) => cells[0] === signal && cells[1] === way)?.slice(2) ?? []
}

describe('the table of spoilt readings', () => {
  it('has every reading and every way once', () => {
    expect(table.map(([signal, way]) => `${signal} ${way}`)).toEqual(
      signalNames.flatMap((signal) => ways.map((way) => `${signal} ${way}`)),
    )
  })

  it.each([
    ['HT current', 'off'],
    ['HT current', 'three times'],
    ['HT volts', 'a third'],
    ['heater current', 'a third'],
    ['bias volts', 'not a number'],
    ['grid return volts', 'a third'],
  ] as const)('tells of "%s, %s" with HT standing what the program does', (signal, way) => {
    const { act, broken } = spoil(parts, signal, way, 'HT standing')
    expect(broken).toEqual([])
    expect(row(signal, way)[moments.indexOf('HT standing')]?.split(', ')[0]).toBe(act)
  })

  it('lets no reading that falls silent or stops being a number stand longer than the stale limit', () => {
    const most_s = parts.plan.stale_s + 0.5
    for (const signal of signalNames)
      for (const way of ['off', 'late', 'not a number', 'noise'] as const)
        for (const moment of ['HT rising', 'HT standing'] as const) {
          const [code, seconds] = (row(signal, way)[moments.indexOf(moment)] ?? '').split(', ')
          expect(['stale', 'bad-reply', 'line-lost'], `${signal} ${way}, ${moment}`).toContain(code)
          expect(Number(seconds?.replace(' s', '')), `${signal} ${way}, ${moment}`).toBeLessThan(most_s)
        }
  })
})
