import Database from 'better-sqlite3'
import type { z } from 'zod'
import { checkChain, newestLink, type Seal, standsAs } from './chain.js'
import { Damage } from './damage.js'
import { inOrder } from './entries.js'
import { bounds } from './layout.js'
import { levelsOf, type ReadingColumns } from './levels.js'
import { runNameOf } from './names.js'
import { type Note, notesOf } from './note.js'
import { isOfTheBytes, openDatabase, type Standing, unreadable } from './open.js'
import { endingShape, eventShape, knownShape, streamShape } from './shapes.js'
import type { Overview } from './thin.js'
import { RecordTrouble } from './trouble.js'
import type { Known, RunEnding, RunEntry, RunEvent, Stream } from './types.js'

/** Readings of one stream: value = n / 10^k, arrays of equal length in the order of arrival. */
export interface Readings {
  readonly t_us: Float64Array
  readonly n: Float64Array
  readonly k: Float64Array
}

/**
 * A run file being read; also while it is being written. Where the file is damaged each gives what can be read, and `damage` says
 * what could not; nothing takes its place.
 */
export interface RunReader {
  readonly path: string
  readonly standing: Standing
  /** Null where the recorder was lost before it was told. The run's name without the extension that older records have in it. */
  known(): Known | null
  streams(): readonly Stream[]
  /** In the order of the run. */
  events(): readonly RunEvent[]
  /** The same without each thing fed and asked: those are for a replay, and a long run has a hundred thousand. Both ends belong. */
  told(from_us?: number, to_us?: number): readonly RunEvent[]
  /** Null: the run is live, or was interrupted; or how it ended cannot be read, which `damage` then says. */
  ending(): { readonly t_us: number; readonly ending: RunEnding } | null
  /** First and last moment with a reading or tick. */
  span(): { readonly from_us: number; readonly to_us: number } | null
  /** Every reading of a stream from from_us to to_us, both included. */
  readings(stream: number, from_us?: number, to_us?: number): Readings
  /** First, last, lowest and highest of each of `width` pixel columns from from_us to to_us, both included. */
  overview(stream: number, width: number, from_us: number, to_us: number): Overview
  /** Whether the measured part is as it was written: reads the whole file. */
  seal(): Seal
  /** The newest link of the seal as it stands in the file, held against nothing; null where there is none. */
  lastLink(): string | null
  /** What was written to it afterwards. */
  notes(): readonly Note[]
  /** The whole run in its one order, as a replay is fed. */
  entries(): Generator<RunEntry, void>
  /** What could not be read so far, in sentences; the seal looks at everything, the others only at what they give. */
  damage(): readonly string[]
  close(): void
}

