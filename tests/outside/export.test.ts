import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { tableFromIPC } from 'apache-arrow'
import { readParquet } from 'parquet-wasm'
import { describe, expect, it } from 'vitest'
import { createRunFile, exportRun, openRunFile, type RunEntry } from '../../src/record/index.js'
import { folder, smallRun } from '../helpers/runs.js'

/** A run of two streams with some ten thousand readings, a spike among them, and one moment at which both speak. */
function run(): RunEntry[] {
  const [known, ...rest] = smallRun()
  const readings: RunEntry[] = []
  for (let i = 0; i < 12_000; i++)
    readings.push({
      entry: 'reading',
      stream: (i % 3) % 2 === 0 ? 1 : 2,
      t_us: 100_000_000 + (i % 3 === 2 ? i - 1 : i) * 1001,
      n: i === 7777 ? 123_456 : (i * 37) % 251,
      k: i % 5,
    })
  const ending = rest.filter(({ entry }) => entry === 'ending')
  const before = rest.filter(({ entry }) => entry !== 'ending')
  return known === undefined ? [] : [known, ...before, ...readings, ...ending]
}
function reader() {
  const path = join(folder(), 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append(run())
  writer.close()
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  return opened.reader
}
/** Count and sum of each stream as it was recorded, by plain arithmetic. */
const recorded = [1, 2].map((id) => {
  const values = run().flatMap((entry) =>
    entry.entry === 'reading' && entry.stream === id ? [entry.n / Number(`1e${entry.k}`)] : [],
  )
  return { count: values.length, sum: values.reduce((sum, value) => sum + value, 0) }
})

describe('an exported run', () => {
  it('as Parquet is read by another implementation (Apache Arrow’s), every value of every stream', () => {
    const file = join(folder(), 'a.parquet')
    const { rows } = exportRun(reader(), 'parquet', file)
    const table = tableFromIPC(readParquet(new Uint8Array(readFileSync(file))).intoIPCStream())
    expect(table.schema.fields.map(({ name }) => name)).toEqual(['t (s)', 'HT (V)', 'HT (A)'])
    expect(table.numRows).toBe(rows)
    for (const [i, name] of ['HT (V)', 'HT (A)'].entries()) {
      const values = [...(table.getChild(name) ?? [])].filter((value): value is number => value !== null)
      expect(values.length).toBe(recorded[i]?.count)
      expect(values.reduce((sum, value) => sum + value, 0)).toBe(recorded[i]?.sum)
    }
  })

  it('as CSV has one row a moment, units in the header, blanks where nothing was said, and the same sums', () => {
    const file = join(folder(), 'a.csv')
    const { rows } = exportRun(reader(), 'csv', file)
    const [header, ...lines] = readFileSync(file, 'utf8').trimEnd().split('\n')
    expect(header).toBe('t (s),HT (V),HT (A)')
    expect(lines.length).toBe(rows)
    const cells = lines.map((line) => line.split(','))
    for (const i of [0, 1]) {
      const said = cells.flatMap((row) => (row[i + 1] === '' ? [] : [Number(row[i + 1])]))
      expect(said.length).toBe(recorded[i]?.count)
      expect(said.reduce((sum, value) => sum + value, 0)).toBe(recorded[i]?.sum)
    }
    expect(cells.some((row) => row[1] !== '' && row[2] !== '')).toBe(true)
    const times = cells.map(([t]) => Number(t))
    expect(times.every((t, i) => i === 0 || t >= (times[i - 1] ?? 0))).toBe(true)
  })

  it('as JSON Lines has every entry in its order', () => {
    const file = join(folder(), 'a.jsonl')
    exportRun(reader(), 'jsonl', file)
    const lines = readFileSync(file, 'utf8').trimEnd().split('\n')
    const entries = lines.map((line) => JSON.parse(line) as { entry: string; value?: number })
    expect(entries.map(({ entry }) => entry)).toEqual(run().map(({ entry }) => entry))
    expect(entries.reduce((sum, { value }) => sum + (value ?? 0), 0)).toBeCloseTo(
      (recorded[0]?.sum ?? 0) + (recorded[1]?.sum ?? 0),
      6,
    )
  })

  it('is never written over another file, and leaves none behind where it fails', () => {
    const at = folder()
    writeFileSync(join(at, 'a.csv'), 'mine')
    expect(() => exportRun(reader(), 'csv', join(at, 'a.csv'))).toThrow(/exists already/)
    expect(readFileSync(join(at, 'a.csv'), 'utf8')).toBe('mine')
    expect(() => exportRun(reader(), 'csv', join(at, 'no', 'a.csv'))).toThrow(/could not be written/)
    expect(existsSync(join(at, 'no'))).toBe(false)
  })
})
