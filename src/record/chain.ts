import { createHash, type Hash } from 'node:crypto'
import type Database from 'better-sqlite3'
import { formatAlwaysSealed } from './layout.js'
import { holdsTable, type Standing } from './open.js'

/**
 * The seal of a run file: a chain of SHA-256 hashes over the measured part, each link over the one before it, the plain rows
 * (what was known, streams, events, the ending) since then in their order, and the blocks and roll-ups that became final.
 * It shows that nothing was changed, added or taken out by accident or carelessness, and that a copy is the run that was
 * printed; whoever rewrites a whole file can rewrite its chain too, so the last link is worth what the paper is worth that
 * carries it. Notes lie outside it.
 */
export const plainTables = {
  known: ['seq', 'run', 'started', 'command', 'known'],
  stream: ['seq', 'id', 'name', 'unit', 'rail', 'resolution'],
  event: ['seq', 't_us', 'source', 'what', 'text', 'rail', 'step', 'intent', 'data', 'durable'],
  ending: ['seq', 't_us', 'outcome', 'outputs_off', 'ending'],
} as const
export type PlainTable = keyof typeof plainTables

const statisticsColumns = ['n', 'from_us', 'to_us', 'first', 'last', 'min', 'max', 'mean']
export const blockColumns = ['stream', 'block', 'first_seq', 'last_seq', ...statisticsColumns]
export const rollupColumns = ['stream', 'rollup', ...statisticsColumns]
export const tickBlockColumns = ['block', 'first_seq', 'last_seq', 'n', 'from_us', 'to_us']

type Cell = string | number | null

