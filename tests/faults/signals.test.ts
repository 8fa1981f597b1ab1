import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { loadParts } from '../simulator/parts.js'
import { actsOf, expectedOf } from '../simulator/signals-expected.js'
import { moments, type Signal, signalNames, type SignalWay, spoil, ways } from '../simulator/signals.js'

const parts = loadParts()
const acts = actsOf(parts.plan)
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

describe('the table of spoilt readings', () => {
  it('has every reading and every way once, and every cell with what was expected of it', () => {
    expect(cells.map(([signal, way]) => `${signal} ${way}`)).toEqual(
      signalNames.flatMap((signal) => ways.map((way) => `${signal} ${way}`)),
    )
    for (const signal of signalNames)
      for (const way of ways)
        for (const [i, moment] of moments.entries()) {
          const name = expectedOf(signal, way, moment)
          const { acts: right, within_s } = acts[name]
          const cell = written(signal, way)[i] ?? ''
          const where = `${signal}, ${way}, ${moment}: ${cell}`
          expect(cell.startsWith(`${name}: `), where).toBe(true)
          const [, said = '', s, most] =
            /^([\w: -]+?)(?:, ([\d.]+) s(?: of ([\d.]+) s)?)?$/.exec(cell.slice(name.length + 2)) ?? []
          expect(right, where).toContain(said)
          if (within_s === null) continue
          expect(Number(most), where).toBeCloseTo(within_s, 1)
          expect(Number(s), where).toBeLessThanOrEqual(within_s)
        }
  })

  it('lets nothing stand that is silent or no number, and no current that is too much, for longer than two seconds under HT', () => {
    for (const signal of signalNames)
      for (const way of ['off', 'late', 'not a number', 'noise'] as const)
        for (const moment of ['HT rising', 'HT standing'] as const)
          expect(acts[expectedOf(signal, way, moment)].within_s, `${signal} ${way}`).toBeLessThan(2)
    for (const signal of ['HT current', 'heater current'] as const)
      expect(acts[expectedOf(signal, 'three times', 'HT standing')].within_s).toBeLessThan(1)
  })

  // One in seven, so that each reading, way and moment is among them; all of them are `npm run simulate -- --signals`.
  const some = signalNames.flatMap((signal, i) =>
    ways.flatMap((way, j) =>
      moments.flatMap((moment, k) => ((i + 2 * j + 3 * k) % 7 === 0 ? [[signal, way, moment] as const] : [])),
    ),
  )
  it.each(some)('"%s", %s, from %s on: the program does what is expected of it', (signal, way, moment) => {
    const { wrong, broken } = spoil(parts, signal, way, moment)
    expect(broken).toEqual([])
    expect(wrong).toBeNull()
  })
})
