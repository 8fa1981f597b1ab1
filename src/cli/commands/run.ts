import { randomInt } from 'node:crypto'
import { mkdirSync, rmSync, writeFileSync } from 'node:fs'
import { basename, join, resolve } from 'node:path'
import pino, { type Logger } from 'pino'
import { cautionsFor, drawWord } from '../../cautions/index.js'
import {
  benchStatePath,
  endOrphan,
  processStart,
  readBenchState,
  removeBenchState,
  type RunOutcome,
  stillRuns,
  supervise,
  type Supervisor,
  writeBenchState,
} from '../../controller/index.js'
import { lineConfigsOf } from '../../line/index.js'
import { offPlanOf, type Plan } from '../../plan/index.js'
import { runFileName } from '../../record/index.js'
import type { Known } from '../../story/index.js'
import type { PortLine } from '../../supply/index.js'
import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import { offSaid, outputsOpen } from '../off-words.js'
import { type Io, printJson } from '../io.js'
import { configAtSpeed, planAtSpeed } from '../live/at-speed.js'
import { closingText, exitOf } from '../live/closing.js'
import { Conversation } from '../live/conversation.js'
import { collect, speedOf, whole } from '../live/flags.js'
import { hookedUpAsIn } from '../live/hooked-up.js'
import { inhibitSleep } from '../live/inhibit.js'
import { placesOf, virtualAs } from '../live/places.js'
import { prepare, type Prepared } from '../live/prepare.js'
import { type BenchProcess, startBench } from '../live/start-bench.js'
import { type Key, openTerminal, type Terminal } from '../live/terminal.js'
import { hashed } from '../plan-files.js'
import { refuse, type Refusal } from '../refuse.js'
import type { Register } from './index.js'

interface Flags {
  readonly bench?: string
  readonly fault: string[]
  readonly speed: number
  readonly seed?: number
  readonly json?: boolean
  readonly runs: string
  readonly log?: string
}

export const registerRun: Register = (program, io) => {
  program
    .command('run')
    .description('runs a profile for real, or on a virtual bench in real time')
    .argument('<profile>', 'profile file')
    .option('--bench <file>', 'bench file; the one the profile names unless given')
    .option('--fault <spec>', 'virtual bench only: PART:KIND[=VALUE]@WHEN, may be given again', collect, [])
    .addHelpText('after', faultHelp)
    .option('--speed <n>', 'virtual bench only: run seconds per second, 1 to 20', speedOf, 1)
    .option('--seed <n>', 'virtual bench only: draws the parts of the set', whole)
    .option('--runs <dir>', 'folder for the run file', 'runs')
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output')
    .action(async (profile: string, flags: Flags) => {
      process.exitCode = await run(profile, flags, io)
    })
}

