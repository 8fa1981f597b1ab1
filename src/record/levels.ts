import type Database from 'better-sqlite3'
import { decodeColumns } from './codec.js'
import { aBlock, type Damage } from './damage.js'
import { blockReadings, blocksInRollup } from './layout.js'
import { holdsTable } from './open.js'
import { type Extent, unpackStatistics } from './statistics.js'
import { type Overview, Thinning } from './thin.js'
import { RecordTrouble } from './trouble.js'

/** Readings in order: t_us, n, k. */
export type ReadingColumns = readonly [Float64Array, Float64Array, Float64Array]

/** The levels of a stream: roll-ups over blocks, blocks over readings, and the newest readings in no block yet. */
export interface Levels {
  /** Blocks and newest readings that may have some from from_us to to_us. */
  readings(stream: number, from_us: number, to_us: number): ReadingColumns[]
  overview(stream: number, width: number, from_us: number, to_us: number): Overview
}

interface Block extends Extent {
  readonly block: number
}
interface Rollup extends Extent {
  readonly rollup: number
}
const extent = 'n, from_us, to_us, first, last, min, max'

export function levelsOf(db: Database.Database, damage: Damage): Levels {
  // Each is made where it is wanted, so that a table that cannot be read is missed by none that do without it.
  const rollups = once(() =>
    db.prepare<[number], Rollup>(`SELECT rollup, ${extent} FROM rollup WHERE stream = ? ORDER BY rollup`),
  )
  const blocks = once(() =>
    db.prepare<[number, number, number], Block>(
      `SELECT block, ${extent} FROM block WHERE stream = ? AND block >= ? AND block < ? ORDER BY block`,
    ),
  )
  const data = once(() =>
    db.prepare<[number, number]>('SELECT data FROM block_data WHERE stream = ? AND block = ?').pluck(),
  )
  const tail = once(() =>
    db.prepare<[number], number[]>('SELECT t_us, n, k FROM reading_tail WHERE stream = ? ORDER BY seq').raw(),
  )
  // Before format 3 there were none.
  const packed = once(() =>
    holdsTable(db, 'rollup_blocks')
      ? db.prepare<[number, number]>('SELECT data FROM rollup_blocks WHERE stream = ? AND rollup = ?').pluck()
      : null,
  )

  const rowsOf = (stream: number, from: number, to: number): Block[] =>
    damage.past('some statistics', () => blocks().all(stream, from, to)) ?? []
  /** Blocks of a roll-up: packed, or row by row where that is not there or damaged. */
  const blocksIn = (stream: number, rollup: number): Block[] => {
    const first = rollup * blocksInRollup
    const found = damage.past(secondLevel, () => {
      const bytes = packed()?.get(stream, rollup)
      if (bytes === undefined) return rowsOf(stream, first, first + blocksInRollup)
      if (!(bytes instanceof Uint8Array)) throw new RecordTrouble('damaged', 'it holds no bytes')
      return unpackStatistics(bytes, first)
    })
    return found ?? rowsOf(stream, first, first + blocksInRollup)
  }
  const columnsOf = (stream: number, block: number, into?: readonly Float64Array[]): ReadingColumns => {
    const [t_us, n, k] =
      damage.past(aBlock, () => {
        const bytes = data().get(stream, block)
        if (!(bytes instanceof Uint8Array)) throw new RecordTrouble('damaged', 'it is missing')
        return decodeColumns(bytes, 3, into)
      }) ?? []
    return [t_us ?? none, n ?? none, k ?? none]
  }
  const tailOf = (stream: number): ReadingColumns => {
    const rows = damage.past('the newest readings', () => tail().all(stream)) ?? []
    const column = (i: number): Float64Array => Float64Array.from(rows, (row) => row[i] ?? 0)
    return [column(0), column(1), column(2)]
  }

  /** Blocks with readings in the window, in order, left out those of roll-ups that `whole` takes at once. */
  const walk = (
    stream: number,
    from_us: number,
    to_us: number,
    whole: (level: Extent) => boolean,
    each: (block: Block) => void,
  ): void => {
    const inside = (level: Extent): boolean => level.to_us >= from_us && level.from_us <= to_us
    // Without its second level a run is looked at block by block.
    const upper = damage.past(secondLevel, () => rollups().all(stream)) ?? []
    const eachOf = (found: readonly Block[]): void => {
      for (const block of found) if (inside(block)) each(block)
    }
    for (const rollup of upper) if (inside(rollup) && !whole(rollup)) eachOf(blocksIn(stream, rollup.rollup))
    eachOf(rowsOf(stream, upper.length * blocksInRollup, Number.MAX_SAFE_INTEGER))
  }

  return {
    readings: (stream, from_us, to_us) => {
      const parts: ReadingColumns[] = []
      const notOne = (): boolean => false
      walk(stream, from_us, to_us, notOne, ({ block }) => parts.push(columnsOf(stream, block)))
      return [...parts, tailOf(stream)]
    },
    overview: (stream, width, from_us, to_us) => {
      const thinning = new Thinning(from_us, to_us, width)
      // Full blocks, one after the other: making and dropping arrays would take as long as filling them.
      const scratch = [0, 1, 2].map(() => new Float64Array(blockReadings))
      const whole = (level: Extent): boolean => thinning.takeWhole(level)
      walk(stream, from_us, to_us, whole, (block) => {
        if (!thinning.takeWhole(block)) thinning.takeEach(...columnsOf(stream, block.block, scratch))
      })
      thinning.takeEach(...tailOf(stream))
      return thinning.overview()
    },
  }
}

const none = new Float64Array(0)
const secondLevel = 'the second level of statistics'

function once<T>(make: () => T): () => T {
  let made: { readonly value: T } | null = null
  return () => (made ??= { value: make() }).value
}
