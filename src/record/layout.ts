import { most_n } from '../exchange/index.js'

/**
 * The layout of a run file: an ordinary SQLite database, open to any tool that reads SQLite.
 *
 * Every entry has a place `seq` (0, 1, 2 …) in one order over all kinds, so that a replay is fed exactly what was seen.
 * Readings and ticks first lie row by row in a tail, then in blocks of compressed columns (`codec.ts`).
 */

/** "SLGW" in ASCII, in SQLite's application_id. */
export const applicationId = 0x534c4757
/**
 * Format version, in SQLite's user_version. Readers refuse higher ones and read all lower ones.
 * 1: the first. 2: `chain` (the seal) and `note`. 3: `rollup_blocks`, under the seal with their roll-ups; blocks no longer deflated
 * (`codec.ts`).
 */
export const formatVersion = 3
/** The first that has notes: a file of an older one becomes this when somebody adds one. */
export const formatWithNotes = 2
/** From this one on a file without `chain` had it taken out; one of format 1 that was given a note is of format 2 and never had any. */
export const formatAlwaysSealed = 3

/** Blocks of half a kB to one lie ten to a page: little of it is air, and one page serves all streams of a moment. */
export const pageBytes = 8192

/**
 * Readings in a full block of one stream. Half as many cost a twentieth more on disk, but an overview unpacks the block at every
 * edge of a pixel column, and does that half as long. Files with other sizes are read as they are.
 */
export const blockReadings = 256
/** Ticks in a full block: they are regular and compress to almost nothing. */
export const blockTicks = 2048
/** Blocks in a roll-up, the second level of statistics for long runs. */
export const blocksInRollup = 32

/**
 * Bounds that keep a column exact in a double: a difference of two such integers, less a mean step as large, doubled (zigzag),
 * is at most eight times `n`, below 2^53.
 */
export const bounds = { t_us: 2 ** 50, n: most_n, k: 30 } as const

const statistics = `
  n INTEGER NOT NULL, from_us INTEGER NOT NULL, to_us INTEGER NOT NULL,
  first REAL NOT NULL, last REAL NOT NULL, min REAL NOT NULL, max REAL NOT NULL, mean REAL NOT NULL`

/** A file brought up from format 1 has notes and no chain: its seal cannot be made afterwards. */
export const noteTable = `
CREATE TABLE note (id INTEGER PRIMARY KEY, written TEXT NOT NULL, by TEXT NOT NULL, text TEXT NOT NULL);
`

export const tables = `
CREATE TABLE known (seq INTEGER PRIMARY KEY, run TEXT NOT NULL, started TEXT NOT NULL, command TEXT NOT NULL,
  known TEXT NOT NULL);
CREATE TABLE stream (seq INTEGER PRIMARY KEY, id INTEGER NOT NULL, name TEXT NOT NULL, unit TEXT NOT NULL, rail TEXT,
  resolution REAL NOT NULL);
CREATE TABLE event (seq INTEGER PRIMARY KEY, t_us INTEGER NOT NULL, source TEXT NOT NULL, what TEXT NOT NULL,
  text TEXT NOT NULL, rail TEXT, step INTEGER, intent INTEGER, data TEXT NOT NULL, durable INTEGER NOT NULL);
CREATE TABLE ending (seq INTEGER PRIMARY KEY, t_us INTEGER NOT NULL, outcome TEXT NOT NULL, outputs_off TEXT NOT NULL,
  ending TEXT NOT NULL);

CREATE TABLE reading_tail (stream INTEGER NOT NULL, seq INTEGER NOT NULL, t_us INTEGER NOT NULL, n INTEGER NOT NULL,
  k INTEGER NOT NULL, PRIMARY KEY (stream, seq)) WITHOUT ROWID;
CREATE TABLE block (stream INTEGER NOT NULL, block INTEGER NOT NULL, first_seq INTEGER NOT NULL,
  last_seq INTEGER NOT NULL, ${statistics}, PRIMARY KEY (stream, block)) WITHOUT ROWID;
CREATE TABLE block_data (stream INTEGER NOT NULL, block INTEGER NOT NULL, data BLOB NOT NULL,
  PRIMARY KEY (stream, block));
CREATE TABLE rollup (stream INTEGER NOT NULL, rollup INTEGER NOT NULL, ${statistics}, PRIMARY KEY (stream, rollup))
  WITHOUT ROWID;
CREATE TABLE rollup_blocks (stream INTEGER NOT NULL, rollup INTEGER NOT NULL, data BLOB NOT NULL,
  PRIMARY KEY (stream, rollup));

CREATE TABLE tick_tail (seq INTEGER PRIMARY KEY, t_us INTEGER NOT NULL, late_us INTEGER NOT NULL,
  slept_us INTEGER NOT NULL);
CREATE TABLE tick_block (block INTEGER PRIMARY KEY, first_seq INTEGER NOT NULL, last_seq INTEGER NOT NULL,
  n INTEGER NOT NULL, from_us INTEGER NOT NULL, to_us INTEGER NOT NULL, data BLOB NOT NULL);

${noteTable}
CREATE TABLE chain (link INTEGER PRIMARY KEY, to_seq INTEGER NOT NULL, blocks TEXT NOT NULL, hash TEXT NOT NULL);
CREATE VIEW events AS
  SELECT seq, t_us / 1e6 AS t_s, source, what, text, rail, step, intent, data FROM event ORDER BY seq;
CREATE VIEW latest_readings AS
  SELECT r.seq, s.name, r.t_us / 1e6 AS t_s, r.n / CAST('1e' || r.k AS REAL) AS value, s.unit, s.rail
  FROM reading_tail r LEFT JOIN stream s ON s.id = r.stream ORDER BY r.seq;
CREATE VIEW block_statistics AS
  SELECT s.name, s.unit, s.rail, b.block, b.n, b.from_us / 1e6 AS from_s, b.to_us / 1e6 AS to_s,
    b.first, b.last, b.min, b.max, b.mean
  FROM block b LEFT JOIN stream s ON s.id = b.stream ORDER BY b.stream, b.block;
CREATE VIEW summary AS
  SELECT k.run, k.started, k.command, e.outcome, e.outputs_off, json_extract(e.ending, '$.reason.text') AS reason
  FROM known k LEFT JOIN ending e;
`
