import { randomInt } from 'node:crypto'
import { mkdirSync, rmSync, writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import type { Logger } from 'pino'
import type { Bench } from '../../bench/index.js'
import { cautionsFor, drawWord } from '../../cautions/index.js'
import {
  benchStatePath,
  processStart,
  removeBenchState,
  type RunOutcome,
  supervise,
  type Supervisor,
  writeBenchState,
} from '../../controller/index.js'
import { lineConfigsOf } from '../../line/index.js'
import type { Plan } from '../../plan/index.js'
import { runFileName, runNameOf } from '../../record/index.js'
import type { Known, RunEnding } from '../../story/index.js'
import type { PortLine } from '../../supply/index.js'
import { type Exit, exits } from '../exits.js'
import { offSaid, outputsOpen } from '../off-words.js'
import { type Io, printJson } from '../io.js'
import type { Alerts } from '../../alerts/index.js'
import { followWithAlerts } from './alerts.js'
import { configAtSpeed, planAtSpeed } from './at-speed.js'
import { closingText, exitOf } from './closing.js'
import { Conversation } from './conversation.js'
import { clearFormerRun } from './former-run.js'
import { hookedUpAsIn } from './hooked-up.js'
import { inhibitSleep } from './inhibit.js'
import { openLog, type RunLog } from './log.js'
import { placesOf, virtualAs } from './places.js'
import type { Ready } from './prepare.js'
import { type BenchProcess, startBench } from './start-bench.js'
import { type Key, openTerminal, type Terminal } from './terminal.js'
import { hashed } from '../plan-files.js'
import { otherRunsFolders, runsFolder } from '../runs-folder.js'
import { refuse, type Refusal } from '../refuse.js'
import { versionOf } from '../version.js'
import { toTerminal } from '../wrap.js'

export interface EnergiseFlags {
  readonly fault: readonly string[]
  readonly speed: number
  readonly seed?: number
  readonly json?: boolean
  readonly runs?: string | undefined
  readonly log?: string
}

/** A plan that may be energised, whatever kind it is. */
export interface Energised {
  readonly command: Known['command']
  readonly prepared: Ready
  readonly flags: EnergiseFlags
  /** The bench as its file has it, where only a part of it takes part: an earlier run on all of it is made safe first. */
  readonly whole?: Bench
  /** A resistor in place of the set, on a virtual bench: `SUPPLY.CHANNEL=OHMS` and its tolerance. */
  readonly load?: { readonly at: string; readonly tolerance: number }
  /** What more is done and said once the run has ended and its record is closed. */
  readonly after?: (ending: RunEnding, file: string) => After
}
export interface After {
  readonly json: Readonly<Record<string, unknown>>
  readonly text: string
  /** A finding beside what the run itself ended with. */
  readonly finding: boolean
}

/**
 * A run from its cautions to its end: an earlier one made safe, the word typed, recorder and controller started, every stop
 * passed on, outputs confirmed off. Nothing else energises.
 */
export async function energise(start: Energised, io: Io): Promise<Exit> {
  const { prepared, flags } = start
  const json = flags.json === true
  if (prepared.bench.kind === 'real' && process.platform !== 'linux')
    return refuse(io, json, {
      exit: exits.usage,
      where: prepared.bench_path,
      what: 'A real bench is energised on Linux only.',
      remedy: 'Everything else works here, also `rehearse` and a virtual bench.',
    })
  let logging: RunLog
  try {
    logging = openLog(flags.log === undefined ? null : resolve(io.cwd, flags.log))
  } catch (error) {
    return refuse(io, json, {
      exit: exits.usage,
      where: flags.log ?? '',
      what: `The log cannot be written: ${errorText(error)}.`,
      remedy: 'Give another file, or none.',
    })
  }
  const { log } = logging
  const statePath = benchStatePath(prepared.bench_path, io.env)
  let hungUp = false
  const onHangUp = (): void => {
    if (hungUp) return
    hungUp = true
    conversation.stop('closed terminal', false)
  }
  const terminal = openTerminal((key: Key) => {
    conversation.key(key)
  }, onHangUp)
  if (terminal === null)
    return refuse(io, json, {
      exit: exits.usage,
      what: 'The cautions of a run are read and acknowledged on a terminal in every start, and its stop keys are there. No flag stands in for it.',
      remedy: 'Run it from a terminal.',
    })
  // What is said last must stay on the screen: the drawn frame goes first.
  const refused = async (refusal: Refusal): Promise<Exit> => {
    await terminal.close()
    return refuse(io, json, refusal)
  }
  const plan = hashed(planAtSpeed(prepared.plan, flags.speed))
  // From here on every key and signal counts, also while an earlier run is made safe and the virtual bench starts.
  const conversation = new Conversation(terminal, plan, prepared.equipment, flags.speed)
  const signals = {
    SIGINT: () => {
      conversation.stop('Ctrl-C', false)
    },
    SIGTSTP: () => {
      conversation.stop('Ctrl-Z', false)
    },
    SIGTERM: () => {
      conversation.stop('SIGTERM', false)
    },
    SIGQUIT: () => {
      conversation.stop('Ctrl-\\', true)
    },
    SIGHUP: onHangUp,
  } as const
  for (const [signal, act] of Object.entries(signals)) process.on(signal, act)
  const givenUp = (): Promise<Exit> =>
    refused({ exit: exits.stopped, what: 'Given up before anything was energised.' })
  let bench: BenchProcess | null = null
  try {
    const whole = { ...prepared, bench: start.whole ?? prepared.bench }
    const clear = await clearFormerRun(whole, statePath, terminal, refused)
    if (clear !== null) return clear
    if (conversation.stopped()) return await givenUp()
    const as = virtualAs(prepared.bench)
    if (as !== null) {
      const started = await startBench({
        bench: prepared.bench_path,
        as,
        speed: flags.speed,
        faults: flags.fault,
        seed: flags.seed ?? null,
        mode: prepared.plan.steps[0]?.mode ?? '',
        load: start.load ?? null,
        givenUp: conversation.givenUp,
      })
      if ('trouble' in started) {
        if (conversation.stopped()) return await givenUp()
        return await refused({
          exit: exits.notReachable,
          where: prepared.bench_path,
          what: `The virtual bench did not start: ${started.trouble}`,
        })
      }
      bench = started
      conversation.bench = started
      started.lost((text) => {
        log.error(text)
        terminal.line(text)
      })
    }
    terminal.line(cautionsFor(plan.figures, plan))
    const word = drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })
    if (!(await conversation.acknowledge(word)) || conversation.stopped()) return await givenUp()
    const places = placesOf(prepared.bench, bench?.places ?? {})
    return await supervised({
      of: start,
      prepared,
      plan,
      places,
      flags,
      statePath,
      terminal,
      conversation,
      word,
      log,
      io,
    })
  } finally {
    bench?.end()
    for (const [signal, act] of Object.entries(signals)) process.off(signal, act)
    await terminal.close()
    logging.end()
  }
}

