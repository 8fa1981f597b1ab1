import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { most_n } from '../../src/exchange/index.js'
import { decodeColumns, encodeColumns } from '../../src/record/codec.js'
import { createRunFile, openRunFile, RecordTrouble, type RunEntry, storyOf } from '../../src/record/index.js'
import { packStatistics, unpackStatistics } from '../../src/record/statistics.js'
import { Thinning } from '../../src/record/thin.js'
import { event, folder, known, smallRun, tripped } from '../helpers/runs.js'

const time = fc.integer({ min: 0, max: 2 ** 50 })
const stored = fc.oneof(fc.integer({ min: -5000, max: 5000 }), fc.integer({ min: -most_n, max: most_n }))
const anEntry: fc.Arbitrary<RunEntry> = fc.oneof(
  {
    weight: 8,
    arbitrary: fc.record({
      ...{ entry: fc.constant('reading' as const), stream: fc.integer({ min: 0, max: 3 }), t_us: time },
      ...{ n: stored, k: fc.integer({ min: -3, max: 9 }) },
    }),
  },
  {
    weight: 4,
    arbitrary: fc.record({
      entry: fc.constant('tick' as const),
      t_us: time,
      late_us: stored,
      slept_us: stored,
    }),
  },
  {
    weight: 3,
    arbitrary: fc
      .record({
        ...{ t_us: time, text: fc.string({ unit: 'grapheme' }), rail: fc.option(fc.string()) },
        ...{ step: fc.option(fc.nat()), intent: fc.option(fc.nat()), durable: fc.boolean() },
        data: fc.dictionary(
          fc.string().filter((key) => key !== '__proto__'),
          fc.jsonValue(),
        ),
      })
      .map(({ t_us, ...more }) =>
        event(t_us, { ...more, data: JSON.parse(JSON.stringify(more.data)) as Record<string, unknown> }),
      ),
  },
  {
    weight: 1,
    arbitrary: fc.constantFrom<RunEntry>(
      { entry: 'known', known },
      { entry: 'stream', stream: { id: 1, name: 'HT.V', unit: 'V', rail: 'HT', resolution: 0.01 } },
      { entry: 'ending', t_us: 5, ending: tripped },
    ),
  },
)

describe('a run file', () => {
  it('gives back any entries exactly and in their order, whatever batches, commits and seals lay between', () => {
    const actions = fc.array(
      fc.oneof(
        { weight: 6, arbitrary: fc.array(anEntry, { maxLength: 30 }) },
        { weight: 1, arbitrary: fc.constant('flush' as const) },
        { weight: 1, arbitrary: fc.constant('seal' as const) },
      ),
      { maxLength: 12 },
    )
    const at = folder()
    let files = 0
    fc.assert(
      fc.property(actions, fc.boolean(), (list, clean) => {
        const path = join(at, `${++files}.slowglow`)
        const writer = createRunFile(path, { fsync: false })
        const all: RunEntry[] = []
        for (const action of list) {
          if (action === 'flush') writer.flush()
          else if (action === 'seal') writer.seal()
          else {
            writer.append(action)
            all.push(...action)
          }
        }
        if (clean) writer.close()
        else writer.flush()
        const opened = openRunFile(path)
        if ('trouble' in opened) throw new Error(opened.trouble)
        expect([...opened.reader.entries()]).toEqual(all)
        opened.reader.close()
        if (!clean) writer.close()
      }),
      { numRuns: 60 },
    )
  })

  it('that was garbled anywhere is read or refused in a sentence, never anything else', () => {
    const at = folder()
    const good = join(at, 'good.slowglow')
    const writer = createRunFile(good, { fsync: false })
    writer.append(smallRun())
    writer.close()
    const opened = openRunFile(good)
    if ('trouble' in opened) throw new Error(opened.trouble)
    opened.reader.close()
    const bytes = readFileSync(good)
    const hit = fc.record({
      at: fc.nat({ max: bytes.length - 1 }),
      by: fc.uint8Array({ minLength: 1, maxLength: 40 }),
    })
    const header = fc.record({ at: fc.nat({ max: 130 }), by: fc.uint8Array({ minLength: 1, maxLength: 4 }) })
    const path = join(at, 'garbled.slowglow')
    fc.assert(
      fc.property(fc.array(fc.oneof(hit, header), { minLength: 1, maxLength: 8 }), (hits) => {
        const garbled = Uint8Array.from(bytes)
        for (const { at: from, by } of hits) garbled.set(by.subarray(0, bytes.length - from), from)
        writeFileSync(path, garbled)
        readAll(path)
      }),
      { numRuns: 300 },
    )
  })

  it('of random bytes is refused in a sentence', () => {
    const path = join(folder(), 'random.slowglow')
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 5000 }), fc.boolean(), (bytes, magic) => {
        writeFileSync(path, magic ? Buffer.concat([Buffer.from('SQLite format 3\0'), bytes]) : bytes)
        expect(openRunFile(path)).toEqual({ trouble: expect.stringContaining(path) as string })
      }),
      { numRuns: 200 },
    )
  })
})

