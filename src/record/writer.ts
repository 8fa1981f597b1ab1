import { closeSync, fsyncSync, mkdirSync, openSync } from 'node:fs'
import { dirname } from 'node:path'
import Database from 'better-sqlite3'
import { LinkHash } from './chain.js'
import { applicationId, formatVersion, pageBytes, tables } from './layout.js'
import { leaveWal } from './open.js'
import { holdable, Pending } from './pending.js'
import { RecordTrouble } from './trouble.js'
import type { RunEntry } from './types.js'

export interface RunWriter {
  /**
   * Takes entries in the order of the run. When it returns, durable entries (and all before them) are on disk; others are
   * there, and not only with the system, within a second: so much a cut of the power may take. Throws `RecordTrouble` when the file cannot take more, or `RangeError` for a number beyond
   * `bounds`: nothing given is forgotten then, see `unwritten`.
   */
  append(entries: readonly RunEntry[]): void
  /** Everything taken is on disk when it returns. */
  flush(): void
  /** Tails become compressed blocks now. */
  seal(): void
  /** Entries given since the last commit that succeeded. */
  unwritten(): readonly RunEntry[]
  /** Seals, gives the file its final form (one file is the whole run) and lets it go. Without an ending the run stays interrupted. */
  close(): void
}
export interface RunFileOptions {
  /** Largest size the file may grow to, bytes. */
  readonly max_bytes?: number
  /** `false` where nothing real is at stake (rehearsals): durable entries then go with the next commit, and a power cut may take the file. Default true. */
  readonly fsync?: boolean
}

/** With this many entries waiting a batch is committed, so that memory stays flat. */
const most = 65_536
/** A second after the last sync came back the next is due, however many readings came: a slow disk is asked no oftener than it answers. */
const syncEvery_ms = 1000
/** Blocks that became final wait at most this long for their link of the seal: a link costs some hundred bytes. */
const linkEvery_ms = 10_000

/** A new run file. Never overwrites: throws `RecordTrouble` (`exists`) where something is at `path`. */
export function createRunFile(path: string, options: RunFileOptions = {}): RunWriter {
  const db = create(path, options)
  const fsync = options.fsync ?? true
  const streams = new Map<number, Pending>()
  const ticks = new Pending('ticks')
  let waiting: RunEntry[] = []
  let firstWaiting = 0
  let seq = 0
  let synchronous = ''
  let lastSync_ms = performance.now()
  /** The newest entries went to the file without a sync: too many of them came within a second to wait for it. */
  let unsynced = false
  let timer: NodeJS.Timeout | null = null
  const put = statements(db)
  /** The seal so far: rows since the last link, and the names of blocks that became final since. */
  let link = { number: 0, hash: new LinkHash(''), at_ms: performance.now() }
  let finals: readonly Final[] = []

  const file = (entry: RunEntry, seq: number): void => {
    if (entry.entry === 'reading') {
      if (!holdable(entry.t_us, entry.n, entry.k))
        throw new RangeError(`not storable: ${JSON.stringify(entry)}`)
      let stream = streams.get(entry.stream)
      if (stream === undefined) streams.set(entry.stream, (stream = new Pending('readings')))
      stream.add(seq, entry.t_us, entry.n, entry.k)
    } else if (entry.entry === 'tick') {
      if (!holdable(entry.t_us, entry.late_us) || !holdable(entry.t_us, entry.slept_us))
        throw new RangeError(`not storable: ${JSON.stringify(entry)}`)
      ticks.add(seq, entry.t_us, entry.late_us, entry.slept_us)
    }
  }

  const commit = (wanted: 'FULL' | 'NORMAL', last = false): void => {
    const level = fsync ? wanted : 'OFF'
    if (timer !== null) clearTimeout(timer)
    timer = null
    const now_ms = performance.now()
    try {
      if (synchronous !== level) db.pragma(`synchronous = ${level}`)
      synchronous = level
      db.exec('BEGIN IMMEDIATE')
      const hash = link.hash.copy()
      let at = firstWaiting
      for (const entry of waiting) put.entry(at++, entry, hash)
      const made = [...finals]
      for (const [id, stream] of streams) put.readings(id, stream, made)
      put.ticks(ticks, made)
      const due = last || (made.length > 0 && now_ms - link.at_ms >= linkEvery_ms)
      const next = due ? put.link(link.number, seq - 1, hash, made) : null
      db.exec('COMMIT')
      link =
        next === null
          ? { ...link, hash }
          : { number: link.number + 1, hash: new LinkHash(next), at_ms: now_ms }
      finals = next === null ? made : []
    } catch (error) {
      if (db.inTransaction) db.exec('ROLLBACK')
      throw cannotWrite(path, error)
    }
    unsynced = wanted !== 'FULL'
    if (!unsynced) lastSync_ms = performance.now()
    for (const stream of streams.values()) stream.written()
    ticks.written()
    waiting = []
    firstWaiting = seq
  }
  /** An empty transaction would sync nothing, hence the least that can be written: the version that stands there already. */
  const sync = (): void => {
    try {
      if (fsync) {
        db.pragma('synchronous = FULL')
        synchronous = 'FULL'
        db.pragma(`user_version = ${formatVersion}`)
      }
    } catch (error) {
      throw cannotWrite(path, error)
    }
    unsynced = false
    lastSync_ms = performance.now()
  }
  const commitLater = (): void => {
    timer ??= setTimeout(() => {
      timer = null
      try {
        if (waiting.length > 0) commit('FULL')
        else if (unsynced) sync()
      } catch {
        // Nothing is lost: entries stay in `unwritten`, and the next append, flush or close says it.
      }
    }, syncEvery_ms).unref()
  }
  const sealAll = (): void => {
    for (const stream of streams.values()) stream.seal()
    ticks.seal()
    commit('FULL', true)
  }

  return {
    append(entries) {
      let at = seq
      // The whole batch counts as taken before any of it is looked at: what cannot be stored must not take its neighbours along.
      for (const entry of entries) waiting.push(entry)
      seq += entries.length
      for (const entry of entries) file(entry, at++)
      if ((fsync && entries.some(isDurable)) || performance.now() - lastSync_ms >= syncEvery_ms)
        commit('FULL')
      else {
        if (waiting.length >= most) commit('NORMAL')
        if (waiting.length > 0 || unsynced) commitLater()
      }
    },
    flush: () => {
      if (waiting.length > 0) commit('FULL')
      else if (unsynced) sync()
    },
    seal: sealAll,
    unwritten: () => waiting,
    close() {
      if (timer !== null) clearTimeout(timer)
      try {
        sealAll()
        db.pragma('wal_checkpoint(TRUNCATE)')
        leaveWal(db)
      } finally {
        db.close()
      }
    },
  }
}

