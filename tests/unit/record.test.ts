import {
  copyFileSync,
  existsSync,
  readdirSync,
  readFileSync,
  statSync,
  truncateSync,
  writeFileSync,
} from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { describe, expect, it, onTestFinished, vi } from 'vitest'
import { chance } from '../../src/chance/index.js'
import { decimal, most_n } from '../../src/exchange/index.js'
import { parseNumber } from '../../src/line/index.js'
import { createRunFile, openRunFile, type RunEntry, runFileName } from '../../src/record/index.js'
import { event, folder, known, smallRun, tripped } from '../helpers/runs.js'

function opened(path: string) {
  const result = openRunFile(path)
  if ('trouble' in result) throw new Error(result.trouble)
  return result.reader
}
function written(path: string, entries: readonly RunEntry[]): string {
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  return path
}

describe('a run file', () => {
  it('is one file after a clean end and tells the whole run in its order', () => {
    const at = folder()
    const path = written(join(at, 'a.slowglow'), smallRun())
    expect(readdirSync(at)).toEqual(['a.slowglow'])
    const reader = opened(path)
    expect(reader.standing).toBe('whole')
    expect([...reader.entries()]).toEqual(smallRun())
    expect(reader.known()).toEqual(known)
    expect(reader.ending()).toEqual({ t_us: 95_500_000, ending: tripped })
    expect(reader.events().map(({ what }) => what)).toEqual(['begin', 'step', 'step', 'trip'])
    expect(reader.streams().map(({ name }) => name)).toEqual(['HT.V', 'HT.A'])
    reader.close()
    expect(readdirSync(at)).toEqual(['a.slowglow'])
  })

  it('tells what happened without each thing fed and asked, and keeps those', () => {
    const more = [event(2000, { what: 'asked', text: 'set HT' }), event(3000, { what: 'fed', text: 'done' })]
    const run = smallRun().flatMap((entry) => (entry.entry === 'ending' ? [...more, entry] : [entry]))
    const reader = opened(written(join(folder(), 'a.slowglow'), run))
    expect(reader.told().map(({ what }) => what)).toEqual(['begin', 'step', 'step', 'trip'])
    expect(reader.events().map(({ what }) => what)).toEqual(['begin', 'step', 'step', 'trip', 'asked', 'fed'])
    reader.close()
  })

  it('is never written over', () => {
    const path = join(folder(), 'a.slowglow')
    writeFileSync(path, 'something')
    expect(() => createRunFile(path)).toThrow(/exists already/)
    expect(readFileSync(path, 'utf8')).toBe('something')
  })

  it('that cannot be created says where and what to do', () => {
    const file = join(folder(), 'file')
    writeFileSync(file, '')
    expect(() => createRunFile(join(file, 'a.slowglow'))).toThrow(
      /cannot be created .* folder that you can write to/,
    )
  })

  it('can be read while it is being written', () => {
    const path = join(folder(), 'a.slowglow')
    const writer = createRunFile(path)
    const run = smallRun()
    writer.append(run.slice(0, 1000))
    writer.flush()
    const reader = opened(path)
    expect(reader.standing).toBe('open')
    expect([...reader.entries()]).toEqual(run.slice(0, 1000))
    writer.append(run.slice(1000))
    expect([...reader.entries()]).toEqual(run)
    reader.close()
    writer.close()
  })

  it('is complete and closed even while someone still looks at it', () => {
    const path = join(folder(), 'a.slowglow')
    const writer = createRunFile(path, { fsync: false })
    writer.append(smallRun())
    writer.flush()
    const reader = opened(path)
    writer.close()
    expect([...reader.entries()]).toEqual(smallRun())
    reader.close()
    expect([...opened(path).entries()]).toEqual(smallRun())
  })

  it('without an ending is an interrupted run', () => {
    const path = written(join(folder(), 'a.slowglow'), smallRun().slice(0, 500))
    expect(opened(path).ending()).toBeNull()
  })

  it('has durable events in the file when append returns, with all that came before them', () => {
    const at = folder()
    const path = join(at, 'a.slowglow')
    const writer = createRunFile(path)
    writer.append([{ entry: 'reading', stream: 1, t_us: 5, n: 1, k: 0 }, event(6)])
    copyFileSync(path, join(at, 'b.slowglow'))
    copyFileSync(`${path}-wal`, join(at, 'b.slowglow-wal'))
    expect([...opened(join(at, 'b.slowglow')).entries()]).toHaveLength(2)
    writer.close()
  })

  it('without its unfinished part is read as far as it goes, and says so', () => {
    const at = folder()
    const writer = createRunFile(join(at, 'a.slowglow'))
    writer.append(smallRun())
    copyFileSync(join(at, 'a.slowglow'), join(at, 'b.slowglow'))
    const reader = opened(join(at, 'b.slowglow'))
    expect(reader.standing).toBe('wal missing')
    reader.close()
    expect(existsSync(join(at, 'b.slowglow-wal'))).toBe(false)
    writer.close()
  })

  it('says what is not a run file, what is cut short and what is newer', () => {
    const at = folder()
    const path = written(join(at, 'a.slowglow'), smallRun())
    const trouble = (name: string): string => {
      const result = openRunFile(join(at, name))
      return 'trouble' in result ? result.trouble : 'opened'
    }
    expect(trouble('none')).toMatch(/There is no run file/)
    writeFileSync(join(at, 'empty'), '')
    expect(trouble('empty')).toMatch(/is empty/)
    writeFileSync(join(at, 'text'), 'kind: receive\n'.repeat(20))
    expect(trouble('text')).toMatch(/is not a run file/)
    expect(trouble('.')).toMatch(/is not a file/)
    new Database(join(at, 'other')).exec('CREATE TABLE a (b)').close()
    expect(trouble('other')).toMatch(/database, but not a run file/)
    copyFileSync(path, join(at, 'cut'))
    truncateSync(join(at, 'cut'), 4000)
    expect(trouble('cut')).toMatch(/is damaged and cannot be read/)
    copyFileSync(path, join(at, 'newer'))
    const newer = new Database(join(at, 'newer'))
    newer.pragma('user_version = 4')
    newer.close()
    expect(trouble('newer')).toMatch(/format 4.*newer slowglow/)
  })

  it('is open to any tool that reads SQLite', () => {
    const path = written(join(folder(), 'a.slowglow'), smallRun())
    const db = new Database(path, { readonly: true })
    expect(db.prepare('SELECT * FROM summary').get()).toEqual({
      run: known.run,
      started: known.started,
      command: 'rehearse',
      outcome: 'tripped',
      outputs_off: 'confirmed',
      reason: tripped.reason?.text,
    })
    expect(
      db.prepare('SELECT sum(n) n, max(max) max FROM block_statistics WHERE name = ?').get('HT.A'),
    ).toEqual({
      n: 901,
      max: 0.041,
    })
    expect(db.prepare('SELECT count(*) FROM events').pluck().get()).toBe(4)
    db.close()
    const live = join(folder(), 'b.slowglow')
    const writer = createRunFile(live)
    writer.append(smallRun().slice(0, 30))
    writer.flush()
    const other = new Database(live, { readonly: true })
    expect(
      other.prepare('SELECT name, value, unit FROM latest_readings WHERE name = ? LIMIT 2').all('HT.A'),
    ).toEqual([
      { name: 'HT.A', value: 0, unit: 'A' },
      { name: 'HT.A', value: 0.0001, unit: 'A' },
    ])
    other.close()
    writer.close()
  })

  it('keeps what it could not write when the disk is full, and stays readable', () => {
    const path = join(folder(), 'a.slowglow')
    const writer = createRunFile(path, { max_bytes: 200_000 })
    const said: unknown[] = []
    let kept = 0
    for (let i = 0; said.length === 0; i++) {
      try {
        writer.append([event(i, { text: 'x'.repeat(1000) })])
        kept++
      } catch (error) {
        said.push(error)
      }
    }
    expect(String(said[0])).toMatch(/disk that holds .* is full/)
    expect(writer.unwritten()).toHaveLength(1)
    expect(opened(path).events()).toHaveLength(kept)
    expect(() => writer.flush()).toThrow(/full/)
    expect(() => writer.close()).toThrow(/full/)
    expect(opened(path).events()).toHaveLength(kept)
  })
})

