import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { openRunFile } from '../../src/record/index.js'
import type { RunEnding } from '../../src/story/index.js'
import { goesAnotherWay } from '../helpers/replayed.js'
import { integrityOf } from '../helpers/sound-file.js'
import { isThere } from '../helpers/terminal.js'
import { version } from '../helpers/version.js'
import { Bench, speed } from './bench-run.js'
import { rightExit } from './exit.js'
import type { Truth } from './inside.js'
import type { Kind, Moment } from './kind.js'

/**
 * What ends a run whose processes the machine kept from their cores: a right and safe end, though not for the reason that was tried.
 */
const lateCodes: readonly string[] = [
  'late-tick',
  'stale',
  'line-lost',
  'parent-lost',
  'controller-lost',
  'recorder-lost',
]

export type Way = 'pty' | 'tcp'

export interface Result {
  readonly kind: string
  readonly moment: Moment
  readonly as: Way
  /** From what was done to HT's output being off, ms; null where HT stayed on, or was off already. */
  readonly off_ms: number | null
  readonly outputs: string
  readonly reason: string
  /** Exit code of the command; absent where it was not judged yet (cells of an earlier program). */
  readonly exit?: number | null
  /** The commit that was tried. */
  readonly version: string
  /** What was not as it must be; empty = the cell holds. */
  readonly wrong: readonly string[]
  /** The machine was late and the run ended for that: all else held, but not for the reason that was tried. */
  readonly late?: true
  /** Of one that does not hold. */
  readonly story?: readonly string[]
}

const notTried = 'not tried'
/** Whether its moment came; where it did not, nothing was learned. */
export const isTried = ({ wrong }: Result): boolean => wrong[0]?.startsWith(notTried) !== true

/** Whether it holds in everything that is judged today, its exit code too: what an earlier program left unjudged is done again. */
export const isWhole = ({ wrong, exit }: Result): boolean => wrong.length === 0 && exit !== undefined

/** Volts that may be touched, and what a sample of the truth may lag behind. */
const low_V = 60
const ht = 'high.out'
const bias = 'low.bias'
const heaters = 'low.heaters'
/** Heaters go off when HT is low, or 30 s of the bench after going off began; of those so much is sure in what was seen, ms. */
const heaters_ms = 25_000 / speed

/** One kind at one moment, from a start of its own to the end of every process. */
export async function tryCell(kind: Kind, moment: Moment, as: Way): Promise<Result> {
  const args = kind.fault === undefined ? [] : ['--fault', `${kind.fault}@step=99`]
  const run = Bench.start(as, args, kind.name.includes('tmpfs'))
  let done = false
  try {
    if (run.isOrdinaryDisk) throw new Error('No small file system may be made here.')
    await run.acknowledge()
    await run.meet()
    await run.until(moment)
    // Whoever must be gone in the end; the recorder ends by itself last.
    const pids = [run.pid('supervisor'), run.pid('controller'), run.pid('recorder')]
    const at = Date.now()
    if (kind.fault !== undefined) run.letLoose()
    await kind.act?.(run)
    if (run.hasEnded) throw new Error('The run was over before it was done.')
    done = true
    await kind.after?.(run)
    run.answerAll()
    const wrong: string[] = []
    const exit = await ended(run, kind, pids, wrong)
    const result = judged(kind, moment, as, run, { at, exit, wrong })
    return wrong.length === 0 ? result : { ...result, story: run.story() }
  } catch (error) {
    const text = error instanceof Error ? (error.message.split('\n')[0] ?? '') : String(error)
    return {
      kind: kind.name,
      moment,
      as,
      off_ms: null,
      outputs: '–',
      reason: '–',
      exit: null,
      version,
      wrong: [done ? text : `${notTried}: ${text}`],
      story: run.story(),
    }
  } finally {
    await run.end()
  }
}

const end_within_ms = 180_000
/** Our choice: the longest that a cell waits by itself is 3 s, and the stale limit comes on top. */
const off_within_ms = 6000

