import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { isTried, isWhole, type Result, tryCell } from './cell.js'
import { type Killed, killAnywhere } from './kills.js'
import { kinds } from './kinds.js'
import { type Cell, everyCell, selection } from './selection.js'
import { resultsTable } from './table.js'

/*
 * npm run faults [-- --selection] [--only WORDS] [--jobs N] [--keep FILE] [--out FILE]: each kind of fault at each moment of a real run,
 * over a pseudo-terminal and over TCP in turn; `--selection` takes those of `selection.ts`: each kind with HT up, and each moment over each line.
 * npm run faults -- --kills N [--seed S] [--jobs N] [--keep FILE]: processes killed at random moments of real runs; with `--selection`
 * or `--only` as well, after those.
 * What was tried is kept in FILE (kills in FILE.kills), from where it goes on, with `--most N` for so many more and `--minutes N` to begin
 * nothing after that time: what was wanted and not begun then counts as failed. The table for people, `--out FILE`, is made from both.
 * The whole takes several sittings: `--keep tests/faults/results.json --out tests/faults/RESULTS.md --most N`, and both are committed.
 */
const value = (name: string): string | null => {
  const at = process.argv.indexOf(`--${name}`)
  const given = at < 0 ? undefined : process.argv[at + 1]
  return given === undefined || given.startsWith('--') ? null : given
}
const kept = value('keep')
const number = (name: string, otherwise: number): number => Number(value(name) ?? otherwise)
const jobs = Math.max(1, number('jobs', 2))

const began = Date.now()
const isTime = (): boolean => Date.now() - began < 60_000 * number('minutes', Infinity)
/** Of what was begun, so many parts may find no moment on a machine that is busy, and so many end because it was late. */
const untried_part = 0.1

const kills = value('kills')
const wantsCells = kills === null || process.argv.includes('--selection') || value('only') !== null
const exits = [
  wantsCells ? await matrix() : 0,
  kills === null ? 0 : await killing(Number(kills), number('seed', 1)),
]
// Waits with a limit, that came to their end before it, leave their timers behind.
process.exit(Math.max(...exits))

function cells(): Cell[] {
  const only = value('only')
  const some = process.argv.includes('--selection') ? selection(kinds) : everyCell(kinds)
  return some.filter(({ kind, moment }) => only === null || `${kind.name} ${moment}`.includes(only))
}

async function matrix(): Promise<number> {
  const results = read<Result>(kept)
  const isDone = ({ kind, moment }: Cell): boolean =>
    results.some((each) => each.kind === kind.name && each.moment === moment && isWhole(each))
  const left = cells()
    .filter((cell) => !isDone(cell))
    .slice(0, number('most', Infinity))
  let begun = 0
  const one = async (cell: Cell): Promise<void> => {
    begun++
    const from = Date.now()
    let result = await tryCell(cell.kind, cell.moment, cell.as)
    // A machine that is too busy ends a run before its moment comes, or for being late itself: of that nothing is learned.
    for (let again = 0; again < 2 && (!isTried(result) || result.late); again++) {
      tell(result.wrong, `once more: ${toldOf(result)}`, result.story)
      result = await tryCell(cell.kind, cell.moment, cell.as)
    }
    const at = results.findIndex(({ kind, moment }) => kind === result.kind && moment === result.moment)
    if (at >= 0) results.splice(at, 1)
    results.push(result)
    keep(kept, results)
    tell(result.wrong, `${toldOf(result)}, ${seconds(from)}`, result.story)
  }
  await overJobs(
    left.filter(({ kind }) => !kind.alone),
    jobs,
    one,
  )
  await overJobs(
    left.filter(({ kind }) => kind.alone),
    1,
    one,
  )
  table()
  const tried = results.filter(isTried)
  const broken = tried.filter(({ wrong }) => wrong.length > 0).length
  const late = tried.filter((result) => result.late).length
  const untried = results.length - tried.length
  const time = left.length - begun
  process.stdout.write(
    `${tried.length} cells of ${kinds.length} kinds in ${seconds(began)}, ${broken} not as they must be; ${late} ended because the machine was late, ${untried} found no moment, ${time} not begun for want of time.\n`,
  )
  const few = (count: number): boolean => count <= untried_part * results.length
  return broken === 0 && few(untried) && few(late) && time === 0 ? 0 : 1
}

function toldOf({ kind, moment, as, reason, outputs, off_ms, late }: Result): string {
  return `${kind}, ${moment}, ${as}: ${reason}${late ? ' (late)' : ''}, ${outputs}, ${off_ms ?? '–'} ms`
}
function seconds(from: number): string {
  return `${Math.round((Date.now() - from) / 1000)} s`
}

async function killing(count: number, seed: number): Promise<number> {
  const file = kept === null ? null : `${kept}.kills`
  const done = read<Killed>(file)
  const left = Array.from({ length: count }, (_, n) => n)
    .filter((n) => !done.some((each) => each.n === n))
    .slice(0, number('most', Infinity))
  const from = Date.now()
  await overJobs(left, jobs, async (n) => {
    const from = Date.now()
    const one = await killAnywhere(seed, n)
    done.push(one)
    keep(file, done)
    const { whom, when, how, events, readings, wrong } = one
    tell(
      wrong,
      `kill ${n}: ${whom.join(' + ')} (${when}): ${how}, ${events} events, ${readings} readings, ${seconds(from)}`,
      one.story,
    )
  })
  table()
  const broken = done.filter(({ wrong }) => wrong.length > 0).length
  process.stdout.write(
    `${done.length} of ${count} kills in ${seconds(from)}, ${broken} not as they must be.\n`,
  )
  const wanted = done.length >= count || value('most') !== null
  return broken === 0 && wanted ? 0 : 1
}

function tell(wrong: readonly string[], text: string, story: readonly string[] = []): void {
  process.stderr.write(`${wrong.length === 0 ? 'held' : 'NOT '}  ${text}  ${wrong.join('; ')}\n`)
  for (const line of story) process.stderr.write(`        ${line}\n`)
}

function table(): void {
  const out = value('out')
  if (out === null || kept === null) return
  const before = existsSync(out) ? readFileSync(out, 'utf8') : ''
  writeFileSync(out, resultsTable(read<Result>(kept), read<Killed>(`${kept}.kills`), before))
}

async function overJobs<T>(
  list: readonly T[],
  at_once: number,
  work: (one: T) => Promise<void>,
): Promise<void> {
  let next = 0
  const worker = async (): Promise<void> => {
    for (let one = list[next++]; one !== undefined && isTime(); one = list[next++]) await work(one)
  }
  await Promise.all(Array.from({ length: at_once }, worker))
}

/** A line each, so that what a sitting added can be seen. */
function keep(file: string | null, what: readonly unknown[]): void {
  if (file === null) return
  writeFileSync(`${file}.new`, `[\n${what.map((one) => JSON.stringify(one)).join(',\n')}\n]\n`)
  renameSync(`${file}.new`, file)
}
function read<T>(file: string | null): T[] {
  return file !== null && existsSync(file) ? (JSON.parse(readFileSync(file, 'utf8')) as T[]) : []
}