describe('what a cut of the power may take of a run file', () => {
  /** How each commit was synced: fsync or not. */
  function watched(): string[] {
    const seen: string[] = []
    let level = ''
    const { exec, pragma } = Database.prototype as unknown as Record<
      'exec' | 'pragma',
      (this: Database.Database, ...given: unknown[]) => unknown
    >
    vi.spyOn(Database.prototype, 'pragma').mockImplementation(function (
      this: Database.Database,
      sql,
      options,
    ) {
      level = /^synchronous = (\w+)/.exec(sql)?.[1] ?? level
      const said = pragma.call(this, sql, options)
      if (/^user_version = /.test(sql)) seen.push(level)
      return said
    })
    vi.spyOn(Database.prototype, 'exec').mockImplementation(function (this: Database.Database, sql) {
      exec.call(this, sql)
      if (sql === 'COMMIT') seen.push(level)
      return this
    })
    vi.useFakeTimers({ toFake: ['performance', 'setTimeout', 'clearTimeout'] })
    onTestFinished(() => {
      vi.useRealTimers()
      vi.restoreAllMocks()
    })
    return seen
  }
  const reading = (t_us: number): RunEntry => ({ entry: 'reading', stream: 1, t_us, n: 1, k: 0 })

  it('is a second of readings: they are synced with the disk once a second, and when they are confirmed', () => {
    const seen = watched()
    const writer = createRunFile(join(folder(), 'a.slowglow'))
    for (let t_ms = 0; t_ms <= 3050; t_ms += 50) {
      writer.append([reading(t_ms * 1000)])
      vi.advanceTimersByTime(50)
    }
    expect(seen).toEqual(['FULL', 'FULL', 'FULL'])
    writer.append([reading(4e6)])
    writer.flush()
    expect(seen).toHaveLength(4)
    // Then nothing more comes.
    writer.append([reading(5e6)])
    vi.advanceTimersByTime(1000)
    expect(seen).toEqual(['FULL', 'FULL', 'FULL', 'FULL', 'FULL'])
    expect(writer.unwritten()).toEqual([])
    writer.close()
  })

  it('by time and not by the batch: many in a second go in without, and are synced within it all the same', () => {
    const seen = watched()
    const writer = createRunFile(join(folder(), 'a.slowglow'))
    const batch = Array.from({ length: 65_536 }, (_, i) => reading(i))
    writer.append(batch)
    writer.append(batch)
    expect(seen).toEqual(['NORMAL', 'NORMAL'])
    vi.advanceTimersByTime(1000)
    expect(seen).toEqual(['NORMAL', 'NORMAL', 'FULL'])
    writer.append(batch)
    writer.flush()
    expect(seen).toEqual(['NORMAL', 'NORMAL', 'FULL', 'NORMAL', 'FULL'])
    writer.close()
  })
})

