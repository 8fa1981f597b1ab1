import Database from 'better-sqlite3'
import type { z } from 'zod'
import { checkChain, type Seal } from './chain.js'
import { decodeColumns } from './codec.js'
import { inOrder } from './entries.js'
import { blocksInRollup } from './layout.js'
import { runNameOf } from './names.js'
import { type Note, notesOf } from './note.js'
import { damaged, openDatabase, type Standing } from './open.js'
import { endingShape, eventShape, knownShape, streamShape } from './shapes.js'
import { type Overview, Thinning } from './thin.js'
import { RecordTrouble } from './trouble.js'
import type { Known, RunEnding, RunEntry, RunEvent, Stream } from './types.js'

/** Readings of one stream: value = n / 10^k, arrays of equal length in the order of arrival. */
export interface Readings {
  readonly t_us: Float64Array
  readonly n: Float64Array
  readonly k: Float64Array
}

/** A run file being read; also while it is being written. All but `close` throw `RecordTrouble` where the file is damaged. */
export interface RunReader {
  readonly path: string
  readonly standing: Standing
  /** Null where the recorder was lost before it was told. The run's name without the extension that older records have in it. */
  known(): Known | null
  streams(): readonly Stream[]
  /** In the order of the run. */
  events(): readonly RunEvent[]
  /** The same without each thing fed and asked: those are for a replay, and a long run has a hundred thousand. */
  told(): readonly RunEvent[]
  /** Null: the run is live, or was interrupted. */
  ending(): { readonly t_us: number; readonly ending: RunEnding } | null
  /** First and last moment with a reading or tick. */
  span(): { readonly from_us: number; readonly to_us: number } | null
  /** Every reading of a stream from from_us to to_us, both included. */
  readings(stream: number, from_us?: number, to_us?: number): Readings
  /** First, last, lowest and highest of each of `width` pixel columns from from_us to to_us, both included. */
  overview(stream: number, width: number, from_us: number, to_us: number): Overview
  /** Whether the measured part is as it was written: reads the whole file. */
  seal(): Seal
  /** What was written to it afterwards. */
  notes(): readonly Note[]
  /** The whole run in its one order, as a replay is fed. */
  entries(): Generator<RunEntry, void>
  close(): void
}

export function openRunFile(path: string): { readonly reader: RunReader } | { readonly trouble: string } {
  const opened = openDatabase(path)
  if ('trouble' in opened) return opened
  try {
    const reader = read(opened.db, path, opened.standing)
    reader.known()
    reader.ending()
    reader.span()
    return { reader }
  } catch (error) {
    opened.db.close()
    return { trouble: asTrouble(error, path).message }
  }
}

