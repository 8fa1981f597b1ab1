import type Database from 'better-sqlite3'
import { decodeColumns } from './codec.js'
import { aBlock, type Damage } from './damage.js'
import { RecordTrouble } from './trouble.js'
import type { Known, RunEnding, RunEntry, RunEvent, Stream } from './types.js'

/** How rows of the four plain tables become what they tell. */
export interface Rows {
  known(row: unknown): Known
  stream(row: unknown): Stream
  event(row: unknown): RunEvent
  ending(row: unknown): { readonly t_us: number; readonly ending: RunEnding }
}

/**
 * All entries by their place in the one order: a merge of tables, streams and ticks. Memory: one block of each. What is damaged is
 * left out and noted.
 */
export function* inOrder(db: Database.Database, rows: Rows, damage: Damage): Generator<RunEntry, void> {
  const streams = new Set(
    ['stream FROM block', 'stream FROM reading_tail', 'id FROM stream'].flatMap(
      (from) =>
        damage.past('some names of streams', () =>
          db.prepare<[], number>(`SELECT DISTINCT ${from} ORDER BY 1`).pluck().all(),
        ) ?? [],
    ),
  )
  const from = { db, damage }
  const sources: Generator<Placed, void>[] = [
    plain(from, 'known', 'seq, known', (row) => ({ entry: 'known', known: rows.known(row) })),
    plain(from, 'stream', 'seq, id, name, unit, rail, resolution', (row) => ({
      entry: 'stream',
      stream: rows.stream(row),
    })),
    plain(from, 'event', '*', (row) => ({ entry: 'event', event: rows.event(row) })),
    plain(from, 'ending', 'seq, t_us, ending', (row) => ({ entry: 'ending', ...rows.ending(row) })),
    ticks(from),
    ...[...streams].map((stream) => readings(from, stream)),
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

interface From {
  readonly db: Database.Database
  readonly damage: Damage
}

const rowsAtATime = 256

function* plain(
  { db, damage }: From,
  table: string,
  columns: string,
  entry: (row: unknown) => RunEntry,
): Generator<Placed, void> {
  const query = db.prepare<[number], { readonly seq: number }>(
    `SELECT ${columns} FROM ${table} WHERE seq > ? ORDER BY seq LIMIT ${rowsAtATime}`,
  )
  let seq = -1
  for (;;) {
    const what = `some ${table} entries`
    const read = damage.past(what, () => query.all(seq))
    // Where a page is damaged: what can be read of all that is left, from both its ends.
    const found = read ?? damage.rows(db, `${columns} FROM ${table}`, `${table} entries`)
    for (const row of found) {
      if (row.seq <= seq) continue
      seq = row.seq
      const told = damage.past(what, () => entry(row))
      if (told !== null) yield { seq, entry: told }
    }
    if (read === null || found.length < rowsAtATime) return
  }
}

function* readings({ db, damage }: From, stream: number): Generator<Placed, void> {
  const of = (columns: Columns): Generator<Placed, void> =>
    each(columns, (t_us, n, k) => ({ entry: 'reading', stream, t_us, n, k }))
  const block = db.prepare<[number, number], { data: unknown }>(
    'SELECT data FROM block_data WHERE stream = ? AND block = ?',
  )
  const last = db.prepare<[number], number>('SELECT max(block) FROM block_data WHERE stream = ?').pluck()
  for (const columns of blocksOf(
    damage,
    (i) => block.get(stream, i),
    () => last.get(stream),
  ))
    yield* of(columns)
  const tail = db.prepare<[number], number[]>(
    'SELECT t_us, n, k, seq FROM reading_tail WHERE stream = ? ORDER BY seq',
  )
  yield* of(turned(damage.past('the newest readings', () => tail.raw().all(stream)) ?? []))
}

function* ticks({ db, damage }: From): Generator<Placed, void> {
  const of = (columns: Columns): Generator<Placed, void> =>
    each(columns, (t_us, late_us, slept_us) => ({ entry: 'tick', t_us, late_us, slept_us }))
  const block = db.prepare<[number], { data: unknown }>('SELECT data FROM tick_block WHERE block = ?')
  const last = db.prepare<[], number>('SELECT max(block) FROM tick_block').pluck()
  for (const columns of blocksOf(
    damage,
    (i) => block.get(i),
    () => last.get(),
  ))
    yield* of(columns)
  const tail = db.prepare<[], number[]>('SELECT t_us, late_us, slept_us, seq FROM tick_tail ORDER BY seq')
  yield* of(turned(damage.past('the newest ticks', () => tail.raw().all()) ?? []))
}

/** Blocks in their order, those that are damaged left out. */
function* blocksOf(
  damage: Damage,
  row: (block: number) => { readonly data: unknown } | undefined,
  last: () => number | null | undefined,
): Generator<Columns, void> {
  const end = damage.past(aBlock, () => last() ?? -1) ?? Infinity
  let failed = 0
  for (let i = 0; i <= end && failed < failed_most; i++) {
    const found = damage.past(aBlock, () => row(i) ?? 'none')
    if (found === 'none' && end === Infinity) return
    const columns =
      found === null ? null : damage.past(aBlock, () => columnsOf(found === 'none' ? undefined : found.data))
    // Which is the last is only searched for where the file does not say it.
    failed = found === null && end === Infinity ? failed + 1 : 0
    if (columns !== null) yield columns
  }
}

/** Blocks in a row that cannot be read before the rest is given up, where nothing says which is the last: many pages' worth. */
const failed_most = 64

type Columns = readonly (ArrayLike<number> | undefined)[]

function columnsOf(data: unknown): Columns {
  if (!(data instanceof Uint8Array)) throw new RecordTrouble('damaged', 'it is missing')
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