export function openRunFile(path: string): { readonly reader: RunReader } | { readonly trouble: string } {
  const opened = openDatabase(path)
  if ('trouble' in opened) return opened
  try {
    const reader = read(opened.db, path, standsAs(opened))
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
    const own = !db.inTransaction
    try {
      if (own) db.exec('BEGIN')
      return work()
    } catch (error) {
      throw asTrouble(error, path)
    } finally {
      // Nothing was written; and after damage was met a COMMIT would fail for it.
      if (own && db.inTransaction) db.exec('ROLLBACK')
    }
  }
  const damage = new Damage()
  if (standing === 'cut short') damage.note('the end of the file', 'it is cut short; a copy broke off')
  if (standing === 'wal missing')
    damage.note(
      'the newest part of the run',
      `${path}-wal is missing: this file was copied or moved without it, and ends earlier than the run did. Fetch that part from where the run was made`,
    )
  const parsed = <T>(shape: z.ZodType<T>, value: unknown, what: string): T => {
    const result = shape.safeParse(typeof value === 'string' ? fromJson(value) : value)
    if (result.success) return result.data
    const issue = result.error.issues[0]
    throw new RecordTrouble('damaged', `${what}: ${issue?.path.join('.') ?? ''} ${issue?.message ?? ''}`)
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

  /** What a table tells, in its order; rows that say nothing are left out and noted. */
  const all = <T extends object>(select: string, table: string, of: (row: unknown) => T): T[] =>
    guarded(() =>
      damage
        .rows(db, select, table)
        .map((row) => damage.past(`some ${table}`, () => of(row)))
        .filter((each) => each !== null),
    )
  const levels = levelsOf(db, damage)

  return {
    path,
    standing,
    known: () => {
      const [known] = all('seq, known FROM known', 'words on what was known before', knownOf)
      return known === undefined ? null : { ...known, run: runNameOf(known.run) }
    },
    streams: () => all('seq, id, name, unit, rail, resolution FROM stream', 'meanings of streams', streamOf),
    events: () => all('* FROM event', 'events', eventOf),
    told: (from_us = 0, to_us = bounds.t_us) =>
      all(
        `* FROM event WHERE what NOT IN ('fed', 'asked') AND t_us >= ${timeIn(from_us)} AND t_us <= ${timeIn(to_us)}`,
        'events',
        eventOf,
      ),
    ending: () =>
      guarded(() =>
        damage.past('some words on the ending', () => {
          // The last one or none: where a take-over's cannot be read, the one before it is not how the run ended.
          const last = db.prepare('SELECT seq, t_us, ending FROM ending ORDER BY seq DESC LIMIT 1').get()
          return last === undefined ? null : endingOf(last)
        }),
      ),
    span: () =>
      guarded(() => {
        const spans = spanTables.map(([from, to, table]) =>
          damage.past(`some times in ${table}`, () =>
            db.prepare<[], (number | null)[]>(`SELECT min(${from}), max(${to}) FROM ${table}`).raw().get(),
          ),
        )
        const known = spans.flatMap((span) => {
          const [from, to] = span ?? []
          return typeof from === 'number' && typeof to === 'number' ? [{ from, to }] : []
        })
        if (known.length === 0) return null
        return {
          from_us: Math.min(...known.map(({ from }) => from)),
          to_us: Math.max(...known.map(({ to }) => to)),
        }
      }),
    readings: (stream, from_us = 0, to_us = Infinity) =>
      guarded(() => within(levels.readings(stream, from_us, to_us), from_us, to_us)),
    overview: (stream, width, from_us, to_us) =>
      guarded(() => levels.overview(stream, width, from_us, to_us)),
    seal: () =>
      guarded(() => {
        try {
          return checkChain(db)
        } catch (error) {
          if (!(error instanceof Error && isOfTheBytes(error))) throw error
          return { is: 'broken', where: `it cannot be read whole: ${error.message}` }
        }
      }),
    lastLink: () => guarded(() => newestLink(db)),
    notes: () => guarded(() => damage.past('the notes', () => notesOf(db)) ?? []),
    *entries() {
      const own = !db.inTransaction
      try {
        if (own) db.exec('BEGIN')
        yield* inOrder(db, { known: knownOf, stream: streamOf, event: eventOf, ending: endingOf }, damage)
      } catch (error) {
        throw asTrouble(error, path)
      } finally {
        if (own && db.inTransaction) db.exec('ROLLBACK')
      }
    },
    damage: () => damage.list(),
    close: () => {
      db.close()
    },
  }
}

/** SQLite's own word turned into ours; any other error is our fault and goes on as it is. */
function asTrouble(error: unknown, path: string): RecordTrouble {
  if (error instanceof RecordTrouble) return error
  if (error instanceof Database.SqliteError)
    return new RecordTrouble(isOfTheBytes(error) ? 'damaged' : 'cannot read', unreadable(path, error), {
      cause: error,
    })
  throw error
}

/** As a statement may hold it. */
const timeIn = (t_us: number): number => Math.max(-1, Math.min(bounds.t_us, t_us)) || 0

/** Where moments of a run stand: first, last, table. */
const spanTables = [
  ['from_us', 'to_us', 'block'],
  ['t_us', 't_us', 'reading_tail'],
  ['from_us', 'to_us', 'tick_block'],
  ['t_us', 't_us', 'tick_tail'],
  ['t_us', 't_us', 'event'],
] as const

function within(parts: readonly ReadingColumns[], from_us: number, to_us: number): Readings {
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