/** Everything a reader gives; damage may only show as `RecordTrouble`. */
function readAll(path: string): void {
  const opened = openRunFile(path)
  if ('trouble' in opened) {
    expect(opened.trouble).toContain(path)
    return
  }
  for (const work of [
    () => [...opened.reader.entries()],
    () => storyOf(opened.reader),
    () => opened.reader.overview(1, 10, 0, 1e8),
  ])
    try {
      work()
    } catch (error) {
      if (!(error instanceof RecordTrouble)) throw error
    }
  opened.reader.close()
}

describe('columns of a block', () => {
  it('come back exactly', () => {
    const column = fc.array(stored, { minLength: 40, maxLength: 40 })
    fc.assert(
      fc.property(
        fc.array(column, { minLength: 1, maxLength: 4 }),
        fc.integer({ min: 0, max: 40 }),
        (columns, count) => {
          const bytes = encodeColumns(
            columns.map((values) => Float64Array.from(values)),
            count,
          )
          expect(decodeColumns(bytes, columns.length).map((values) => [...values])).toEqual(
            columns.map((values) => values.slice(0, count)),
          )
        },
      ),
    )
  })
})

describe('a block of readings', () => {
  it('comes back exactly whether it is regular, noisy, jumps or spikes, and with any byte changed not at all', () => {
    const one = fc.oneof(
      { weight: 6, arbitrary: fc.integer({ min: -3, max: 3 }) },
      { weight: 2, arbitrary: fc.integer({ min: -20_000, max: 20_000 }) },
      { weight: 1, arbitrary: stored },
    )
    const changed = fc.record({ at: fc.nat(), by: fc.integer({ min: 1, max: 255 }) })
    fc.assert(
      fc.property(
        fc.array(one, { minLength: 1, maxLength: 300 }),
        time,
        changed,
        (noise, from, { at, by }) => {
          const columns = [
            noise,
            noise.map((each, i) => from + i * 100_000 + (each % 1000)),
            noise.map(() => 4),
          ]
          const given = columns.map((values) => Float64Array.from(values))
          const bytes = encodeColumns(given, noise.length)
          expect(decodeColumns(bytes, 3)).toEqual(given)
          const into = given.map((values) => new Float64Array(values.length).fill(7))
          expect(decodeColumns(bytes, 3, into)).toEqual(given)
          const where = at % bytes.length
          bytes[where] = (bytes[where] ?? 0) ^ by
          expect(() => decodeColumns(bytes, 3)).toThrow(RecordTrouble)
        },
      ),
    )
  })
})

describe('statistics of blocks in one piece', () => {
  it('come back exactly, and with any byte changed not at all', () => {
    const figure = fc.double({ noNaN: true })
    const block = fc.record({
      ...{ n: fc.nat(), from_us: fc.nat(), to_us: fc.nat() },
      ...{ first: figure, last: figure, min: figure, max: figure },
    })
    const changed = fc.record({ at: fc.nat(), by: fc.integer({ min: 1, max: 255 }) })
    fc.assert(
      fc.property(fc.array(block, { minLength: 1, maxLength: 32 }), changed, (blocks, { at, by }) => {
        const bytes = packStatistics(blocks.map((each) => ({ ...each, mean: 0 })))
        expect(unpackStatistics(bytes, 64)).toEqual(blocks.map((each, i) => ({ block: 64 + i, ...each })))
        const where = at % bytes.length
        bytes[where] = (bytes[where] ?? 0) ^ by
        expect(() => unpackStatistics(bytes, 0)).toThrow(RecordTrouble)
      }),
    )
  })
})

describe('an overview', () => {
  it('from blocks and roll-ups says the same as one from every single reading', () => {
    const at = folder()
    let files = 0
    const run = fc.record({
      gaps: fc.array(fc.oneof(fc.constant(100), fc.integer({ min: 0, max: 5000 })), {
        minLength: 1,
        maxLength: 40,
      }),
      repeat: fc.integer({ min: 1, max: 900 }),
      spike: fc.nat({ max: 20_000 }),
      width: fc.integer({ min: 1, max: 60 }),
      window: fc.tuple(
        fc.double({ min: -0.1, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
      ),
    })
    fc.assert(
      fc.property(run, ({ gaps, repeat, spike, width, window: [start, length] }) => {
        const entries: RunEntry[] = []
        let t_us = 0
        for (let i = 0; i < gaps.length * repeat; i++) {
          t_us += gaps[i % gaps.length] ?? 1
          entries.push({
            entry: 'reading',
            stream: 1,
            t_us,
            n: i === spike ? 99_999 : (i * 7919) % 1000,
            k: 2,
          })
        }
        const path = join(at, `${++files}.slowglow`)
        const writer = createRunFile(path, { fsync: false })
        writer.append(entries)
        writer.flush()
        const opened = openRunFile(path)
        if ('trouble' in opened) throw new Error(opened.trouble)
        const from_us = Math.floor(start * t_us)
        const to_us = from_us + Math.floor(length * t_us)
        const single = new Thinning(from_us, to_us, width)
        const all = opened.reader.readings(1)
        single.takeEach(all.t_us, all.n, all.k)
        expect(opened.reader.overview(1, width, from_us, to_us)).toEqual(single.overview())
        opened.reader.close()
        writer.close()
      }),
      { numRuns: 25 },
    )
  })
})
