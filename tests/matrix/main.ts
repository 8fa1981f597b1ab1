import { existsSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { type Result, tryCell, type Way } from './cell.js'
import { type Killed, killAnywhere } from './kills.js'
import { type Kind, kinds, type Moment, moments } from './kinds.js'
import { resultsTable } from './table.js'

/*
 * npm run faults [-- --pairwise] [--only WORDS] [--jobs N] [--keep FILE] [--out FILE]: each kind of fault at each moment of a real run,
 * over a pseudo-terminal and over TCP in turn; `--pairwise` takes each kind once and each moment equally often.
 * npm run faults -- --kills N [--seed S] [--jobs N] [--keep FILE]: processes killed at random moments of real runs.
 * What was tried is kept in FILE (kills in FILE.kills), from where it goes on, with `--most N` for so many more. The table for people,
 * `--out FILE`, is made from both.
 */
const value = (name: string): string | null => {
  const at = process.argv.indexOf(`--${name}`)
  const given = at < 0 ? undefined : process.argv[at + 1]
  return given === undefined || given.startsWith('--') ? null : given
}
const kept = value('keep')
const number = (name: string, otherwise: number): number => Number(value(name) ?? otherwise)
const jobs = Math.max(1, number('jobs', 2))

interface Cell {
  readonly kind: Kind
  readonly moment: Moment
  readonly as: Way
}

const kills = value('kills')
process.exitCode = kills === null ? await matrix() : await killing(Number(kills), number('seed', 1))

/** Both kinds of line in turn, so that each kind and each moment meets both. */
function cells(): Cell[] {
  const only = value('only')
  const pairwise = process.argv.includes('--pairwise')
  return kinds.flatMap((kind, i) =>
    moments.flatMap((moment, j): Cell[] => {
      if (only !== null && !`${kind.name} ${moment}`.includes(only)) return []
      if (pairwise && (i + 2 * Math.floor(i / moments.length)) % moments.length !== j) return []
      return [{ kind, moment, as: kind.only ?? ((i + j) % 2 === 0 ? 'pty' : 'tcp') }]
    }),
  )
}

async function matrix(): Promise<number> {
  const results = read<Result>(kept)
  const isDone = ({ kind, moment }: Cell): boolean =>
    results.some((each) => each.kind === kind.name && each.moment === moment && each.wrong.length === 0)
  const left = cells()
    .filter((cell) => !isDone(cell))
    .slice(0, number('most', Infinity))
  await overJobs(left, async (cell) => {
    let result = await tryCell(cell.kind, cell.moment, cell.as)
    // A machine that is too busy trips a run before its moment comes: that is no cell tried.
    for (let again = 0; again < 2 && result.wrong.some((text) => text.startsWith('not tried')); again++)
      result = await tryCell(cell.kind, cell.moment, cell.as)
    const at = results.findIndex(({ kind, moment }) => kind === result.kind && moment === result.moment)
    if (at >= 0) results.splice(at, 1)
    results.push(result)
    keep(kept, results)
    const { kind, moment, as, reason, outputs, off_ms, wrong } = result
    tell(wrong, `${kind}, ${moment}, ${as}: ${reason}, ${outputs}, ${off_ms ?? '–'} ms`)
  })
  table()
  const broken = results.filter(({ wrong }) => wrong.length > 0).length
  process.stdout.write(`${results.length} cells of ${kinds.length} kinds, ${broken} not as they must be.\n`)
  return broken === 0 ? 0 : 1
}

async function killing(count: number, seed: number): Promise<number> {
  const file = kept === null ? null : `${kept}.kills`
  const done = read<Killed>(file)
  const left = Array.from({ length: count }, (_, n) => n)
    .filter((n) => !done.some((each) => each.n === n))
    .slice(0, number('most', Infinity))
  await overJobs(left, async (n) => {
    const one = await killAnywhere(seed, n)
    done.push(one)
    keep(file, done)
    const { whom, when, how, events, readings, wrong } = one
    tell(wrong, `kill ${n}: ${whom.join(' + ')} (${when}): ${how}, ${events} events, ${readings} readings`)
  })
  table()
  const broken = done.filter(({ wrong }) => wrong.length > 0).length
  process.stdout.write(`${done.length} kills, ${broken} not as they must be.\n`)
  return broken === 0 ? 0 : 1
}

function tell(wrong: readonly string[], text: string): void {
  process.stderr.write(`${wrong.length === 0 ? 'held' : 'NOT '}  ${text}  ${wrong.join('; ')}\n`)
}

function table(): void {
  const out = value('out')
  if (out !== null && kept !== null)
    writeFileSync(out, resultsTable(read<Result>(kept), read<Killed>(`${kept}.kills`)))
}

async function overJobs<T>(list: readonly T[], work: (one: T) => Promise<void>): Promise<void> {
  let next = 0
  const worker = async (): Promise<void> => {
    for (let one = list[next++]; one !== undefined; one = list[next++]) await work(one)
  }
  await Promise.all(Array.from({ length: jobs }, worker))
}

function keep(file: string | null, what: unknown): void {
  if (file === null) return
  writeFileSync(`${file}.new`, `${JSON.stringify(what, null, 1)}\n`)
  renameSync(`${file}.new`, file)
}
function read<T>(file: string | null): T[] {
  return file !== null && existsSync(file) ? (JSON.parse(readFileSync(file, 'utf8')) as T[]) : []
}
