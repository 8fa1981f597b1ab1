import { createHash, randomInt } from 'node:crypto'
import { mkdirSync } from 'node:fs'
import { join, relative, resolve } from 'node:path'
import { cautionsFor } from '../../cautions/index.js'
import { loadAll, type LoadedAll } from '../../files/index.js'
import { makePlan, type Plan, planText } from '../../plan/index.js'
import { createRunFile, RecordTrouble, runFileName, type RunWriter } from '../../record/index.js'
import { type Rehearsal, rehearse } from '../../rehearse/index.js'
import { type RunEntry, streamsOf } from '../../story/index.js'
import { checkFault, type FaultSpec, parseFault } from '../../virtual/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { closingText, exitOf } from '../live/closing.js'
import { frameOf } from '../live/screen.js'
import { problemText } from './check.js'
import type { Register } from './index.js'

interface Flags {
  readonly bench?: string
  readonly fault: string[]
  readonly seed?: string
  readonly out?: string
  readonly json?: boolean
}

/** `slowglow rehearse PROFILE`: the whole plan on the virtual bench in virtual time; nothing real is touched. */
export const registerRehearse: Register = (program, io) => {
  program
    .command('rehearse')
    .description(
      'run the plan on the virtual bench in virtual time, with any fault put in; writes a run file',
    )
    .argument('<profile>', 'profile file')
    .option('--bench <file>', 'bench file in place of the one the profile names')
    .option(
      '--fault <spec>',
      'PART:KIND[=VALUE][@WHEN]; may be given again',
      (spec: string, before: string[]) => [...before, spec],
      [],
    )
    .option('--seed <n>', 'which set and bench are drawn; the bench file’s own unless given')
    .option('--out <dir>', 'folder for the run file', 'runs')
    .option('--json', 'one JSON document on standard output')
    .action((profile: string, flags: Flags) => {
      process.exitCode = command(profile, flags, io)
    })
}

interface Prepared {
  readonly value: NonNullable<LoadedAll['value']>
  readonly behind: NonNullable<LoadedAll['value']>['equipment']
  readonly plan: Plan
  readonly seed: number
  readonly faults: readonly FaultSpec[]
  readonly files: Readonly<Record<string, string>>
}

function command(profilePath: string, flags: Flags, io: Io): Exit {
  const prepared = prepare(profilePath, flags, io)
  if (typeof prepared === 'number') return prepared
  const { plan } = prepared
  io.err(cautionsFor(plan.figures, plan))
  io.err('This is a rehearsal: nothing real is energised, and nothing is to be acknowledged.')
  const started = new Date()
  const folder = resolve(io.cwd, flags.out ?? 'runs')
  const file = join(folder, runFileName(started, plan.equipment, randomInt(0x10000) / 0x10000))
  let writer: RunWriter
  try {
    mkdirSync(folder, { recursive: true })
    writer = createRunFile(file, { fsync: false })
  } catch (error) {
    if (!(error instanceof RecordTrouble) && !isSystemError(error)) throw error
    io.err(`The run file ${file} could not be made: ${error.message}. Give another folder with --out.`)
    return exits.recordNotAvailable
  }
  try {
    const run = file.slice(folder.length + 1).replace(/\.slowglow$/, '')
    const outcome = perform(prepared, { run, started }, writer, io)
    writer.close()
    tell(outcome, { run, file: shown(file, io.cwd), started }, flags.json === true, io)
    return outcome.reachable ? exitOf(outcome.ending) : exits.notReachable
  } catch (error) {
    if (!(error instanceof RecordTrouble)) throw error
    io.err(`The record broke off: ${error.message}`)
    return exits.recordNotAvailable
  }
}