interface Started {
  readonly of: Energised
  readonly prepared: Ready
  readonly plan: Plan
  readonly places: Readonly<Record<string, PortLine>>
  readonly flags: EnergiseFlags
  readonly statePath: string
  readonly terminal: Terminal
  readonly conversation: Conversation
  readonly word: string
  readonly log: Logger
  readonly io: Io
}

async function supervised(start: Started): Promise<Exit> {
  const { prepared, plan, flags, terminal, conversation, log, io } = start
  const unrecordable = async (where: string, why: string): Promise<Exit> => {
    await terminal.close()
    return refuse(io, flags.json === true, {
      exit: exits.recordNotAvailable,
      where,
      what: `The record cannot be kept: ${why} Nothing was energised.`,
    })
  }
  const at = new Date()
  const folder = runsFolder(flags.runs, io)
  const file = join(folder, runFileName(at, plan.equipment, randomInt(0, 2 ** 32) / 2 ** 32))
  const offPath = `${file}.off.json`
  try {
    mkdirSync(folder, { recursive: true })
    writeFileSync(offPath, JSON.stringify(plan.off))
  } catch (error) {
    return unrecordable(folder, `${errorText(error)}. Choose a folder that you can write to.`)
  }
  const hooked_up_as_in = hookedUpAsIn([folder, ...otherRunsFolders(folder, io)], plan)
  const known: Known = {
    run: runNameOf(file),
    started: at.toISOString(),
    version: versionOf(),
    command: start.of.command,
    plan,
    files: prepared.files,
    identities: {},
    seed: prepared.bench.kind === 'virtual' ? (flags.seed ?? prepared.bench.seed) : null,
    faults: prepared.faults.map(({ text }) => text),
  }
  // There is nobody to alert before there is a run, and its end is told while the record can still take what failed.
  const alerting: { by: Alerts | null } = { by: null }
  const supervisor = await supervise({
    plan,
    configs: lineConfigsOf(prepared.bench).map((config) => configAtSpeed(config, flags.speed)),
    places: start.places,
    known,
    run_file: file,
    speed: flags.speed,
    last_words: () => {
      if (alerting.by?.waits() === true)
        terminal.line('The run has ended. What was not told yet is tried for a few seconds more.')
      return alerting.by?.close() ?? Promise.resolve()
    },
  })
  if ('trouble' in supervisor) {
    rmSync(offPath, { force: true })
    return unrecordable(file, supervisor.trouble)
  }
  log.debug({ run: file, controller: supervisor.controller_pid }, 'supervising')
  supervisor.shown.subscribe((shown) => {
    if (shown.kind !== 'view' && shown.kind !== 'health') log.debug(shown)
  })
  alerting.by = followWithAlerts(prepared.bench, { run: known.run, plan }, supervisor, terminal, io.env)
  const awake = inhibitSleep()
  conversation.follow(supervisor)
  const untold = keepState(start, supervisor, file, offPath)
  if (untold !== null) supervisor.stop(untold, true)
  const ready = await supervisor.ready
  // A stop asked for at any moment since the word was typed has been passed on: nothing is begun after it.
  if (ready !== null && untold === null && !conversation.stopped() && !terminal.gone) {
    log.debug({ identities: ready }, 'ready')
    supervisor.begin(start.word, 'terminal', hooked_up_as_in)
  }
  const outcome = await supervisor.finished
  awake()
  log.debug(outcome, 'finished')
  if (untold !== null && (outcome.kind !== 'ended' || outcome.ending.outputs_off === 'confirmed'))
    return unrecordable(start.statePath, untold)
  return closed(start, outcome, { file, offPath, started: at.toISOString() })
}