/** On disk before it counts as written: what was known, what streams mean, durable events, the ending. */
export function isDurable(entry: RunEntry): boolean {
  return entry.entry === 'event' ? entry.event.durable : entry.entry !== 'reading' && entry.entry !== 'tick'
}

function create(path: string, options: RunFileOptions): Database.Database {
  const folder = dirname(path)
  try {
    mkdirSync(folder, { recursive: true })
  } catch (error) {
    throw cannotCreate(path, error)
  }
  try {
    closeSync(openSync(path, 'wx'))
  } catch (error) {
    if (error instanceof Error && 'code' in error && error.code === 'EEXIST')
      throw new RecordTrouble(
        'exists',
        `${path} exists already; a run is never written over. Give another name.`,
      )
    throw cannotCreate(path, error)
  }
  const db = new Database(path, { timeout: 2000 })
  try {
    if (options.max_bytes !== undefined)
      db.pragma(`max_page_count = ${Math.max(1, Math.floor(options.max_bytes / pageBytes))}`)
    db.pragma(`page_size = ${pageBytes}`)
    if (options.fsync === false) db.pragma('synchronous = OFF')
    db.exec(
      `BEGIN; PRAGMA application_id = ${applicationId}; PRAGMA user_version = ${formatVersion}; ${tables} COMMIT`,
    )
    db.pragma('journal_mode = WAL')
    const handle = openSync(folder, 'r')
    fsyncSync(handle)
    closeSync(handle)
    return db
  } catch (error) {
    db.close()
    throw cannotWrite(path, error)
  }
}

function cannotCreate(path: string, error: unknown): RecordTrouble {
  return new RecordTrouble(
    'cannot create',
    `The run file ${path} cannot be created (${text(error)}); without a record nothing is energised. ` +
      'Choose a folder that you can write to.',
    { cause: error },
  )
}

function cannotWrite(path: string, error: unknown): RecordTrouble {
  const full = error instanceof Database.SqliteError && error.code.startsWith('SQLITE_FULL')
  return full
    ? new RecordTrouble(
        'full',
        `The disk that holds ${path} is full; the record cannot go on there. Free space before the next run.`,
        {
          cause: error,
        },
      )
    : new RecordTrouble('cannot write', `The run file ${path} cannot be written (${text(error)}).`, {
        cause: error,
      })
}
const text = (error: unknown): string => (error instanceof Error ? error.message : String(error))

