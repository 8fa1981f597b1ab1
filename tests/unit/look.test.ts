import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import {
  bandsOf,
  createRunFile,
  eventsIn,
  lookAt,
  readRun,
  type RunEntry,
  type RunReader,
  storyOf,
} from '../../src/record/index.js'
import { event, folder, smallRun } from '../helpers/runs.js'

function looked<T>(work: (reader: RunReader) => T, entries = smallRun()): T {
  const path = join(folder(), 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  const read = readRun(path, work)
  if ('trouble' in read) throw new Error(read.trouble)
  return read.value
}
const volts = { trace: 1, from_us: 0, to_us: 95e6 }

describe('what a page draws of a run', () => {
  it('is four figures of each pixel column where there are many readings, and posts to another thread as it is', () => {
    const seen = looked((reader) => lookAt(reader, { ...volts, width: 10 }))
    if (seen?.is !== 'columns') throw new Error('not columns')
    expect([...seen.column]).toEqual([0, 1, 2, 3, 4, 5, 6, 7, 8, 9])
    expect(seen.n.reduce((sum, n) => sum + n, 0)).toBe(901)
    expect([seen.first[0], seen.min[0], seen.last[9], seen.max[9]]).toEqual([0, 0, 80, 80])
    expect(structuredClone(seen)).toEqual(seen)
  })

  it('is every reading of the window where they are few, its ends included', () => {
    const seen = looked((reader) =>
      lookAt(reader, { ...volts, from_us: 1_000_310, to_us: 1_200_310, width: 800 }),
    )
    expect(seen).toEqual({
      is: 'readings',
      from_us: 1_000_310,
      to_us: 1_200_310,
      t_us: Float64Array.of(1_000_310, 1_100_310, 1_200_310),
      value: Float64Array.of(0.9, 1, 1.1),
    })
  })

  it('is nothing for a stream or a time that the run has not', () => {
    const empty = { is: 'readings', t_us: new Float64Array(0), value: new Float64Array(0) }
    expect(looked((reader) => lookAt(reader, { ...volts, trace: 77, width: 800 }))).toMatchObject(empty)
    expect(
      looked((reader) => lookAt(reader, { ...volts, from_us: 96e6, to_us: 97e6, width: 9 })),
    ).toMatchObject(empty)
  })

  it.each([
    { width: 0 },
    { width: 1.5 },
    { width: 1e9 },
    { width: Number.NaN },
    { from_us: 5, to_us: 4 },
    { from_us: Number.NaN },
    { to_us: Infinity },
  ])('is refused where the wish is none: %j', (wrong) => {
    expect(looked((reader) => lookAt(reader, { ...volts, width: 100, ...wrong }))).toBeNull()
  })

  it('has the bands of each step from its beginning to the next, or to the trip', () => {
    expect(looked(bandsOf)).toMatchObject([
      {
        rail: 'HT',
        step: 1,
        from_us: 1000,
        to_us: 91e6,
        at_V: 60,
        lower_A: 0.008,
        upper_A: 0.012,
        lowering: false,
      },
      {
        rail: 'HT',
        step: 2,
        from_us: 91e6,
        to_us: 92_000_300,
        trip_A: 0.03,
        ceiling_A: 0.05,
        expected_A: 0.02,
      },
    ])
  })

  it('has them again where the run climbed again, and each step is counted once', () => {
    const at = (t_us: number, step: number, text = ''): RunEntry => event(t_us, { what: 'step', text, step })
    const again = [at(91_500_000, 1), at(91_600_000, 1, 'holding 5 s'), at(91_800_000, 2)]
    const run = smallRun().flatMap((entry) =>
      entry.entry === 'reading' && entry.t_us === 92_000_000 ? [...again, entry] : [entry],
    )
    const bands = looked(bandsOf, run).map(({ step, from_us, to_us }) => [step, from_us, to_us])
    expect(bands).toEqual([
      [1, 1000, 91e6],
      [2, 91e6, 91_500_000],
      [1, 91_500_000, 91_800_000],
      [2, 91_800_000, 92_000_300],
    ])
    const { steps_done, steps } = looked((reader) => storyOf(reader), run)
    expect(steps_done).toBe(1)
    expect(steps.map(({ began_s }) => began_s)).toEqual([0.001, 91])
    const ended = run.map(
      (entry): RunEntry =>
        entry.entry === 'ending'
          ? { ...entry, ending: { ...entry.ending, outcome: 'completed', steps_done: 0 } }
          : entry,
    )
    expect(looked((reader) => storyOf(reader), ended).steps_done).toBe(2)
  })

  it('has what was told in a window, without each thing fed', () => {
    const fed = event(91_500_000, { what: 'fed', text: 'done' })
    const told = looked(
      (reader) => eventsIn(reader, { from_us: 91e6, to_us: 92_000_300 }).map(({ what }) => what),
      [...smallRun().slice(0, -1), fed, ...smallRun().slice(-1)],
    )
    expect(told).toEqual(['step', 'trip'])
  })

  it('is a sentence where there is no such run', () => {
    expect(readRun('/nowhere/a.slowglow', bandsOf)).toEqual({
      trouble: expect.stringMatching(/no run file/) as string,
    })
  })
})