/** Whoever starts next on this bench must know what may be live. Says why where that cannot be written: then nothing begins. */
function keepState(start: Started, supervisor: Supervisor, file: string, offPath: string): string | null {
  const pid = supervisor.controller_pid
  try {
    writeBenchState(start.statePath, {
      format: 'slowglow bench state 1',
      bench: start.prepared.bench_path,
      run_file: file,
      off_plan: offPath,
      supervisor: { pid: process.pid, started: processStart(process.pid) ?? '' },
      controller: pid === null ? null : { pid, started: processStart(pid) ?? '' },
      places: start.places,
      speed: start.flags.speed,
    })
    return null
  } catch (error) {
    return `the state of the bench cannot be written (${errorText(error)}).`
  }
}

async function closed(
  start: Started,
  outcome: RunOutcome,
  run: { readonly file: string; readonly offPath: string; readonly started: string },
): Promise<Exit> {
  const { terminal, flags, io } = start
  terminal.frame([])
  if (outcome.kind !== 'ended') {
    // Nothing happened that a record could tell.
    for (const path of [run.file, `${run.file}-wal`, `${run.file}-shm`, run.offPath])
      rmSync(path, { force: true })
    removeBenchState(start.statePath)
    await terminal.close()
    return refuse(io, flags.json === true, {
      ...(outcome.kind === 'not reachable'
        ? {
            exit: exits.notReachable,
            what: `Supply or port not reachable: ${outcome.text} Nothing was energised.`,
          }
        : {
            exit: start.conversation.stopped() ? exits.stopped : exits.rigFailed,
            what: `Nothing was energised: ${outcome.text}.`,
          }),
      where: start.prepared.bench_path,
    })
  }
  const { ending } = outcome
  if (!outputsOpen(offSaid(ending))) removeBenchState(start.statePath)
  const after = start.of.after?.(ending, run.file)
  await terminal.close()
  if (flags.json === true) {
    printJson(io, {
      run: runNameOf(run.file),
      file: run.file,
      outcome: ending.outcome,
      outputs_off: ending.outputs_off,
      stored_charge: ending.stored_charge,
      hand_rails: ending.hand_rails,
      reason: ending.reason,
      warnings: ending.warnings,
      started: run.started,
      duration_s: ending.duration_s,
      steps_done: ending.steps_done,
      lines: start.conversation.lines,
      ...after?.json,
    })
  } else {
    io.out(toTerminal(closingText(ending, run.file, start.conversation.lines, start.of.command), io.columns))
    if (after !== undefined) io.out(after.text)
  }
  const exit = exitOf(ending)
  return exit === exits.done && after?.finding === true ? exits.finding : exit
}

const errorText = (error: unknown): string => (error instanceof Error ? error.message : String(error))