describe('readings in a run file', () => {
  /** A current read ten times a second with a millisecond of jitter and three counts of noise, between ticks. */
  function longRun(samples: number): RunEntry[] {
    const random = chance(1)
    const entries: RunEntry[] = []
    for (let i = 0; i < samples; i++) {
      if (i % 2 === 0) entries.push({ entry: 'tick', t_us: 100_000 * i, late_us: 0, slept_us: 0 })
      const t_us = 100_000 * i + 20_000 + Math.round(random.normal() * 1000)
      const n = 4000 + Math.round(random.normal() * 3) + (i === 54_321 ? 5000 : 0)
      entries.push({ entry: 'reading', stream: 1, t_us, n, k: 4 })
    }
    return entries
  }

  it('take at most 5 bytes each, in blocks of 256 to 512, ticks included', () => {
    const samples = 100_000
    const path = written(join(folder(), 'a.slowglow'), longRun(samples))
    expect(statSync(path).size / samples).toBeLessThan(5)
    const db = new Database(path, { readonly: true })
    const blocks = db.prepare('SELECT n FROM block ORDER BY block').pluck().all() as number[]
    expect(blocks.slice(0, -1).every((n) => n >= 256 && n <= 512)).toBe(true)
    expect(db.prepare('SELECT count(*) FROM rollup').pluck().get()).toBe(Math.floor(samples / 256 / 32))
    expect(db.prepare('SELECT count(*) FROM tick_block').pluck().get()).toBe(Math.ceil(samples / 2 / 2048))
    db.close()
  })

  it('are exact in any window', () => {
    const run = longRun(3000)
    const reader = opened(written(join(folder(), 'a.slowglow'), run))
    const [from_us, to_us] = [51_234_567, 187_654_321]
    const found = reader.readings(1, from_us, to_us)
    const wanted = run.flatMap((e) =>
      e.entry === 'reading' && e.t_us >= from_us && e.t_us <= to_us ? [e] : [],
    )
    expect([...found.n]).toEqual(wanted.map(({ n }) => n))
    expect([...found.t_us]).toEqual(wanted.map(({ t_us }) => t_us))
    expect(reader.readings(1).t_us).toHaveLength(3000)
    expect(reader.readings(9).t_us).toHaveLength(0)
  })

  it('show a spike of one sample in an overview of a long run', () => {
    const reader = opened(written(join(folder(), 'a.slowglow'), longRun(100_000)))
    const span = reader.span()
    const { columns } = reader.overview(1, 800, span?.from_us ?? 0, span?.to_us ?? 0)
    expect(columns).toHaveLength(800)
    expect(columns.filter(({ max }) => max > 0.6)).toHaveLength(1)
    expect(columns.reduce((sum, { n }) => sum + n, 0)).toBe(100_000)
  })

  it('are taken whatever the line believes, to the last of fifteen digits', () => {
    const texts = ['0.612345678901234', '-999999999999999', '9.99999999999999E-1']
    const readings = texts.map((text, t_us): RunEntry => {
      const value = parseNumber(text)
      expect(value).not.toBeNull()
      return { entry: 'reading', stream: 1, t_us, n: value?.n ?? 0, k: value?.k ?? 0 }
    })
    const reader = opened(written(join(folder(), 'a.slowglow'), readings))
    expect([...reader.entries()]).toEqual(readings)
    reader.close()
    expect(parseNumber(`${most_n + 1}`)).toBeNull()
  })

  it('that no run file can hold take none of their batch along: all of it is still in hand', () => {
    const writer = createRunFile(join(folder(), 'a.slowglow'), { fsync: false })
    const batch: RunEntry[] = [
      { entry: 'reading', stream: 1, t_us: 1, n: 10 * most_n, k: 0 },
      { entry: 'reading', stream: 1, t_us: 2, n: 5, k: 0 },
      event(3, { what: 'trip' }),
    ]
    expect(() => {
      writer.append(batch)
    }).toThrow(RangeError)
    expect(writer.unwritten()).toEqual(batch)
    writer.close()
  })

  it('are the same number everywhere: n / 10^k', () => {
    expect(decimal(1234, 2)).toBe(12.34)
    expect(decimal(-3, 0)).toBe(-3)
    expect(decimal(5, -3)).toBe(5000)
  })
})

describe('the name of a run file', () => {
  it('says when, which set, and differs between runs of the same second', () => {
    const at = new Date(Date.UTC(2026, 10, 1, 10, 15, 7))
    expect(runFileName(at, 'Tern Rock — receiver No. 2', 0.5)).toBe(
      '20261101-101507-tern-rock-receiver-no-2-8000.slowglow',
    )
    expect(runFileName(at, '???', 0)).toBe('20261101-101507-set-0000.slowglow')
  })
})