async function run(profile: string, flags: Flags, io: Io): Promise<Exit> {
  const prepared = prepare('run', profile, flags, io)
  if (typeof prepared === 'number') return prepared
  const json = flags.json === true
  if (prepared.bench.kind === 'real' && process.platform !== 'linux')
    return refuse(io, json, {
      exit: exits.usage,
      where: prepared.bench_path,
      what: 'A real bench is energised on Linux only.',
      remedy: 'Everything else works here, also `rehearse` and a virtual bench.',
    })
  const statePath = benchStatePath(prepared.bench_path, io.env)
  let conversation: Conversation | null = null
  let hungUp = false
  const onHangUp = (): void => {
    if (hungUp) return
    hungUp = true
    conversation?.stop('closed terminal', false)
  }
  const terminal = openTerminal((key: Key) => {
    conversation?.key(key)
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
  const signals = {
    SIGINT: () => conversation?.stop('Ctrl-C', false),
    SIGTSTP: () => conversation?.stop('Ctrl-Z', false),
    SIGTERM: () => conversation?.stop('SIGTERM', false),
    SIGQUIT: () => conversation?.stop('Ctrl-\\', true),
    SIGHUP: onHangUp,
  } as const
  for (const [signal, act] of Object.entries(signals)) process.on(signal, act)
  const log = pino(
    { level: flags.log === undefined ? 'silent' : 'debug' },
    pino.destination(flags.log === undefined ? 2 : resolve(io.cwd, flags.log)),
  )
  let bench: BenchProcess | null = null
  try {
    const clear = await clearFormerRun(prepared, statePath, terminal, refused)
    if (clear !== null) return clear
    const as = virtualAs(prepared.bench)
    if (as !== null) {
      const started = await startBench({
        bench: prepared.bench_path,
        as,
        speed: flags.speed,
        faults: flags.fault,
        seed: flags.seed ?? null,
        mode: prepared.plan.steps[0]?.mode ?? '',
      })
      if ('trouble' in started) {
        return await refused({
          exit: exits.notReachable,
          where: prepared.bench_path,
          what: `The virtual bench did not start: ${started.trouble}`,
        })
      }
      bench = started
      started.lost((text) => {
        log.error(text)
        terminal.line(text)
      })
    }
    const plan = hashed(planAtSpeed(prepared.plan, flags.speed))
    conversation = new Conversation(terminal, plan, prepared.equipment, bench, flags.speed)
    const word = await acknowledged(conversation, terminal, plan)
    if (word === null)
      return await refused({ exit: exits.stopped, what: 'Given up before anything was energised.' })
    const places = placesOf(prepared.bench, bench?.places ?? {})
    return await supervised({
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
  }
}

/** The first act of every start: whatever an earlier run left on is made safe and told. Null = the bench is clear. */
async function clearFormerRun(
  prepared: Prepared,
  statePath: string,
  terminal: Terminal,
  refused: (refusal: Refusal) => Promise<Exit>,
): Promise<Exit | null> {
  const left = readBenchState(statePath)
  if (left === null) return null
  if (stillRuns(left.supervisor))
    return refused({
      exit: exits.notReachable,
      where: left.run_file,
      what: `Another run is under way on this bench (process ${left.supervisor.pid}, ${left.run_file}).`,
      remedy: `End that one first: at its terminal, or with kill ${left.supervisor.pid} (runs down), again (outputs off now), again (no longer asks for your knobs). slowglow safe-off --bench FILE does it too.`,
    })
  terminal.line(
    'An earlier run on this bench did not end well. Reading back its outputs and making them safe first.',
  )
  const configs = lineConfigsOf(prepared.bench).map((config) => configAtSpeed(config, left.speed))
  const orphan = await endOrphan(left, configs, offPlanOf(prepared.bench, prepared.equipment), {
    told: (output) => {
      terminal.line(output.kind === 'alarm' ? `ALARM: ${output.text}` : `  ${output.text}`)
    },
  })
  for (const text of orphan.found) terminal.line(text)
  if (orphan.result.outputs_off !== 'confirmed')
    return refused({
      exit: exits.notConfirmedOff,
      where: left.run_file,
      what: `OUTPUTS NOT CONFIRMED OFF after an earlier run: ${orphan.result.text}`,
      remedy: 'Cut the mains of the HT sources now (not of the bias).',
    })
  removeBenchState(statePath)
  terminal.line("The set's stored charge: not measured: take it as charged. Measure before touching.")
  return null
}

/** The cautions in full, and the word drawn for this start typed by a person. Null = given up. */
async function acknowledged(
  conversation: Conversation,
  terminal: Terminal,
  plan: Plan,
): Promise<string | null> {
  terminal.line(cautionsFor(plan.figures, plan))
  const word = drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })
  for (;;) {
    terminal.line('')
    terminal.line('Read the cautions above and acknowledge them for this start.')
    terminal.line(`To do so, type the word: ${word}`)
    terminal.frame(['> '])
    const typed = await conversation.typed()
    if (typed === null) return null
    if (typed.toLowerCase() === word) return word
    terminal.line(`"${typed}" is not the word. Nothing is energised before it is typed; Ctrl-C gives up.`)
  }
}

interface Started {
  readonly prepared: Prepared
  readonly plan: Plan
  readonly places: Readonly<Record<string, PortLine>>
  readonly flags: Flags
  readonly statePath: string
  readonly terminal: Terminal
  readonly conversation: Conversation
  readonly word: string
  readonly log: Logger
  readonly io: Io
}

async function supervised(start: Started): Promise<Exit> {
  const { prepared, plan, flags, terminal, conversation, log, io } = start
  const at = new Date()
  const folder = resolve(io.cwd, flags.runs)
  mkdirSync(folder, { recursive: true })
  const file = join(folder, runFileName(at, plan.equipment, randomInt(0, 2 ** 32) / 2 ** 32))
  const hooked_up_as_in = hookedUpAsIn(folder, plan)
  const offPath = `${file}.off.json`
  writeFileSync(offPath, JSON.stringify(plan.off))
  const known: Known = {
    run: basename(file),
    started: at.toISOString(),
    version: '0.1.0',
    command: 'run',
    plan,
    files: prepared.files,
    identities: {},
    seed: prepared.bench.kind === 'virtual' ? (flags.seed ?? prepared.bench.seed) : null,
    faults: prepared.faults.map(({ text }) => text),
  }
  const supervisor = await supervise({
    plan,
    configs: lineConfigsOf(prepared.bench).map((config) => configAtSpeed(config, flags.speed)),
    places: start.places,
    known,
    run_file: file,
    speed: flags.speed,
  })
  if ('trouble' in supervisor) {
    rmSync(offPath, { force: true })
    await terminal.close()
    return refuse(io, flags.json === true, {
      exit: exits.recordNotAvailable,
      where: file,
      what: `The record cannot be kept: ${supervisor.trouble} Nothing was energised.`,
    })
  }
  log.debug({ run: file, controller: supervisor.controller_pid }, 'supervising')
  supervisor.shown.subscribe((shown) => {
    if (shown.kind !== 'view') log.debug(shown)
  })
  keepState(start, supervisor, file, offPath)
  const awake = inhibitSleep()
  conversation.follow(supervisor)
  const ready = await supervisor.ready
  if (ready !== null) {
    log.debug({ identities: ready }, 'ready')
    supervisor.begin(start.word, 'terminal', hooked_up_as_in)
  }
  const outcome = await supervisor.finished
  awake()
  log.debug(outcome, 'finished')
  return closed(start, outcome, { file, offPath, started: at.toISOString() })
}

/** Whoever starts next on this bench must know what may be live. */
function keepState(start: Started, supervisor: Supervisor, file: string, offPath: string): void {
  const pid = supervisor.controller_pid
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
            exit: start.conversation.stopped ? exits.stopped : exits.rigFailed,
            what: `Nothing was energised: ${outcome.text}.`,
          }),
      where: start.prepared.bench_path,
    })
  }
  const { ending } = outcome
  if (!outputsOpen(offSaid(ending))) removeBenchState(start.statePath)
  await terminal.close()
  if (flags.json === true) {
    printJson(io, {
      run: basename(run.file),
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
    })
  } else {
    io.out(closingText(ending, run.file))
  }
  return exitOf(ending)
}
