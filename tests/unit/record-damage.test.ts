import { copyFileSync, mkdirSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { Command } from 'commander'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { registerExport } from '../../src/cli/commands/export.js'
import { registerReplay } from '../../src/cli/commands/replay.js'
import { registerReport } from '../../src/cli/commands/report.js'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import {
  createRunFile,
  lastRunOf,
  openRunFile,
  RecordTrouble,
  type RunEntry,
} from '../../src/record/index.js'
import { event, folder, known, smallRun } from '../helpers/runs.js'

/** A run with many blocks, events over many pages, and its reason. */
function longRun(): RunEntry[] {
  const [first, ...rest] = smallRun()
  const streams = rest.filter(({ entry }) => entry === 'stream')
  const end = rest.filter(({ entry }) => entry === 'ending')
  const middle = Array.from({ length: 20_000 }, (_, i): RunEntry[] => [
    { entry: 'reading', stream: (i % 2) + 1, t_us: i * 1000, n: (i * 7919) % 1000, k: 2 },
    ...(i % 20 === 0 ? [event(i * 1000, { what: 'judgement', text: `at ${i} ${'x'.repeat(60)}` })] : []),
  ]).flat()
  return first === undefined ? [] : [first, ...streams, ...middle, ...end]
}
function written(entries = longRun()): string {
  const path = join(folder(), 'runs', 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  return path
}
/** Flips bits of the middle of the first block of readings it finds. */
function flipBlock(path: string): void {
  const db = new Database(path, { readonly: true })
  const data = db
    .prepare('SELECT data FROM block_data WHERE stream = 1 AND block = 7')
    .pluck()
    .get() as Buffer
  db.close()
  const bytes = readFileSync(path)
  // A page that was split may hold an older copy in its free part.
  for (let at = bytes.indexOf(data); at >= 0; at = bytes.indexOf(data, at + 1))
    for (let i = 10; i < 30; i++) bytes[at + i] = (bytes[at + i] ?? 0) ^ 0x5a
  writeFileSync(path, bytes)
}
function slowglow(path: string, ...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const cwd = join(path, '..', '..')
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd, env: { XDG_STATE_HOME: cwd } },
  }
  const program = new Command()
  for (const register of [registerShow, registerRuns, registerExport, registerReplay, registerReport])
    register(program, io)
  program.parse(args, { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { out: out.join('\n'), err: err.join('\n'), code }
}

describe('a run file with bytes changed in the middle of its readings', () => {
  it('is shown without them: reason and steps are told, what is missing is said, and the seal is broken', () => {
    const path = written()
    flipBlock(path)
    const { out, code } = slowglow(path, 'show', 'a', '--plot', 'all')
    expect(code).toBe(1)
    expect(out).toContain('Tripped in step 2')
    expect(out).toMatch(/DAMAGED: parts of this file cannot be read[^]*a block of readings or ticks/)
    expect(out).toContain('SEAL BROKEN')
  })

  it('is reported without them: what only the drawing met stands on the page too', () => {
    const path = written()
    flipBlock(path)
    const { err, code } = slowglow(path, 'report', 'a', '--out', 'a.html')
    expect(code).toBe(1)
    expect(err).toMatch(/NOT WHOLE, the run file is damaged: a block of readings/)
    expect(readFileSync(join(path, '..', '..', 'a.html'), 'utf8')).toMatch(/DAMAGED[^]*a block of readings/)
  })

  it('is exported without them, which is said, and not replayed', () => {
    const path = written()
    flipBlock(path)
    const exported = slowglow(path, 'export', 'a', '--format', 'csv', '--json')
    expect(exported.code).toBe(1)
    expect(exported.err).toMatch(/NOT WHOLE, the run file is damaged: a block of readings/)
    const { rows } = JSON.parse(exported.out) as { rows: number }
    expect(rows).toBe(20_000 - 256)
    const { out, code } = slowglow(path, 'replay', 'a')
    expect(code).toBe(1)
    expect(out).toMatch(/Parts of this record cannot be read/)
  })

  it('is not what the next run is held against', () => {
    const run = longRun().map(
      (entry): RunEntry =>
        entry.entry === 'known' ? { ...entry, known: { ...known, command: 'run' } } : entry,
    )
    const path = written(run)
    const at = join(path, '..')
    expect(lastRunOf([at], known.plan.equipment)?.known.run).toBe(known.run)
    truncateSync(path, Math.floor(statSync(path).size / 2))
    expect(lastRunOf([at], known.plan.equipment)).toBeNull()
  })
})

describe('a run file with bytes changed in its second level of statistics', () => {
  it('is drawn from the first, to the last figure, and it is said', () => {
    const path = written()
    const look = () => {
      const opened = openRunFile(path)
      if ('trouble' in opened) throw new Error(opened.trouble)
      const { columns } = opened.reader.overview(1, 40, 0, 20e6)
      const damage = opened.reader.damage()
      opened.reader.close()
      return { columns, damage }
    }
    const whole = look()
    expect(whole.damage).toEqual([])
    const db = new Database(path)
    const { changes } = db
      .prepare('UPDATE rollup_blocks SET data = CAST(substr(data, 1, 700) || zeroblob(1096) AS BLOB)')
      .run()
    expect(changes).toBeGreaterThan(0)
    db.close()
    const { columns, damage } = look()
    expect(columns).toEqual(whole.columns)
    expect(damage).toEqual([expect.stringMatching(/^the second level of statistics: .*damaged/)])
  })
})

describe('a run with two endings, the second of a take-over', () => {
  it('did not end as the first says where the second cannot be read', () => {
    const run = longRun()
    const first = run.at(-1)
    if (first?.entry !== 'ending') throw new Error('no ending')
    const path = written([...run, { ...first, ending: { ...first.ending, outcome: 'failed' } }])
    const db = new Database(path)
    db.prepare("UPDATE ending SET ending = '{' WHERE seq = (SELECT max(seq) FROM ending)").run()
    db.close()
    const opened = openRunFile(path)
    if ('trouble' in opened) throw new Error(opened.trouble)
    expect(opened.reader.ending()).toBeNull()
    expect(opened.reader.damage()).toEqual([expect.stringContaining('the ending')])
    opened.reader.close()
  })
})

describe('a run file that does not say which block is its last', () => {
  it('gives every block that can be read all the same', () => {
    let number = 1
    const anything = (): number => (number = (number * 48_271) % 2_147_483_647)
    const ticks = Array.from(
      { length: 50_000 },
      (_, i): RunEntry => ({ entry: 'tick', t_us: i * 1000, late_us: anything(), slept_us: anything() }),
    )
    const path = written([...longRun().slice(0, 1), ...ticks])
    const db = new Database(path, { readonly: true })
    const page = db
      .prepare<[], number>(
        "SELECT pageno FROM dbstat WHERE name = 'tick_block' AND pagetype = 'leaf' ORDER BY path DESC LIMIT 1",
      )
      .pluck()
      .get()
    db.close()
    const bytes = readFileSync(path)
    bytes.fill(0, ((page ?? 0) - 1) * 8192, (page ?? 0) * 8192)
    writeFileSync(path, bytes)
    const opened = openRunFile(path)
    if ('trouble' in opened) throw new Error(opened.trouble)
    const there = [...opened.reader.entries()].filter(({ entry }) => entry === 'tick')
    expect(there.length).toBeGreaterThan(20_000)
    expect(there.length).toBeLessThan(50_000)
    expect(there.slice(0, 20_000)).toEqual(ticks.slice(0, 20_000))
    opened.reader.close()
  })
})

describe('a run file that is cut short', () => {
  it('is shown, listed and exported as far as it goes, and taken as interrupted where its ending is gone', () => {
    const path = written()
    truncateSync(path, Math.floor(statSync(path).size * 0.8))
    const shown = slowglow(path, 'show', 'a')
    expect(shown).toMatchObject({ err: '', code: 1 })
    expect(shown.out).toContain(`Run ${known.run}`)
    expect(shown.out).toMatch(/DAMAGED[^]*the end of the file: it is cut short; a copy broke off/)
    expect(slowglow(path, 'runs').out).toMatch(/DAMAGED: the end of the file/)
    const exported = slowglow(path, 'export', 'a', '--format', 'jsonl', '--json')
    expect(exported.code).toBe(1)
    const { rows } = JSON.parse(exported.out) as { rows: number }
    expect(rows).toBeGreaterThan(500)
    expect(rows).toBeLessThan(longRun().length)
    expect(slowglow(path, 'show', 'a', '--note', 'found so').err).toMatch(/is cut short/)
  })
})

describe('a run file without the part that holds its newest entries', () => {
  it('is damaged to every reader: told, listed and exported as that, not replayed, and no run to hold the next against', () => {
    const at = folder()
    const path = join(at, 'runs', 'a.slowglow')
    mkdirSync(join(at, 'runs'))
    const writer = createRunFile(join(at, 'live.slowglow'))
    const run = longRun().map(
      (entry): RunEntry =>
        entry.entry === 'known' ? { ...entry, known: { ...entry.known, command: 'run' } } : entry,
    )
    writer.append(run.slice(0, 9000))
    writer.append(run.slice(9000, 9100))
    const db = new Database(join(at, 'live.slowglow'))
    db.pragma('wal_checkpoint(PASSIVE)')
    db.close()
    writer.append(run.slice(9100))
    copyFileSync(join(at, 'live.slowglow'), path)
    writer.close()
    expect(slowglow(path, 'show', 'a')).toMatchObject({
      code: 1,
      out: expect.stringMatching(/DAMAGED[^]*the newest part of the run: .*-wal is missing/) as string,
    })
    expect(slowglow(path, 'runs').out).toMatch(/DAMAGED: the newest part/)
    expect(slowglow(path, 'export', 'a', '--format', 'csv').err).toMatch(/NOT WHOLE.*the newest part/)
    expect(slowglow(path, 'replay', 'a').out).toMatch(/cannot be read.*the newest part/)
    expect(lastRunOf([join(at, 'runs')], known.plan.equipment)).toBeNull()
  })

  it('lacks nothing where its seal covers its ending: it was looked at as it was closed', () => {
    const at = folder()
    const writer = createRunFile(join(at, 'a.slowglow'), { fsync: false })
    writer.append(smallRun())
    writer.flush()
    const looking = openRunFile(join(at, 'a.slowglow'))
    writer.close()
    copyFileSync(join(at, 'a.slowglow'), join(at, 'b.slowglow'))
    if ('reader' in looking) looking.reader.close()
    const opened = openRunFile(join(at, 'b.slowglow'))
    if ('trouble' in opened) throw new Error(opened.trouble)
    expect(opened.reader.damage()).toEqual([])
    expect([...opened.reader.entries()]).toEqual(smallRun())
    opened.reader.close()
  })
})

describe('a -wal that is torn', () => {
  it.each(['cut', 'changed'])('(%s) gives every entry before the tear, in order, and nothing else', (how) => {
    const at = folder()
    const path = join(at, 'a.slowglow')
    const writer = createRunFile(path)
    const run = longRun().slice(0, 9000)
    for (let i = 0; i < run.length; i += 500) {
      writer.append(run.slice(i, i + 500))
      writer.flush()
    }
    const torn = join(at, 'torn.slowglow')
    copyFileSync(path, torn)
    copyFileSync(`${path}-wal`, `${torn}-wal`)
    const size = statSync(`${torn}-wal`).size
    if (how === 'cut') truncateSync(`${torn}-wal`, Math.floor(size * 0.7))
    else {
      const bytes = readFileSync(`${torn}-wal`)
      bytes[Math.floor(size * 0.7)] = (bytes[Math.floor(size * 0.7)] ?? 0) ^ 0xff
      writeFileSync(`${torn}-wal`, bytes)
    }
    const opened = openRunFile(torn)
    if ('trouble' in opened) throw new Error(opened.trouble)
    const there = [...opened.reader.entries()]
    expect(there.length).toBeGreaterThan(1000)
    expect(there.length).toBeLessThan(run.length)
    expect(there).toEqual(run.slice(0, there.length))
    expect(opened.reader.standing).toBe('open')
    expect(opened.reader.ending()).toBeNull()
    opened.reader.close()
    writer.close()
  })
})

describe('a run file that another program holds', () => {
  it('is told as that, and neither as damaged nor as broken in its seal', () => {
    const path = written()
    const opened = openRunFile(path)
    if ('trouble' in opened) throw new Error(opened.trouble)
    const holder = new Database(path)
    holder.exec('BEGIN EXCLUSIVE')
    const busy = { code: 'cannot read', message: expect.stringMatching(/cannot be read just now/) as string }
    for (const work of [() => opened.reader.events(), () => opened.reader.seal()])
      expect(work).toThrow(expect.objectContaining(busy))
    expect(opened.reader.damage()).toEqual([])
    expect(openRunFile(path)).toEqual({ trouble: busy.message })
    holder.exec('ROLLBACK')
    expect(opened.reader.events().length).toBeGreaterThan(0)
    opened.reader.close()
    holder.close()
  }, 30_000)
})

describe('any damage', () => {
  it('is a sentence or a file read in part, never a crash, and never invents an entry', () => {
    const whole = readFileSync(written())
    const told = new Set(longRun().map((entry) => JSON.stringify(entry)))
    fc.assert(
      fc.property(
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.integer({ min: 1, max: 3000 }),
        (where, many) => {
          const bytes = Buffer.from(whole)
          const from = 100 + Math.floor(where * (bytes.length - 101))
          for (let i = from; i < Math.min(bytes.length, from + many); i++)
            bytes[i] = (bytes[i] ?? 0) ^ (1 + (i % 255))
          const path = join(folder(), 'a.slowglow')
          writeFileSync(path, bytes)
          const opened = openRunFile(path)
          if ('trouble' in opened) return
          try {
            const found = [...opened.reader.entries()]
            const readings = found.filter(({ entry }) => entry === 'reading')
            for (const entry of readings) expect(told.has(JSON.stringify(entry))).toBe(true)
            if (found.length < told.size) expect(opened.reader.damage()).not.toEqual([])
          } catch (error) {
            expect(error).toBeInstanceOf(RecordTrouble)
          } finally {
            opened.reader.close()
          }
        },
      ),
      { numRuns: 30 },
    )
  })
})
