import { closeSync, openSync, unlinkSync, writeSync } from 'node:fs'
import { fileWriter, ParquetWriter, type SchemaElement } from 'hyparquet-writer'
import { decimal } from '../exchange/index.js'
import type { RunReader } from './reader.js'
import { RecordTrouble } from './trouble.js'
import type { RunEntry, Stream } from './types.js'

export type Format = 'csv' | 'jsonl' | 'parquet'
export interface Exported {
  readonly file: string
  readonly format: Format
  /** Rows of measured values (csv, parquet) or entries (jsonl). */
  readonly rows: number
  /** What of the run could not be read, so is not in it. */
  readonly damage: readonly string[]
}

/**
 * Takes a run out of its file, whole: CSV and Parquet hold the measured values, a row a moment and a column a stream with the
 * unit in its name, blank where a stream said nothing at that moment (nothing is held over or drawn between); JSON Lines hold
 * every entry of the run in its order, readings as volts or amps beside their stream. Never writes over a file: throws
 * `RecordTrouble` where something is at `file`, or where it cannot be written.
 */
export function exportRun(reader: RunReader, format: Format, file: string): Exported {
  claim(file)
  try {
    const rows =
      format === 'parquet'
        ? toParquet(reader, file)
        : toText(file, format === 'csv' ? csvLines(reader) : jsonLines(reader))
    return { file, format, rows: format === 'csv' ? rows - 1 : rows, damage: reader.damage() }
  } catch (error) {
    unlinkSync(file)
    if (error instanceof RecordTrouble) throw error
    throw cannot(file, error)
  }
}

function claim(file: string): void {
  try {
    closeSync(openSync(file, 'wx'))
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'EEXIST')
      throw new RecordTrouble(
        'exists',
        `${file} exists already and is not written over. Give another name with --out.`,
      )
    throw cannot(file, error)
  }
}
function cannot(file: string, error: unknown): RecordTrouble {
  const why = error instanceof Error ? error.message : String(error)
  return new RecordTrouble(
    'cannot write',
    `${file} could not be written (${why}). The run itself is untouched.`,
  )
}

/** Column heading of a stream: its name and unit. */
export const headingOf = ({ name, unit }: Stream): string =>
  name.endsWith(`.${unit}`) ? `${name.slice(0, -unit.length - 1)} (${unit})` : `${name} (${unit})`

/** Values of one moment, in the order of the streams; null where a stream said nothing. */
interface Moment {
  readonly t_us: number
  readonly values: (number | null)[]
}

/** Moments in the order of the run. A stream that speaks twice in one microsecond gets two rows. */
function* moments(reader: RunReader, streams: readonly Stream[]): Generator<Moment, void> {
  const column = new Map(streams.map(({ id }, i) => [id, i]))
  let now: Moment | null = null
  for (const entry of reader.entries()) {
    if (entry.entry !== 'reading') continue
    const at = column.get(entry.stream)
    if (at === undefined) continue
    if (now === null || now.t_us !== entry.t_us || now.values[at] !== null) {
      if (now !== null) yield now
      now = { t_us: entry.t_us, values: streams.map(() => null) }
    }
    now.values[at] = decimal(entry.n, entry.k)
  }
  if (now !== null) yield now
}

function* csvLines(reader: RunReader): Generator<string, void> {
  const streams = reader.streams()
  yield ['t (s)', ...streams.map(headingOf)].map(csvCell).join(',')
  for (const { t_us, values } of moments(reader, streams))
    yield [String(t_us / 1e6), ...values.map((value) => (value === null ? '' : String(value)))].join(',')
}
/** RFC 4180. */
function csvCell(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text
}

function* jsonLines(reader: RunReader): Generator<string, void> {
  const streams = new Map(reader.streams().map((stream) => [stream.id, stream]))
  for (const entry of reader.entries()) yield JSON.stringify(entryJson(entry, streams))
}
function entryJson(entry: RunEntry, streams: ReadonlyMap<number, Stream>): unknown {
  const t_s = 't_us' in entry ? entry.t_us / 1e6 : undefined
  switch (entry.entry) {
    case 'reading': {
      const stream = streams.get(entry.stream)
      const value = decimal(entry.n, entry.k)
      return { entry: 'reading', t_s, stream: stream?.name, rail: stream?.rail, unit: stream?.unit, value }
    }
    case 'tick':
      return { entry: 'tick', t_s, late_s: entry.late_us / 1e6, slept_s: entry.slept_us / 1e6 }
    case 'event': {
      const { t_us, ...event } = entry.event
      return { entry: 'event', t_s: t_us / 1e6, ...event }
    }
    case 'ending':
      return { entry: 'ending', t_s, ...entry.ending }
    case 'known':
      return { entry: 'known', ...entry.known }
    case 'stream':
      return { entry: 'stream', ...entry.stream }
  }
}

const chunkChars = 1 << 16

/** Lines to a file, LF ended, a piece at a time; how many. */
function toText(file: string, lines: Iterable<string>): number {
  const handle = openSync(file, 'w')
  try {
    let rows = 0
    let chunk = ''
    const flush = (): void => {
      const bytes = Buffer.from(chunk, 'utf8')
      for (let at = 0; at < bytes.length; ) at += writeSync(handle, bytes, at)
      chunk = ''
    }
    for (const line of lines) {
      chunk += `${line}\n`
      rows++
      if (chunk.length >= chunkChars) flush()
    }
    flush()
    return rows
  } finally {
    closeSync(handle)
  }
}

/** Rows held in memory at a time. */
const groupRows = 65_536

function toParquet(reader: RunReader, file: string): number {
  const streams = reader.streams()
  const known = reader.known()
  const schema: SchemaElement[] = [
    { name: 'root', num_children: streams.length + 1 },
    { name: 't (s)', type: 'DOUBLE', repetition_type: 'REQUIRED' },
    ...streams.map(
      (stream): SchemaElement => ({
        name: headingOf(stream),
        type: 'DOUBLE',
        repetition_type: 'OPTIONAL',
      }),
    ),
  ]
  const kvMetadata = [
    { key: 'run', value: known?.run ?? '' },
    { key: 'started', value: known?.started ?? '' },
    { key: 'equipment', value: known?.plan.equipment ?? '' },
    { key: 'profile', value: known?.plan.profile ?? '' },
  ]
  const writer = new ParquetWriter({ writer: fileWriter(file), schema, kvMetadata, createdBy: 'slowglow' })
  let rows = 0
  let group: Moment[] = []
  const flush = (): void => {
    const columnData = schema.slice(1).map(({ name }, i) => ({
      name,
      data: group.map(({ t_us, values }) => (i === 0 ? t_us / 1e6 : (values[i - 1] ?? null))),
    }))
    void writer.write({ columnData, rowGroupSize: groupRows })
    rows += group.length
    group = []
  }
  for (const moment of moments(reader, streams)) {
    group.push(moment)
    if (group.length === groupRows) flush()
  }
  if (group.length > 0) flush()
  void writer.finish()
  return rows
}