/** The rows of one link as they are written, in the order they are hashed. */
export class LinkHash {
  #hash: Hash
  constructor(before: string, hash = createHash('sha256').update(before)) {
    this.#hash = hash
  }
  /** What was hashed so far stays as it is where a commit is rolled back. */
  copy(): LinkHash {
    return new LinkHash('', this.#hash.copy())
  }
  row(table: string, cells: readonly Cell[], data?: Uint8Array): void {
    this.#hash.update(`${table}${JSON.stringify(cells)}\n`)
    if (data !== undefined) this.#hash.update(data)
  }
  digest(): string {
    return this.#hash.copy().digest('hex')
  }
}

/** What `show` says of the seal. `last`: the last link, for paper. */
export type Seal =
  | { readonly is: 'whole'; readonly last: string; readonly links: number }
  /** The run ended without its last words sealed, or is under way: what came after the last link is not covered. */
  | { readonly is: 'open'; readonly last: string | null; readonly links: number; readonly uncovered: number }
  | { readonly is: 'broken'; readonly where: string }
  /** Written in a format that had none. */
  | { readonly is: 'none' }

interface Link {
  readonly link: number
  readonly to_seq: number
  readonly blocks: string
  readonly hash: string
}

export function newestLink(db: Database.Database): string | null {
  if (!holdsTable(db, 'chain')) return null
  return db.prepare<[], string>('SELECT hash FROM chain ORDER BY link DESC LIMIT 1').pluck().get() ?? null
}

/** The run has an ending, and the newest link covers it: nothing of the run came after it. */
function isSealedToItsEnd(db: Database.Database): boolean {
  const newest = (column: string, table: string): number | null =>
    db.prepare<[], number | null>(`SELECT max(${column}) FROM ${table}`).pluck().get() ?? null
  try {
    const ended = newest('seq', 'ending')
    return ended !== null && (newest('to_seq', 'chain') ?? -1) >= ended
  } catch {
    // No such table, or none that can be read.
    return false
  }
}

/**
 * How an opened file stands, by what is in it: one that somebody still looked at when it was closed stays in WAL, its end is in it, and
 * an empty `-wal` may go missing.
 */
export function standsAs({
  db,
  standing,
}: {
  readonly db: Database.Database
  readonly standing: Standing
}): Standing {
  return standing === 'wal missing' && isSealedToItsEnd(db) ? 'whole' : standing
}

/** Hashes the whole file again and holds it against its links. Costs a reading of every block. */
export function checkChain(db: Database.Database): Seal {
  if (!holdsTable(db, 'chain'))
    return Number(db.pragma('user_version', { simple: true })) < formatAlwaysSealed
      ? { is: 'none' }
      : { is: 'broken', where: 'it has none, and every file of its format is written with one' }
  const links = db.prepare<[], Link>('SELECT link, to_seq, blocks, hash FROM chain ORDER BY link').all()
  const rows = plainRows(db)
  const part = partsOf(db)
  const covered = { blocks: 0, rollups: 0, ticks: 0 }
  let before = ''
  let next = rows.next()
  for (const [i, { link, to_seq, blocks, hash }] of links.entries()) {
    const seal = new LinkHash(before)
    while (next.done !== true && next.value.seq <= to_seq) {
      seal.row(next.value.table, next.value.cells)
      next = rows.next()
    }
    for (const name of blocks === '' ? [] : blocks.split(' ')) {
      const found = part(name)
      if (found === null) return { is: 'broken', where: `link ${i + 1}: block ${name} is missing` }
      covered[found.kind]++
      seal.row(found.kind, found.cells, found.data)
    }
    if (link !== i || seal.digest() !== hash)
      return { is: 'broken', where: `link ${i + 1} of ${links.length} does not fit what it covers` }
    before = hash
  }
  let uncovered = 0
  for (; next.done !== true; next = rows.next()) uncovered++
  const count = (table: string): number =>
    db.prepare<[], number>(`SELECT count(*) FROM ${table}`).pluck().get() ?? 0
  uncovered += count('reading_tail') + count('tick_tail')
  uncovered += count('block') - covered.blocks + count('tick_block') - covered.ticks
  uncovered += count('rollup') - covered.rollups
  const last = before === '' ? null : before
  if (last !== null && uncovered === 0) return { is: 'whole', last, links: links.length }
  return { is: 'open', last, links: links.length, uncovered }
}

function* plainRows(
  db: Database.Database,
): Generator<{ seq: number; table: PlainTable; cells: Cell[] }, void> {
  const sources = Object.entries(plainTables).map(([table, columns]) => ({
    table: table as PlainTable,
    rows: db
      .prepare<[], [number, ...Cell[]]>(`SELECT ${columns.join(', ')} FROM "${table}" ORDER BY seq`)
      .raw()
      .all(),
    at: 0,
  }))
  for (;;) {
    const first = sources
      .filter(({ rows, at }) => at < rows.length)
      .reduce<(typeof sources)[number] | null>(
        (least, each) =>
          least === null || (each.rows[each.at]?.[0] ?? 0) < (least.rows[least.at]?.[0] ?? 0) ? each : least,
        null,
      )
    const cells = first?.rows[first.at]
    if (first === null || cells === undefined) return
    first.at++
    yield { seq: cells[0], table: first.table, cells }
  }
}

interface Part {
  readonly kind: 'blocks' | 'rollups' | 'ticks'
  readonly cells: Cell[]
  readonly data?: Uint8Array
}

/** Finds a block by the name it has in its link: `b1.7` block 7 of stream 1, `r1.0` its roll-up 0, `t3` block 3 of the ticks. */
function partsOf(db: Database.Database): (name: string) => Part | null {
  const row = (sql: string) => db.prepare<number[], Cell[]>(sql).raw()
  const bytes = (sql: string) => db.prepare<number[]>(sql).pluck()
  const ofBlock = 'WHERE stream = ? AND block = ?'
  const block = row(`SELECT ${blockColumns.join(', ')} FROM block ${ofBlock}`)
  const blockData = bytes(`SELECT data FROM block_data ${ofBlock}`)
  const rollup = row(`SELECT ${rollupColumns.join(', ')} FROM rollup WHERE stream = ? AND rollup = ?`)
  // Format 2 has none.
  const rollupData = holdsTable(db, 'rollup_blocks')
    ? bytes('SELECT data FROM rollup_blocks WHERE stream = ? AND rollup = ?')
    : null
  const ticks = row(`SELECT ${tickBlockColumns.join(', ')} FROM tick_block WHERE block = ?`)
  const tickData = bytes('SELECT data FROM tick_block WHERE block = ?')
  const whole = (kind: Part['kind'], cells: Cell[] | undefined, data: unknown): Part | null =>
    cells === undefined || !(data instanceof Uint8Array) ? null : { kind, cells, data }
  return (name) => {
    const [stream = 0, index = 0] = name.slice(1).split('.').map(Number)
    switch (name[0]) {
      case 'b':
        return whole('blocks', block.get(stream, index), blockData.get(stream, index))
      case 'r': {
        const cells = rollup.get(stream, index)
        if (rollupData !== null) return whole('rollups', cells, rollupData.get(stream, index))
        return cells === undefined ? null : { kind: 'rollups', cells }
      }
      case 't':
        return whole('ticks', ticks.get(stream), tickData.get(stream))
      default:
        return null
    }
  }
}