function statements(db: Database.Database) {
  const known = db.prepare('INSERT INTO known VALUES (?, ?, ?, ?, ?)')
  const stream = db.prepare('INSERT INTO stream VALUES (?, ?, ?, ?, ?, ?)')
  const event = db.prepare('INSERT INTO event VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)')
  const ending = db.prepare('INSERT INTO ending VALUES (?, ?, ?, ?, ?)')
  const tail = db.prepare('INSERT INTO reading_tail VALUES (?, ?, ?, ?, ?)')
  const dropTail = db.prepare('DELETE FROM reading_tail WHERE stream = ? AND seq <= ?')
  const block = db.prepare('INSERT INTO block VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)')
  const data = db.prepare('INSERT INTO block_data VALUES (?, ?, ?)')
  const rollup = db.prepare('INSERT INTO rollup VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)')
  const rollupBlocks = db.prepare('INSERT INTO rollup_blocks VALUES (?, ?, ?)')
  const tickTail = db.prepare('INSERT INTO tick_tail VALUES (?, ?, ?, ?)')
  const dropTicks = db.prepare('DELETE FROM tick_tail WHERE seq <= ?')
  const tickBlock = db.prepare('INSERT INTO tick_block VALUES (?, ?, ?, ?, ?, ?, ?)')
  const chain = db.prepare('INSERT INTO chain VALUES (?, ?, ?, ?)')

  return {
    entry(seq: number, entry: RunEntry, hash: LinkHash): void {
      switch (entry.entry) {
        case 'known': {
          const { run, started, command } = entry.known
          const row = cells(seq, run, started, command, JSON.stringify(entry.known))
          known.run(...row)
          hash.row('known', row)
          break
        }
        case 'stream': {
          const { id, name, unit, rail, resolution } = entry.stream
          const row = cells(seq, id, name, unit, rail, resolution)
          stream.run(...row)
          hash.row('stream', row)
          break
        }
        case 'event': {
          const { t_us, from, what, text, rail, step, intent, data, durable } = entry.event
          const flag = durable ? 1 : 0
          const row = cells(seq, t_us, from, what, text, rail, step, intent, JSON.stringify(data), flag)
          event.run(...row)
          hash.row('event', row)
          break
        }
        case 'ending': {
          const { outcome, outputs_off } = entry.ending
          const row = cells(seq, entry.t_us, outcome, outputs_off, JSON.stringify(entry.ending))
          ending.run(...row)
          hash.row('ending', row)
          break
        }
        case 'reading':
        case 'tick':
          break
      }
    },
    readings(id: number, p: Pending, finals: Final[]): void {
      if (p.dropTailTo !== null) dropTail.run(id, p.dropTailTo)
      for (const { block: index, first_seq, last_seq, statistics: s, data: bytes } of p.blocks) {
        const { n, from_us, to_us, first, last, min, max, mean } = s
        const row = [id, index, first_seq, last_seq, n, from_us, to_us, first, last, min, max, mean]
        block.run(...row)
        data.run(id, index, bytes)
        finals.push({ name: `b${id}.${index}`, kind: 'blocks', row, data: bytes })
      }
      for (const { rollup: index, statistics: s, blocks: bytes } of p.rollups) {
        const row = [id, index, s.n, s.from_us, s.to_us, s.first, s.last, s.min, s.max, s.mean]
        rollup.run(...row)
        rollupBlocks.run(id, index, bytes)
        finals.push({ name: `r${id}.${index}`, kind: 'rollups', row, data: bytes })
      }
      for (let i = p.inTail; i < p.count; i++) tail.run(id, p.seq[i], p.t_us[i], p.a[i], p.b[i])
    },
    ticks(p: Pending, finals: Final[]): void {
      if (p.dropTailTo !== null) dropTicks.run(p.dropTailTo)
      for (const { block: index, first_seq, last_seq, statistics: s, data: bytes } of p.blocks) {
        const row = [index, first_seq, last_seq, s.n, s.from_us, s.to_us]
        tickBlock.run(...row, bytes)
        finals.push({ name: `t${index}`, kind: 'ticks', row, data: bytes })
      }
      for (let i = p.inTail; i < p.count; i++) tickTail.run(p.seq[i], p.t_us[i], p.a[i], p.b[i])
    },
    /** One more link of the seal; its hash. */
    link(number: number, to_seq: number, rows: LinkHash, finals: readonly Final[]): string {
      const hash = rows.copy()
      for (const { kind, row, data: bytes } of finals) hash.row(kind, row, bytes)
      const digest = hash.digest()
      chain.run(number, to_seq, finals.map(({ name }) => name).join(' '), digest)
      return digest
    },
  }
}

/**
 * As the file will give them back: a surrogate without its other half has no place in UTF-8 and becomes U+FFFD there, so the seal
 * is made over that. Within JSON such a one is an escape and stays.
 */
function cells(...row: readonly (string | number | null)[]): (string | number | null)[] {
  return row.map((cell) => (typeof cell === 'string' ? cell.replaceAll(/\p{Surrogate}/gu, '\uFFFD') : cell))
}

/** A block or roll-up in its last form, waiting for its link of the seal. */
interface Final {
  readonly name: string
  readonly kind: 'blocks' | 'rollups' | 'ticks'
  readonly row: readonly (string | number | null)[]
  readonly data?: Buffer
}