/** Loads, checks and plans; says on stderr what is wrong. */
function prepare(profilePath: string, flags: Flags, io: Io): Prepared | Exit {
  const loaded = loadAll(
    resolve(io.cwd, profilePath),
    flags.bench === undefined ? undefined : resolve(io.cwd, flags.bench),
  )
  for (const problem of loaded.problems) {
    io.err(problemText({ ...problem, file: shown(problem.file, io.cwd) }))
  }
  if (loaded.profile.value !== null && loaded.bench === null) {
    io.err('No bench is named: give --bench FILE, or a `bench:` line in the profile.')
    return exits.usage
  }
  if (loaded.value === null || loaded.bench === null || loaded.equipment === null) return exits.finding
  const { profile, equipment, bench } = loaded.value
  const behind = loaded.benchEquipment?.value ?? equipment
  const seed = flags.seed === undefined ? bench.seed : Number(flags.seed)
  if (!Number.isSafeInteger(seed)) {
    io.err(`--seed ${flags.seed ?? ''} is not a whole number.`)
    return exits.usage
  }
  const faults: FaultSpec[] = []
  for (const text of [...bench.faults, ...flags.fault]) {
    const parsed = parseFault(text)
    const misfit = parsed.ok ? checkFault(parsed.value, behind, bench) : parsed
    if (misfit !== null) {
      io.err(`Fault ${text}: ${misfit.problem}. ${misfit.remedy}.`)
      return exits.usage
    }
    if (parsed.ok) faults.push(parsed.value)
  }
  const made = makePlan(profile, equipment, bench)
  for (const { severity, what, remedy } of made.problems) io.err(`${severity}: ${what} ${remedy}`)
  if (made.plan === null) return exits.finding
  const hash = createHash('sha256').update(planText(made.plan)).digest('hex')
  const sources = [loaded.profile, loaded.equipment, loaded.bench, loaded.benchEquipment]
  return {
    value: loaded.value,
    behind,
    plan: { ...made.plan, hash },
    seed,
    faults,
    files: Object.fromEntries(
      sources.flatMap((source) => (source === null ? [] : [[shown(source.path, io.cwd), source.text]])),
    ),
  }
}

function perform(
  { value, behind, plan, seed, faults, files }: Prepared,
  { run, started }: { readonly run: string; readonly started: Date },
  writer: RunWriter,
  io: Io,
): Rehearsal {
  const entries: RunEntry[] = []
  const flush = (): void => {
    writer.append(entries)
    entries.length = 0
  }
  const known = {
    run,
    started: started.toISOString(),
    version,
    command: 'rehearse' as const,
    plan,
    files,
    identities: {},
    seed,
    faults: faults.map(({ text }) => text),
  }
  writer.append([
    { entry: 'known', known },
    ...streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
  ])
  const screen = progress(io)
  const rehearsal = rehearse(plan, value.equipment, value.bench, {
    seed,
    faults,
    behind,
    record(entry) {
      entries.push(entry)
      if (entries.length >= batch) flush()
    },
    watch(seen) {
      screen.show(() => frameOf(seen, 1).slice(0, -1))
      return undefined
    },
  })
  flush()
  screen.clear()
  return rehearsal
}
const version = '0.1.0'
/** Entries handed to the file at once. */
const batch = 4096

/** Redraws a few lines in place, some ten times a second of real time; nothing where no terminal watches. */
function progress(io: Io): { show(lines: () => readonly string[]): void; clear(): void } {
  let drawn = 0
  let last_ms = 0
  const back = (): string => (drawn === 0 ? '' : `\u001b[${drawn}F\u001b[0J`)
  return {
    show(lines) {
      if (!io.isTerminal || Date.now() - last_ms < 100) return
      last_ms = Date.now()
      const now = lines()
      io.err(back() + now.join('\n'))
      drawn = now.length
    },
    clear() {
      if (drawn > 0) io.err(back())
      drawn = 0
    },
  }
}

function tell(
  { ending, virtual_s, faults }: Rehearsal,
  { run, file, started }: { readonly run: string; readonly file: string; readonly started: Date },
  json: boolean,
  io: Io,
): void {
  if (!json) {
    if (faults.length > 0) io.out(`Faults put in: ${faults.join(', ')}`)
    io.out(closingText(ending, file))
    return
  }
  const { outcome, outputs_off, stored_charge, reason, warnings, hand_rails, steps_done } = ending
  printJson(io, {
    run,
    file,
    outcome,
    outputs_off,
    stored_charge,
    reason,
    started: started.toISOString(),
    duration_s: virtual_s,
    steps_done,
    warnings,
    hand_rails,
    faults,
  })
}

function shown(path: string, cwd: string): string {
  const near = relative(cwd, path)
  return near === '' || near.startsWith('..') ? path : near
}

function isSystemError(error: unknown): error is Error & { readonly code: string } {
  return error instanceof Error && 'code' in error
}
