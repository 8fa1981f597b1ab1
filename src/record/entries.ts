import type Database from 'better-sqlite3'
import { decodeColumns } from './codec.js'
import { RecordTrouble } from './trouble.js'
import type { Known, RunEnding, RunEntry, RunEvent, Stream } from './types.js'

/** How rows of the four plain tables become what they tell. */
export interface Rows {
  known(row: unknown): Known
  stream(row: unknown): Stream
  event(row: unknown): RunEvent
  ending(row: unknown): { readonly t_us: number; readonly ending: RunEnding }
}

/** All entries by their place in the one order: a merge of tables, streams and ticks. Memory: one block of each. */
export function* inOrder(db: Database.Database, rows: Rows): Generator<RunEntry, void> {
  const streams = db
    .prepare<[], number>('SELECT stream FROM block UNION SELECT stream FROM reading_tail')
    .pluck()
    .all()
  const sources: Generator<Placed, void>[] = [
    plain(db, 'known', 'seq, known', (row) => ({ entry: 'known', known: rows.known(row) })),
    plain(db, 'stream', 'seq, id, name, unit, rail, resolution', (row) => ({
      entry: 'stream',
      stream: rows.stream(row),
    })),
    plain(db, 'event', '*', (row) => ({ entry: 'event', event: rows.event(row) })),
    plain(db, 'ending', 'seq, t_us, ending', (row) => ({ entry: 'ending', ...rows.ending(row) })),
    ticks(db),
    ...streams.map((stream) => readings(db, stream)),
  ]
  const heads = sources.map((source) => source.next())
  for (;;) {
    let next = -1
    let lowest = Infinity
    heads.forEach((head, i) => {
      if (head.done === true || head.value.seq >= lowest) return
      lowest = head.value.seq
      next = i
    })
    const head = heads[next]
    const source = sources[next]
    if (head === undefined || head.done === true || source === undefined) return
    yield head.value.entry
    heads[next] = source.next()
  }
}

interface Placed {
  readonly seq: number
  readonly entry: RunEntry
}

const rowsAtATime = 256

function* plain(
  db: Database.Database,
  table: string,
  columns: string,
  entry: (row: unknown) => RunEntry,
): Generator<Placed, void> {
  const query = db.prepare<[number], { readonly seq: number }>(
    `SELECT ${columns} FROM ${table} WHERE seq > ? ORDER BY seq LIMIT ${rowsAtATime}`,
  )
  let seq = -1
  for (;;) {
    const found = query.all(seq)
    for (const row of found) {
      seq = row.seq
      yield { seq, entry: entry(row) }
    }
    if (found.length < rowsAtATime) return
  }
}

function* readings(db: Database.Database, stream: number): Generator<Placed, void> {
  const of = (columns: Columns): Generator<Placed, void> =>
    each(columns, (t_us, n, k) => ({ entry: 'reading', stream, t_us, n, k }))
  const block = db.prepare<[number, number], { data: unknown }>(
    'SELECT data FROM block_data WHERE stream = ? AND block = ?',
  )
  for (let i = 0; ; i++) {
    const row = block.get(stream, i)
    if (row === undefined) break
    yield* of(columnsOf(row.data))
  }
  const tail = db.prepare<[number], number[]>(
    'SELECT t_us, n, k, seq FROM reading_tail WHERE stream = ? ORDER BY seq',
  )
  yield* of(turned(tail.raw().all(stream)))
}

function* ticks(db: Database.Database): Generator<Placed, void> {
  const of = (columns: Columns): Generator<Placed, void> =>
    each(columns, (t_us, late_us, slept_us) => ({ entry: 'tick', t_us, late_us, slept_us }))
  const block = db.prepare<[number], { data: unknown }>('SELECT data FROM tick_block WHERE block = ?')
  for (let i = 0; ; i++) {
    const row = block.get(i)
    if (row === undefined) break
    yield* of(columnsOf(row.data))
  }
  yield* of(
    turned(
      db.prepare<[], number[]>('SELECT t_us, late_us, slept_us, seq FROM tick_tail ORDER BY seq').raw().all(),
    ),
  )
}

type Columns = readonly (ArrayLike<number> | undefined)[]

function columnsOf(data: unknown): Columns {
  if (!(data instanceof Uint8Array))
    throw new RecordTrouble('damaged', 'A block in this run file is not a block.')
  return decodeColumns(data, 4)
}

function turned(rows: readonly number[][]): Columns {
  return [0, 1, 2, 3].map((i) => rows.map((row) => row[i] ?? 0))
}

function* each(
  [t_us, a, b, seq]: Columns,
  entry: (t_us: number, a: number, b: number) => RunEntry,
): Generator<Placed, void> {
  for (let i = 0; i < (seq?.length ?? 0); i++)
    yield { seq: seq?.[i] ?? 0, entry: entry(t_us?.[i] ?? 0, a?.[i] ?? 0, b?.[i] ?? 0) }
}
