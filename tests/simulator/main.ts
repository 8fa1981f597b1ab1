import { existsSync, readFileSync, writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { callKinds, waysOf } from './every-call.js'
import { decideAgain, keepDecisions } from './decisions.js'
import { everyCall, everyCallTable } from './every-call-table.js'
import { manyRuns } from './many.js'
import { loadParts } from './parts.js'
import { type Found, hunt, planted, plantedTable } from './planted.js'
import { loadSignalParts } from './signals-bench.js'
import { signalTable } from './signals.js'

/*
 * npm run simulate -- --runs N --seed S [--from K] [--jobs J] [--keep FILE] [--kinds] [--json]: N simulated runs over J processes,
 * each with faults drawn by its own seed, every invariant checked at every step. A run that breaks one is told as a short story: what
 * is not needed to break it is left out. FILE keeps what was done: stopped and started again, it goes on from there.
 * npm run simulate -- --planted [FILE] [--runs N] [--only WORDS]: mistakes put into copies of the program, until each is seen; FILE
 * gets the table, in which what is not tried now stays.
 * npm run simulate -- --every-call [FILE] [--stride K] [--only KIND] [--keep FILE] [--json]: the n-th call to a line or the record fails,
 * once and for good, for every K-th n on a line and every n of the record; FILE gets the table, the other what was done.
 * npm run simulate -- --decisions [FOLDER] [--runs N] [--seed S]: runs whose decisions are kept for tests/unit/decisions.test.ts, chosen anew of
 * N simulated ones and of those that tests laid down in FOLDER (SLOWGLOW_LAY_DOWN=FOLDER npx vitest run --project pure).
 * npm run simulate -- --decide-again: what is given now for what these were fed is kept instead, and told where it differs.
 * npm run simulate -- --signals FILE [--only WORDS]: each reading spoilt in each way at each moment of a run, as a table for people; some
 * of them are told only.
 */
const option = (name: string, otherwise: number): number => {
  const at = process.argv.indexOf(`--${name}`)
  const value = at < 0 ? otherwise : Number(process.argv[at + 1])
  if (!Number.isInteger(value) || value < 0) {
    process.stderr.write(`--${name} takes a whole number.\n`)
    process.exit(2)
  }
  return value
}
const json = process.argv.includes('--json')
/** What follows an option; null where it is not given, or nothing follows. */
const text = (name: string): string | null => {
  const at = process.argv.indexOf(`--${name}`)
  const value = at < 0 ? undefined : process.argv[at + 1]
  return value === undefined || value.startsWith('--') ? null : value
}
/** Sources and tools as they were compiled for this call. */
const compiled = resolve(import.meta.dirname, '../..')

process.exitCode = process.argv.includes('--decide-again')
  ? again()
  : process.argv.includes('--decisions')
    ? decisions()
    : process.argv.includes('--signals')
      ? allSignals(text('signals') ?? 'tests/faults/SIGNALS.md')
      : process.argv.includes('--planted')
        ? await mistakes(text('planted'))
        : process.argv.includes('--every-call')
          ? calls(text('every-call'))
          : await drawn()

/** Runs with faults drawn by their seeds. Returns the exit code. */
async function drawn(): Promise<number> {
  const began = Date.now()
  const seed = option('seed', 1)
  const totals = await manyRuns({
    runs: option('runs', 200),
    seed,
    from: option('from', 0),
    jobs: option('jobs', 2),
    file: text('keep'),
  })
  const { runs, virtual_s, faults, ends, broken, versions } = totals
  if (json) process.stdout.write(`${JSON.stringify(totals)}\n`)
  else {
    const injected = Object.values(faults).reduce((sum, n) => sum + n, 0)
    process.stdout.write(
      `${runs} runs from seed ${seed}, ${Math.round(virtual_s)} virtual s in ${Math.round((Date.now() - began) / 1000)} s, ${injected} faults of ${Object.keys(faults).length} kinds: ${broken.length} broken (program at ${versions.join(', ')}).\n`,
    )
    for (const counted of [ends, process.argv.includes('--kinds') ? faults : {}])
      for (const [what, n] of Object.entries(counted).toSorted(([a], [b]) => a.localeCompare(b)))
        process.stdout.write(`  ${String(n).padStart(6)}  ${what}\n`)
  }
  return broken.length === 0 ? 0 : 1
}

/** Each planted mistake until it is seen; the table goes where it was asked for. Returns the exit code. */
async function mistakes(file: string | null): Promise<number> {
  const [runs, seed] = [option('runs', 100), option('seed', 1)]
  const only = text('only')
  const found: Found[] = []
  for (const plant of planted.filter(({ name }) => only === null || name.includes(only))) {
    const one = await hunt(plant, compiled, runs, seed)
    process.stderr.write(
      `${one.after === null ? 'NOT SEEN' : `run ${one.after}`}  ${one.name}: ${one.invariant}\n`,
    )
    found.push(one)
  }
  const before = file !== null && existsSync(file) ? readFileSync(file, 'utf8') : ''
  if (file !== null) writeFileSync(file, plantedTable(found, runs, seed, before))
  return found.every(({ after }) => after !== null) ? 0 : 1
}

function decisions(): number {
  for (const [file, kept] of keepDecisions(
    loadParts(),
    text('decisions'),
    option('runs', 240),
    option('seed', 1),
  ))
    process.stdout.write(`${String(kept).padStart(4)}  ${file}\n`)
  return 0
}

function again(): number {
  for (const differs of decideAgain()) process.stdout.write(`${differs}\n`)
  return 0
}

function allSignals(file: string): number {
  const only = text('only')
  const told = (row: string): void => {
    process.stderr.write(`${row}\n`)
  }
  const { table, broken, wrong } = signalTable(loadSignalParts(), told, only ?? '')
  if (only === null) writeFileSync(file, table)
  return broken === 0 && wrong === 0 ? 0 : 1
}

/** Every K-th call of each kind fails once, and for good; the table goes where it was asked for, once it is whole. Returns the exit code. */
function calls(file: string | null): number {
  const [stride, only] = [Math.max(1, option('stride', 1)), text('only')]
  const rows = everyCall(loadParts(), {
    ...{ stride, only, file: text('keep') },
    told({ kind, way, calls: all, tried, broken }) {
      process.stderr.write(`${kind}, ${way}: ${tried} of ${all} calls, ${broken.length} broken\n`)
      for (const each of broken.slice(0, 5)) process.stderr.write(`  ${JSON.stringify(each)}\n`)
    },
  })
  if (file !== null && rows.length === callKinds.flatMap(waysOf).length)
    writeFileSync(file, everyCallTable(rows, stride))
  if (json) process.stdout.write(`${JSON.stringify({ stride, rows })}\n`)
  return rows.every(({ broken }) => broken.length === 0) ? 0 : 1
}
