import { copyFileSync, existsSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import fc from 'fast-check'
import { afterAll, describe, expect, it } from 'vitest'
import { sealAlarm } from '../../src/cli/story-text.js'
import { addNote, createRunFile, openRunFile, type RunEntry, type Seal } from '../../src/record/index.js'
import { event, folder, keptNote, rolledUpRun, smallRun } from '../helpers/runs.js'

const kept = 'tests/fixtures/run-files/format-1.slowglow'
const kept2 = 'tests/fixtures/run-files/format-2.slowglow'
const kept3 = 'tests/fixtures/run-files/format-3.slowglow'

function reader(path: string) {
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  return opened.reader
}
function sealOf(path: string): Seal {
  const run = reader(path)
  const seal = run.seal()
  run.close()
  return seal
}
function written(entries: readonly RunEntry[], at = join(folder(), 'a.slowglow')): string {
  const writer = createRunFile(at, { fsync: false })
  for (const entry of entries) writer.append([entry])
  writer.close()
  return at
}
/** A run with a closed roll-up in each stream, events between, and ticks. */
function longRun(): RunEntry[] {
  const [known, ...rest] = smallRun()
  const streams = rest.filter(({ entry }) => entry === 'stream')
  const end = rest.filter(({ entry }) => entry === 'ending')
  const middle: RunEntry[] = []
  for (let i = 0; i < 40_000; i++) {
    const t_us = i * 1000
    middle.push({ entry: 'reading', stream: (i % 2) + 1, t_us, n: (i * 7919) % 1000, k: 2 })
    if (i % 4 === 0) middle.push({ entry: 'tick', t_us, late_us: i % 3, slept_us: 0 })
    if (i % 5000 === 0) middle.push(event(t_us, { what: 'judgement', text: `at ${i}` }))
  }
  return known === undefined ? [] : [known, ...streams, ...middle, ...end]
}

describe('the seal of a run file', () => {
  it('is whole after a clean end, and stays whole when a note is added', () => {
    const path = written(longRun())
    const before = sealOf(path)
    expect(before.is).toBe('whole')
    expect(
      addNote(path, { written: '2026-11-25T10:00:00Z', by: 'Ada', text: 'C3 replaced since.' }),
    ).toBeNull()
    expect(sealOf(path)).toEqual(before)
    const run = reader(path)
    expect(run.notes()).toEqual([{ written: '2026-11-25T10:00:00Z', by: 'Ada', text: 'C3 replaced since.' }])
    expect(run.standing).toBe('whole')
    run.close()
  })

  it('is whole over text that has half a character in it: what the file can hold is what is sealed', () => {
    const [known, ...rest] = smallRun()
    const half = event(50, { what: 'half \ud800', text: 'bad \udfff end', data: { said: '\ud83d' } })
    const path = written(known === undefined ? [] : [known, half, ...rest])
    expect(sealOf(path).is).toBe('whole')
    const run = reader(path)
    expect(run.events()[0]).toMatchObject({
      what: 'half \ufffd',
      text: 'bad \ufffd end',
      data: { said: '\ud83d' },
    })
    run.close()
  })

  it('covers what is final while the run goes on, and says that newer things are not covered', () => {
    const path = join(folder(), 'a.slowglow')
    const writer = createRunFile(path, { fsync: false })
    writer.append(smallRun().slice(0, 20))
    writer.seal()
    writer.append([event(99_000_000, { what: 'judgement', text: 'later' })])
    writer.flush()
    expect(sealOf(path)).toMatchObject({ is: 'open', links: 1, uncovered: 1 })
    expect(addNote(path, { written: '', by: '', text: 'x' }, true)).toMatch(/run that is over/)
    writer.close()
  })

  it('lets a note be added to a run whose recorder was killed, which is one file then, as it was measured', () => {
    const at = folder()
    const writer = createRunFile(join(at, 'live.slowglow'), { fsync: false })
    writer.append(smallRun().slice(0, 300))
    writer.flush()
    const path = join(at, 'a.slowglow')
    copyFileSync(join(at, 'live.slowglow'), path)
    copyFileSync(join(at, 'live.slowglow-wal'), `${path}-wal`)
    writer.close()
    expect(addNote(path, { written: 'w', by: 'Ada', text: 'Mains failed here.' })).toBeNull()
    expect(existsSync(`${path}-wal`)).toBe(false)
    const run = reader(path)
    expect(run.standing).toBe('whole')
    expect(run.damage()).toEqual([])
    expect([...run.entries()]).toEqual(smallRun().slice(0, 300))
    expect(run.notes()).toHaveLength(1)
    run.close()
  })

  it('lets a note be added to a whole run that somebody still looked at when it was closed, and whose empty part is gone', () => {
    const at = folder()
    const live = join(at, 'live.slowglow')
    const writer = createRunFile(live, { fsync: false })
    const looks = new Database(live, { readonly: true })
    looks.prepare('SELECT count(*) FROM event').get()
    writer.append(smallRun())
    writer.close()
    const path = join(at, 'a.slowglow')
    copyFileSync(live, path)
    looks.close()
    const before = reader(path)
    expect([before.standing, before.damage()]).toEqual(['whole', []])
    before.close()
    expect(addNote(path, { written: 'w', by: 'Ada', text: 'It hummed.' })).toBeNull()
    const run = reader(path)
    expect([run.standing, run.notes().length, run.seal().is]).toEqual(['whole', 1, 'whole'])
    run.close()
  })

  const changes: readonly (readonly [string, string])[] = [
    ['an event reworded', `UPDATE event SET text = 'all was well' WHERE seq = (SELECT max(seq) FROM event)`],
    ['an event taken out', 'DELETE FROM event WHERE seq = (SELECT min(seq) FROM event)'],
    [
      'an event put in',
      `INSERT INTO event SELECT 3, t_us, source, what, 'new', rail, step, intent, data, durable FROM event LIMIT 1`,
    ],
    ['another outcome', `UPDATE ending SET outcome = 'completed'`],
    ['another plan', `UPDATE known SET known = replace(known, '0.01', '0.02')`],
    ['a changed resolution', 'UPDATE stream SET resolution = 1'],
    ['a spike flattened', 'UPDATE block SET max = 1 WHERE block = 3'],
    ['a changed byte of readings', `UPDATE block_data SET data = zeroblob(length(data)) WHERE block = 2`],
    ['a block taken out', 'DELETE FROM block_data WHERE block = 1'],
    ['a changed roll-up', 'UPDATE rollup SET min = -5'],
    ['a changed second level', 'UPDATE rollup_blocks SET data = zeroblob(length(data)) WHERE stream = 2'],
    ['a second level taken out', 'DELETE FROM rollup_blocks WHERE stream = 1'],
    ['ticks changed', 'UPDATE tick_block SET from_us = from_us + 1'],
    ['a changed link', `UPDATE chain SET hash = 'x'`],
  ]
  const at = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  const clean = written(longRun(), join(at, 'clean.slowglow'))
  afterAll(() => {
    rmSync(at, { recursive: true, force: true })
  })
  it.each(changes)('breaks on %s', (_what, sql) => {
    const path = join(folder(), 'a.slowglow')
    copyFileSync(clean, path)
    const db = new Database(path)
    expect(db.prepare(sql).run().changes).toBeGreaterThan(0)
    db.close()
    expect(sealOf(path).is).toBe('broken')
  })

  it('is broken where its links were taken out, and open aloud where the last of them were, though the run has an ending', () => {
    const cut = (sql: string): string => {
      const path = join(folder(), 'a.slowglow')
      copyFileSync(clean, path)
      const db = new Database(path)
      db.exec(sql)
      db.close()
      return path
    }
    expect(sealOf(cut('DROP TABLE chain'))).toMatchObject({ is: 'broken' })
    const open = sealOf(cut('DELETE FROM chain WHERE link = (SELECT max(link) FROM chain)'))
    expect(open.is).toBe('open')
    expect(sealAlarm({ seal: open, outcome: 'tripped' })).toMatch(/^SEAL OPEN, though the run has an ending/)
    expect(sealAlarm({ seal: open, outcome: 'interrupted' })).toBeNull()
    expect(sealAlarm({ seal: open, outcome: 'tripped' }, true)).toBeNull()
    expect(sealAlarm({ seal: sealOf(clean), outcome: 'tripped' })).toBeNull()
  })

  it('notices rows put in after the end', () => {
    const path = join(folder(), 'a.slowglow')
    copyFileSync(clean, path)
    const db = new Database(path)
    db.exec('INSERT INTO reading_tail VALUES (1, 999999, 5, 5, 5)')
    db.close()
    expect(sealOf(path)).toMatchObject({ is: 'open', uncovered: 1 })
  })

  it('is whole however the run was cut into batches', () => {
    const entries = smallRun()
    fc.assert(
      fc.property(fc.array(fc.integer({ min: 1, max: 30 }), { maxLength: 8 }), (cuts) => {
        const path = join(folder(), 'a.slowglow')
        const writer = createRunFile(path, { fsync: false })
        let from = 0
        for (const size of [...cuts, entries.length]) {
          writer.append(entries.slice(from, from + size))
          from += size
          if (size % 3 === 0) writer.seal()
        }
        writer.close()
        expect(sealOf(path).is).toBe('whole')
        const run = reader(path)
        expect([...run.entries()]).toEqual(entries)
        run.close()
      }),
      { numRuns: 12 },
    )
  })
})

describe('a run file of format 1', () => {
  it('is read whole and said to have no seal', () => {
    const run = reader(kept)
    expect([...run.entries()]).toEqual(smallRun())
    expect(run.seal()).toEqual({ is: 'none' })
    expect(run.notes()).toEqual([])
    run.close()
  })

  it('takes a note: it is brought to the first format that has them with its measured part as it was', () => {
    const path = join(folder(), 'a.slowglow')
    copyFileSync(kept, path)
    expect(addNote(path, { written: 'w', by: 'b', text: 't' })).toBeNull()
    expect(addNote(path, { written: 'w', by: 'b', text: 'u' })).toBeNull()
    const run = reader(path)
    expect([...run.entries()]).toEqual(smallRun())
    expect(run.notes().map(({ text }) => text)).toEqual(['t', 'u'])
    expect(run.seal()).toEqual({ is: 'none' })
    run.close()
  })
})

describe('a run file of today', () => {
  it('is laid out as the kept one of its format: a change in it is a new format', () => {
    const layout = (path: string): unknown => {
      const db = new Database(path, { readonly: true })
      const found = [
        db.pragma('user_version', { simple: true }),
        db.prepare('SELECT type, name, sql FROM sqlite_schema ORDER BY name').all(),
      ]
      db.close()
      return found
    }
    expect(layout(written(smallRun()))).toEqual(layout(kept3))
  })
})

describe.each([
  [2, kept2],
  [3, kept3],
])('a run file of format %i', (_format, kept_) => {
  it('is read whole, with its seal, its note and its second level as they were', () => {
    const run = reader(kept_)
    const entries = rolledUpRun()
    expect([...run.entries()]).toEqual(entries)
    expect(run.seal()).toMatchObject({ is: 'whole' })
    expect(run.notes()).toEqual([keptNote])
    const { from_us, to_us } = run.span() ?? { from_us: 0, to_us: 0 }
    for (const [stream, width] of [
      [1, 1],
      [1, 3],
      [2, 700],
    ] as const)
      expect(run.overview(stream, width, from_us, to_us).columns).toEqual(
        byHand(entries, stream, width, from_us, to_us),
      )
    run.close()
  })
})

/** First, last, least and most of each pixel column, from the readings one by one. */
function byHand(entries: readonly RunEntry[], stream: number, width: number, from_us: number, to_us: number) {
  const columns = Array.from({ length: width }, (): number[] => [])
  for (const each of entries)
    if (each.entry === 'reading' && each.stream === stream) {
      const column = Math.min(width - 1, Math.floor(((each.t_us - from_us) / (to_us - from_us)) * width))
      columns[column]?.push(Number(`${each.n}e-${each.k}`))
    }
  return columns.flatMap((values, column) =>
    values.length === 0
      ? []
      : [
          {
            ...{ column, n: values.length, first: values[0], last: values.at(-1) },
            ...{ min: Math.min(...values), max: Math.max(...values) },
          },
        ],
  )
}