function read(db: Database.Database, path: string, standing: Standing): RunReader {
  /** One snapshot for all queries inside, and SQLite's own words for damage turned into ours. */
  const guarded = <T>(work: () => T): T => {
    try {
      return db.inTransaction ? work() : db.transaction(work)()
    } catch (error) {
      throw asTrouble(error, path)
    }
  }
  const parsed = <T>(shape: z.ZodType<T>, value: unknown, what: string): T => {
    const result = shape.safeParse(typeof value === 'string' ? fromJson(value) : value)
    if (result.success) return result.data
    const issue = result.error.issues[0]
    throw new RecordTrouble(
      'damaged',
      damaged(path, `${what}: ${issue?.path.join('.') ?? ''} ${issue?.message ?? ''}`),
    )
  }
  const eventOf = (row: unknown): RunEvent => {
    const { source, data, durable, ...rest } = row as Record<string, unknown>
    return parsed(
      eventShape,
      { ...rest, from: source, data: fromJson(data), durable: durable === 1 },
      'an event',
    )
  }
  const streamOf = (row: unknown): Stream => parsed(streamShape, row, 'a stream')
  const knownOf = (row: unknown): Known =>
    parsed(knownShape, (row as Record<string, unknown>)['known'], 'what was known')
  const endingOf = (row: unknown): { t_us: number; ending: RunEnding } => {
    const { t_us, ending } = row as Record<string, unknown>
    return { t_us: Number(t_us), ending: parsed(endingShape, ending, 'the ending') }
  }

  const all = (sql: string): unknown[] => guarded(() => db.prepare(sql).all())
  const blocks = (where: string) =>
    db
      .prepare<number[], number[]>(
        `SELECT block, n, from_us, to_us, first, last, min, max FROM block WHERE stream = ? AND ${where} ORDER BY block`,
      )
      .raw()
  const dataOf = db.prepare<[number, number], { data: unknown }>(
    'SELECT data FROM block_data WHERE stream = ? AND block = ?',
  )
  const columnsOf = (stream: number, block: number): [Float64Array, Float64Array, Float64Array] => {
    const data = dataOf.get(stream, block)?.data
    if (!(data instanceof Uint8Array))
      throw new RecordTrouble('damaged', damaged(path, 'a block of readings is missing'))
    const [t_us, n, k] = decodeColumns(data, 3)
    return [t_us ?? none, n ?? none, k ?? none]
  }
  const tailOf = (stream: number): [Float64Array, Float64Array, Float64Array] => {
    const rows = db
      .prepare<[number], number[]>('SELECT t_us, n, k FROM reading_tail WHERE stream = ? ORDER BY seq')
      .raw()
      .all(stream)
    const column = (i: number): Float64Array => Float64Array.from(rows, (row) => row[i] ?? 0)
    return [column(0), column(1), column(2)]
  }

  return {
    path,
    standing,
    known: () => {
      const [known] = all('SELECT known FROM known ORDER BY seq LIMIT 1').map(knownOf)
      return known === undefined ? null : { ...known, run: runNameOf(known.run) }
    },
    streams: () => all('SELECT id, name, unit, rail, resolution FROM stream ORDER BY seq').map(streamOf),
    events: () => all('SELECT * FROM event ORDER BY seq').map(eventOf),
    told: () => all(`SELECT * FROM event WHERE what NOT IN ('fed', 'asked') ORDER BY seq`).map(eventOf),
    ending: () => all('SELECT t_us, ending FROM ending ORDER BY seq DESC LIMIT 1').map(endingOf)[0] ?? null,
    span: () =>
      guarded(() => {
        const [from_us, to_us] =
          db
            .prepare<[], (number | null)[]>(
              `SELECT min(a), max(b) FROM (
                 SELECT min(from_us) a, max(to_us) b FROM block UNION ALL SELECT min(t_us), max(t_us) FROM reading_tail
                 UNION ALL SELECT min(from_us), max(to_us) FROM tick_block UNION ALL SELECT min(t_us), max(t_us) FROM tick_tail
                 UNION ALL SELECT min(t_us), max(t_us) FROM event)`,
            )
            .raw()
            .get() ?? []
        return typeof from_us === 'number' && typeof to_us === 'number' ? { from_us, to_us } : null
      }),
    readings: (stream, from_us = 0, to_us = Infinity) =>
      guarded(() => {
        const parts = blocks('to_us >= ? AND from_us <= ?')
          .all(stream, from_us, to_us)
          .map(([block]) => columnsOf(stream, block ?? 0))
        return within([...parts, tailOf(stream)], from_us, to_us)
      }),
    overview: (stream, width, from_us, to_us) =>
      guarded(() => {
        const thinning = new Thinning(from_us, to_us, width)
        const outside = (from: number, to: number): boolean => to < from_us || from > to_us
        const takeBlock = ([
          block = 0,
          n = 0,
          from = 0,
          to = 0,
          first = 0,
          last = 0,
          min = 0,
          max = 0,
        ]: number[]): void => {
          if (outside(from, to) || thinning.takeWhole({ n, from_us: from, to_us: to, first, last, min, max }))
            return
          thinning.takeEach(...columnsOf(stream, block))
        }
        const rollups = db
          .prepare<[number], number[]>(
            'SELECT rollup, n, from_us, to_us, first, last, min, max FROM rollup WHERE stream = ? ORDER BY rollup',
          )
          .raw()
          .all(stream)
        const inRollup = blocks('block >= ? AND block < ?')
        for (const [rollup = 0, n = 0, from = 0, to = 0, first = 0, last = 0, min = 0, max = 0] of rollups) {
          if (outside(from, to) || thinning.takeWhole({ n, from_us: from, to_us: to, first, last, min, max }))
            continue
          inRollup.all(stream, rollup * blocksInRollup, (rollup + 1) * blocksInRollup).forEach(takeBlock)
        }
        blocks('block >= ?')
          .all(stream, rollups.length * blocksInRollup)
          .forEach(takeBlock)
        thinning.takeEach(...tailOf(stream))
        return thinning.overview()
      }),
    seal: () => guarded(() => checkChain(db)),
    notes: () => guarded(() => notesOf(db)),
    *entries() {
      const own = !db.inTransaction
      try {
        if (own) db.exec('BEGIN')
        yield* inOrder(db, { known: knownOf, stream: streamOf, event: eventOf, ending: endingOf })
      } catch (error) {
        throw asTrouble(error, path)
      } finally {
        if (own && db.inTransaction) db.exec('ROLLBACK')
      }
    },
    close: () => {
      db.close()
    },
  }
}

/** SQLite's own word for damage turned into ours; any other error is our fault and goes on as it is. */
function asTrouble(error: unknown, path: string): RecordTrouble {
  if (error instanceof RecordTrouble) return error
  if (error instanceof Database.SqliteError)
    return new RecordTrouble('damaged', damaged(path, error.message), { cause: error })
  throw error
}

const none = new Float64Array(0)

function within(
  parts: [Float64Array, Float64Array, Float64Array][],
  from_us: number,
  to_us: number,
): Readings {
  const length = parts.reduce((sum, [t_us]) => sum + t_us.length, 0)
  const [t_us, n, k] = [new Float64Array(length), new Float64Array(length), new Float64Array(length)]
  let count = 0
  for (const [times, ns, ks] of parts)
    for (let i = 0; i < times.length; i++) {
      const t = times[i] ?? 0
      if (t < from_us || t > to_us) continue
      t_us[count] = t
      n[count] = ns[i] ?? 0
      k[count++] = ks[i] ?? 0
    }
  return { t_us: t_us.subarray(0, count), n: n.subarray(0, count), k: k.subarray(0, count) }
}

/** Undefined where it is not JSON; the shape then says what was expected. */
function fromJson(text: unknown): unknown {
  if (typeof text !== 'string') return undefined
  try {
    return JSON.parse(text) as unknown
  } catch {
    return undefined
  }
}