/** Waits for the end of whoever has to end; the exit code of the command, where there is one. */
async function ended(
  run: Bench,
  kind: Kind,
  pids: readonly number[],
  wrong: string[],
): Promise<number | null> {
  if (kind.end === 'next start') {
    const next = run.again()
    await next.shows('did not end well', 120_000)
    await next.shows(/type the word: \w+/, 120_000)
    next.type('\u0003')
    const code = await next.exit(60_000)
    if (!next.seen.includes('Outputs confirmed off'))
      wrong.push('the next start did not confirm the outputs off')
    if (!next.seen.includes('take it as charged')) wrong.push('the next start says nothing of the charge')
    await next.end()
    return code
  }
  const from = Date.now()
  // A terminal that was closed has no exit code of the command to give.
  const code = await run.session.exit(kind.name === 'terminal closed' ? 1 : end_within_ms).catch(() => null)
  // Where the command is gone the controller may still be putting outputs off; the bench leaves when they are.
  while (Date.now() - from < end_within_ms && pids.some(isThere)) await sleep(100)
  if (pids.some(isThere)) wrong.push('it did not end')
  return code
}

interface Told {
  readonly at: number
  readonly exit: number | null
  readonly wrong: string[]
}

function judged(kind: Kind, moment: Moment, as: Way, run: Bench, { at, exit, wrong }: Told): Result {
  const truth = run.truth
  if (kind.takes_bias !== true) wrong.push(...outOfOrder(truth, kind.moves_time === true ? null : at))
  const before = truth.findLast((each) => each.at <= at)
  const off = truth.find((each) => each.at >= at && each.outputs[ht] === false)
  const left = Object.entries(truth.at(-1)?.outputs ?? {}).flatMap(([name, on]) => (on ? [name] : []))
  const record = readBack(run, kind, wrong)
  const ending = record?.ending ?? null
  // Where the record can be kept no more its end stands in a file elsewhere, and on the terminal.
  const elsewhere = ending === null ? keptElsewhere(run) : null
  const told_off = elsewhere !== null && run.session.seen.includes('Outputs confirmed off')
  const confirmed = ending?.outputs_off === 'confirmed' || told_off || kind.end === 'next start'
  if (confirmed && left.length > 0) wrong.push(`confirmed off, and ${left.join(', ')} on`)
  const alarm = run.session.seen.includes('OUTPUTS NOT CONFIRMED OFF') || (record?.alarms ?? 0) > 0
  if (!confirmed && !alarm) wrong.push('neither confirmed off nor the alarm')
  if (kind.end === 'confirmed' && !confirmed)
    wrong.push(`outputs not confirmed off: ${JSON.stringify(ending?.details['off'] ?? null).slice(0, 600)}`)
  if (kind.end === 'alarm' && !alarm && moment !== 'make-safe') wrong.push('no alarm')
  const code = ending?.reason?.code ?? elsewhere
  const known = code === null || kind.codes === undefined || kind.codes.includes(code)
  // Who is going off already keeps the first reason; who answers no more at a question is timed out or goes on.
  const first = moment === 'make-safe' && code === 'operator'
  const starved = run.wasStarved(at - 2000, (off?.at ?? at) + 2000)
  const off_ms = before?.outputs[ht] !== true || off === undefined ? null : off.at - at
  // What ends a run has HT off soon: by a stop, a reply, or a silence that is longer than the stale limit.
  if (off_ms !== null && off_ms > off_within_ms && code !== null && kind.end !== 'next start' && !starved)
    wrong.push(`HT was off after ${off_ms} ms only`)
  const late = !known && !first && (code === 'late-tick' || (starved && lateCodes.includes(code)))
  if (!known && !first && !late) wrong.push(`reason "${code}"`)
  if (code === null && ending !== null && kind.harmless !== true && moment !== 'make-safe')
    wrong.push('nothing ended the run')
  const right = rightExit(kind, { code, confirmed, warned: (ending?.warnings.length ?? 0) > 0 })
  if (exit !== right) wrong.push(`exit code ${exit ?? 'none'}, and ${right ?? 'none'} is right`)
  return {
    kind: kind.name,
    moment,
    as,
    off_ms,
    outputs: left.length > 0 ? `${left.join(', ')} on, alarm` : confirmed ? 'confirmed off' : 'off, alarm',
    reason: code ?? (ending === null ? 'next start' : ending.outcome),
    exit,
    version,
    wrong,
    ...(late ? { late } : {}),
  }
}

