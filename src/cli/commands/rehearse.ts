import { randomInt } from 'node:crypto'
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { cautionsFor, unattendedCautions } from '../../cautions/index.js'
import { createRunFile, RecordTrouble, runFileName, runNameOf, type RunWriter } from '../../record/index.js'
import { type Rehearsal, rehearse } from '../../rehearse/index.js'
import { closingText } from '../../session/index.js'
import { type RunEntry, streamsOf } from '../../story/index.js'
import { causesLine, runGiven } from '../causes-line.js'
import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import { type Io, printJson } from '../io.js'
import { AlertsTold } from '../live/alerts.js'
import { continuableRun, earlierText } from '../live/earlier.js'
import { exitOf } from '../live/exit-of.js'
import { collect, whole } from '../live/flags.js'
import { coldObjection, placesTold, unattendedObjections } from '../../session/index.js'
import { prepare, type Prepared } from '../live/prepare.js'
import { frameOf } from '../live/screen.js'
import { shown } from '../problems.js'
import { refuse } from '../refuse.js'
import { runsFolder, runsHelp } from '../runs-folder.js'
import { versionOf } from '../version.js'
import type { Register } from './index.js'
import { toTerminal } from '../wrap.js'

interface Flags {
  readonly bench?: string
  readonly fault: string[]
  readonly seed?: number
  readonly out?: string
  readonly unattended?: boolean
  readonly continue?: string
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
    .option('--fault <spec>', 'PART:KIND[=VALUE][@WHEN]; may be given again', collect, [])
    .addHelpText('after', faultHelp)
    .option('--seed <n>', 'which set and bench are drawn; the bench file’s own unless given', whole)
    .option('--unattended', 'as it would be run with nobody there; says what would forbid it')
    .option('--continue <run>', 'a reform that did not come to its end: as it would go on from that run')
    .option('--out <dir>', runsHelp)
    .option('--json', 'one JSON document on standard output')
    .action((profile: string, flags: Flags) => {
      process.exitCode = command(profile, flags, io)
    })
}

function command(profilePath: string, flags: Flags, io: Io): Exit {
  const json = flags.json === true
  const made = prepare('rehearse', profilePath, { ...flags, runs: flags.out }, io)
  if (typeof made === 'number') return made
  const prepared = flags.continue === undefined ? made : takenUp(made, flags.continue, flags, io)
  if (typeof prepared === 'number') return prepared
  const { plan, bench } = prepared
  io.err(cautionsFor(plan.figures, plan))
  if (plan.unattended !== undefined) {
    io.err(unattendedCautions(plan, placesTold(bench)))
    for (const text of unattendedObjections(plan, bench, io.env)) io.err(`A run would be refused: ${text}`)
  }
  const cold = coldObjection(plan)
  if (cold !== null) io.err(`A run would be refused. ${cold.what.replace(/\nNothing was energised\.$/, '')}`)
  io.err('This is a rehearsal: nothing real is energised, and nothing is to be acknowledged.')
  const started = new Date()
  const folder = runsFolder(flags.out, io)
  const file = join(folder, runFileName(started, plan.equipment, randomInt(0x10000) / 0x10000))
  let writer: RunWriter
  try {
    mkdirSync(folder, { recursive: true })
    writer = createRunFile(file, { fsync: false })
  } catch (error) {
    if (!(error instanceof RecordTrouble) && !isSystemError(error)) throw error
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: file,
      what: `The run file ${file} could not be made: ${error.message}.`,
      remedy: 'Give another folder with --out.',
    })
  }
  try {
    const run = runNameOf(file)
    const alerts = new AlertsTold(bench, { run, plan })
    const seed = flags.seed ?? bench.seed
    const outcome = perform(prepared, { run, started, seed, alerts }, writer, io)
    writer.close()
    const never = neverCame(prepared.faults, outcome.faults)
    const { outcome: how, warnings } = outcome.ending
    const causes = causesLine({
      ...{ outcome: how, warnings, command: 'rehearse', level: plan.level },
      ...{ lifted: prepared.lifted !== null, run: runGiven(file, io) },
    })
    tell(outcome, { run, file: shown(file, io.cwd), started, never, alerts, causes }, json, io)
    return outcome.reachable ? exitOf(outcome.ending) : exits.notReachable
  } catch (error) {
    if (!(error instanceof RecordTrouble)) throw error
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: file,
      what: `The record broke off: ${error.message}`,
    })
  }
}

/** As it would go on from a run that did not come to its end; the parts behind the virtual bench are as they were drawn, unformed. */
function takenUp(prepared: Prepared, words: string, flags: Flags, io: Io): Prepared | Exit {
  const json = flags.json === true
  const found = continuableRun(words, runsFolder(flags.out, io), io.cwd, prepared.plan)
  if ('trouble' in found)
    return refuse(io, json, {
      exit: exits.usage,
      where: words,
      what: found.trouble,
      remedy: 'Leave --continue out.',
    })
  io.err(earlierText(found, true))
  const { earlier, why_not } = found
  if (earlier === null || prepared.lifted === null)
    return refuse(io, json, { exit: exits.finding, ...(why_not ?? { what: 'It cannot be taken up.' }) })
  const { plan, problems } = prepared.lifted.again(earlier)
  if (plan !== null) return { ...prepared, plan }
  return refuse(io, json, { exit: exits.finding, what: 'It cannot be taken up.', problems })
}

function perform(
  { equipment, bench, behind, plan, faults, files }: Prepared,
  {
    run,
    started,
    seed,
    alerts,
  }: {
    readonly run: string
    readonly started: Date
    readonly seed: number
    readonly alerts: AlertsTold
  },
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
    version: versionOf(),
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
  const rehearsal = rehearse(plan, equipment, bench, {
    seed,
    faults,
    behind,
    record(entry) {
      entries.push(entry)
      alerts.take(entry)
      if (entries.length >= batch) flush()
    },
    watch(seen) {
      screen.show(() =>
        frameOf(seen, 1, {
          columns: process.stderr.columns > 0 ? process.stderr.columns - 1 : 79,
          rows: 0,
        }).slice(0, -1),
      )
      return undefined
    },
  })
  flush()
  screen.clear()
  return rehearsal
}
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
  { ending, virtual_s, faults, lines }: Rehearsal,
  {
    run,
    file,
    started,
    never,
    alerts,
    causes,
  }: {
    readonly run: string
    readonly file: string
    readonly started: Date
    readonly never: readonly string[]
    readonly alerts: AlertsTold
    readonly causes: readonly string[]
  },
  json: boolean,
  io: Io,
): void {
  if (!json) {
    if (faults.length > 0) io.out(`Faults put in: ${faults.join(', ')}`)
    if (never.length > 0) io.out(`Never came: ${never.join(', ')}`)
    io.out(toTerminal(closingText(ending, file, lines), io.columns))
    for (const line of causes) io.out(line)
    const would = alerts.text()
    if (would !== null) io.out(toTerminal(would, io.columns))
    return
  }
  const { outcome, outputs_off, stored_charge, reason, warnings, hand_rails, steps_done } = ending
  const would = alerts.json()
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
    faults_never_came: never,
    lines,
    ...(would !== null && { alerts: would }),
  })
}

/** A fault whose moment was not reached proves nothing, so it is said. */
function neverCame(wanted: readonly { readonly text: string }[], came: readonly string[]): string[] {
  return wanted.map(({ text }) => text).filter((text) => !came.includes(text))
}

function isSystemError(error: unknown): error is Error & { readonly code: string } {
  return error instanceof Error && 'code' in error
}