/** What ended a run whose record went elsewhere; null where none did. */
function keptElsewhere(run: Bench): string | null {
  const folder = join(run.folder, 'slowglow', 'runs')
  if (!existsSync(folder)) return null
  const text = readdirSync(folder)
    .map((name) => readFileSync(join(folder, name), 'utf8'))
    .join('')
  return /"code":"([\w-]+)"/.exec(text)?.[1] ?? 'not told'
}

/**
 * Bias or heaters before HT is low, in what really stood there. Heaters are judged where it is known since when they may go by time
 * alone: from HT's own OFF, or where HT does not obey no sooner than what was done, `at`; null: that time cannot be told.
 */
export function outOfOrder(truth: readonly Truth[], at: number | null): string[] {
  let since = at
  for (const [i, now] of truth.entries()) {
    const before = truth[i - 1]
    const ht_V = Math.abs(now.volts['HT'] ?? 0)
    const went = (output: string): boolean =>
      before?.outputs[output] === true && now.outputs[output] === false
    if (at !== null) since = went(ht) ? now.at : now.outputs[ht] === true ? at : since
    if (ht_V <= low_V) continue
    if (went(bias)) return [`bias off with HT at ${ht_V.toFixed(0)} V`]
    if (went(heaters) && since !== null && now.at - since < heaters_ms)
      return [`heaters off with HT at ${ht_V.toFixed(0)} V`]
  }
  return []
}

/** The record opens, is replayed exactly, and holds what was read up to a second before the end of whoever wrote it. */
function readBack(
  run: Bench,
  { told }: Kind,
  wrong: string[],
): { ending: RunEnding | null; alarms: number } | null {
  const opened = openRunFile(run.file ?? '')
  if ('trouble' in opened) {
    wrong.push(`the record does not open: ${opened.trouble}`)
    return null
  }
  const { reader } = opened
  try {
    const events = [...reader.events()]
    const known = reader.known()
    for (const words of told ?? [])
      if (!events.some(({ text }) => text.includes(words)))
        wrong.push(`the record says nothing of "${words}"`)
    if (known === null) wrong.push('the record does not say what was known')
    else {
      const otherwise = goesAnotherWay(reader)
      if (otherwise !== null) wrong.push(`replayed it goes another way: ${otherwise.slice(0, 200)}`)
    }
    const integrity = integrityOf(run.file ?? '')
    if (integrity !== 'ok') wrong.push(`SQLite finds the record unsound: ${String(integrity).slice(0, 200)}`)
    let last_us = 0
    for (const stream of reader.streams())
      last_us = Math.max(last_us, reader.readings(stream.id).t_us.at(-1) ?? 0)
    const begun_us = events.find(({ what }) => what === 'begin')?.t_us ?? 0
    const seen_us = begun_us + (run.view?.elapsed_s ?? 0) * 1e6
    const elsewhere = run.session.seen.includes('is kept in') || events.some(({ what }) => what === 'dropped')
    if (!elsewhere && seen_us - last_us > 1e6 * speed)
      wrong.push(`${((seen_us - last_us) / 1e6 / speed).toFixed(1)} s of readings are not in the record`)
    return {
      ending: reader.ending()?.ending ?? null,
      alarms: events.filter(({ what }) => what === 'alarm').length,
    }
  } finally {
    reader.close()
  }
}
