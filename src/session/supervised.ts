import { randomInt } from 'node:crypto'
import { mkdirSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Logger } from 'pino'
import { type Alerts, notAwake } from '../alerts/index.js'
import {
  leaveBenchState,
  processStart,
  removeBenchState,
  supervise,
  type Supervisor,
  writeBenchState,
} from '../controller/index.js'
import { lineConfigsOf } from '../line/index.js'
import { runFileName, runNameOf } from '../record/index.js'
import { happened, type Known } from '../story/index.js'
import type { PortLine } from '../supply/index.js'
import { followWithAlerts } from './alerts.js'
import { coldObjectionNow, runInBook } from './cold-checks.js'
import { configAtSpeed } from './at-speed.js'
import { type Awake, inhibitSleep } from './inhibit.js'
import { offSaid, outputsOpen } from './off-words.js'
import type { Stops } from './stops.js'
import type { NotBegun, Ran, Start } from './types.js'
import { noReserve, objected, sleeps, unattendedObjections, unconfirmed, unheard } from './unattended.js'

/** A start whose cautions were acknowledged. */
export interface Acknowledged {
  readonly start: Start
  readonly places: Readonly<Record<string, PortLine>>
  readonly word: string
  readonly channel: 'terminal' | 'page'
  /** What leaving it alone needs was confirmed with a word of its own, and the computer is kept awake since. */
  readonly alone?: { readonly confirmed: string; readonly awake: Awake }
  readonly stops: Stops
  /** Where its record is kept. */
  readonly folder: string
  /** The set's last run, where its hook-up was confirmed and is the same; else null. */
  readonly hookedUpAsIn: () => string | null | Promise<string | null>
  /** Version of the program and of its decisions, for the record. */
  readonly version: string
  readonly log: Logger
  readonly env: Readonly<Record<string, string | undefined>>
  /** What is said beside the run itself. */
  readonly told: (text: string) => void
  /** Who shows the run and answers its questions takes over from here; nothing of it decides. */
  readonly follow: (run: Supervisor, name: string, file: string) => void
  /** Asked once all supplies have answered: whoever acknowledged is still there. */
  readonly present: () => boolean
}

/** A run from the typed word to its end: recorder and controller started, every stop passed on, outputs off. Nothing else energises. */
export async function superviseRun(of: Acknowledged): Promise<Ran | NotBegun> {
  const { start, log, stops } = of
  const { prepared, plan } = start
  const unfit = coldObjectionNow(start) ?? (await unfitAlone(of))
  if (unfit !== null) return unfit
  const at = new Date()
  const file = join(of.folder, runFileName(at, plan.equipment, randomInt(0, 2 ** 32) / 2 ** 32))
  const off_plan = `${file}.off.json`
  try {
    mkdirSync(of.folder, { recursive: true })
    writeFileSync(off_plan, JSON.stringify(plan.off))
  } catch (error) {
    return unrecordable(of.folder, `${errorText(error)}. Choose a folder that you can write to.`)
  }
  const hooked_up_as_in = await of.hookedUpAsIn()
  const run = runNameOf(file)
  const started = at.toISOString()
  const known: Known = {
    run,
    started,
    version: of.version,
    command: start.command,
    plan,
    files: prepared.files,
    identities: {},
    seed: prepared.bench.kind === 'virtual' ? (start.seed ?? prepared.bench.seed) : null,
    faults: prepared.faults.map(({ text }) => text),
  }
  // There is nobody to alert before there is a run, and its end is told while the record can still take what failed.
  const alerting: { by: Alerts | null } = { by: null }
  const supervisor = await supervise({
    plan,
    configs: lineConfigsOf(prepared.bench).map((config) => configAtSpeed(config, start.speed)),
    places: of.places,
    known,
    run_file: file,
    speed: start.speed,
    last_words: () => {
      if (alerting.by?.waits() === true)
        of.told('The run has ended. What was not told yet is tried for a few seconds more.')
      return alerting.by?.close() ?? Promise.resolve()
    },
  })
  if ('trouble' in supervisor) {
    rmSync(off_plan, { force: true })
    return unrecordable(file, supervisor.trouble)
  }
  log.debug({ run: file, controller: supervisor.controller_pid }, 'supervising')
  supervisor.shown.subscribe((shown) => {
    if (shown.kind !== 'view' && shown.kind !== 'health') log.debug(shown)
  })
  alerting.by = followWithAlerts(prepared.bench, { run, plan }, supervisor, of.told, of.env)
  const awake = of.alone?.awake ?? inhibitSleep()
  void awake.lost.then((why) => {
    const alone = of.alone !== undefined
    // Also what has not begun yet does not begin after it.
    if (alone && !stops.stopped()) stops.stop('the computer, which nothing keeps awake any more', false)
    const text = `Nothing keeps this computer from going to sleep any more (${why}). Asleep it watches nothing: ${alone ? 'nobody is there to see to it, so the run is run down' : 'see to it, or stop the run'}.`
    const entry = happened(supervisor.run_us(), 'supervisor', notAwake, text)
    supervisor.note(notAwake, text, {})
    alerting.by?.take(entry)
    of.told(text)
  })
  of.follow(supervisor, run, file)
  stops.follow(supervisor)
  let untold = keepState(of, supervisor, file, off_plan, {})
  if (untold !== null) supervisor.stop(untold, true)
  const ready = await supervisor.ready
  if (ready !== null && untold === null) {
    untold = keepState(of, supervisor, file, off_plan, ready)
    if (untold !== null) supervisor.stop(untold, true)
  }
  const held =
    ready === null || untold !== null || of.alone === undefined
      ? null
      : await notReady(supervisor, alerting.by)
  if (held !== null) supervisor.stop(held.short, true)
  else if (of.alone !== undefined) supervisor.note('unattended', of.alone.confirmed, {})
  // A stop asked for at any moment since the word was typed has been passed on: nothing is begun after it.
  if (ready !== null && untold === null && held === null && !stops.stopped() && of.present()) {
    log.debug({ identities: ready }, 'ready')
    supervisor.begin(of.word, of.channel, hooked_up_as_in)
  }
  const outcome = await supervisor.finished
  awake.end()
  log.debug(outcome, 'finished')
  if (outcome.kind === 'ended') {
    // Our own stop and nothing else: where an output was found on meanwhile, the run is told as it went.
    const unbegun = outcome.ending.outcome === 'stopped' && outcome.ending.outputs_off === 'confirmed'
    if (untold !== null && unbegun) {
      removeBenchState(start.state_path)
      return unrecordable(start.state_path, untold)
    }
    if (held !== null && unbegun) {
      removeBenchState(start.state_path)
      return held.refused
    }
    if (outputsOpen(offSaid(outcome.ending))) leaveBenchState(start.state_path)
    else removeBenchState(start.state_path)
    const unbooked = runInBook(
      start,
      outcome.ending,
      file,
      of.env['USER'] ?? of.env['LOGNAME'] ?? 'not named',
    )
    if (unbooked !== null) of.told(`The run is not in the book of its set: ${unbooked}`)
    return { kind: 'ran', ending: outcome.ending, run, file, started }
  }
  if (untold !== null) return unrecordable(start.state_path, untold)
  // Nothing happened that a record could tell.
  for (const path of [file, `${file}-wal`, `${file}-shm`, off_plan]) rmSync(path, { force: true })
  removeBenchState(start.state_path)
  return {
    kind: 'not begun',
    where: prepared.bench_path,
    ...(outcome.kind === 'not reachable'
      ? {
          why: 'not reachable',
          what: `Supply or port not reachable: ${outcome.text} Nothing was energised.`,
        }
      : {
          why: stops.stopped() ? 'given up' : 'rig failed',
          what: `Nothing was energised: ${outcome.text}.`,
        }),
  }
}

/** What a run that is left alone lacks once its supplies have answered: nothing is energised yet. */
async function notReady(
  supervisor: Supervisor,
  alerts: Alerts | null,
): Promise<{ readonly refused: NotBegun; readonly short: string } | null> {
  const reserve = noReserve(supervisor.spareTroubles())
  if (reserve !== null) return { refused: reserve, short: 'no connection in reserve' }
  const deaf = unheard((await alerts?.reach()) ?? [])
  return deaf === null ? null : { refused: deaf, short: 'an alert that did not arrive' }
}

/** The last gate before anything is opened: no way in reaches a run that is to be left alone past it. */
async function unfitAlone({ start, env, alone }: Acknowledged): Promise<NotBegun | null> {
  const { plan, prepared } = start
  if (plan.unattended === undefined) return null
  const objection = objected(unattendedObjections(plan, prepared.bench, env))
  if (objection !== null || alone === undefined) return objection ?? unconfirmed
  // Held once is not held now: cautions take their time to read.
  const lacking = (await alone.awake.lacking) ?? alone.awake.gone()
  return lacking === null ? null : sleeps(lacking)
}

const unrecordable = (where: string, why: string): NotBegun => ({
  kind: 'not begun',
  why: 'record not available',
  where,
  what: `The record cannot be kept: ${why} Nothing was energised.`,
})

/** Whoever starts next on this bench must know what may be live. Says why where that cannot be written: then nothing begins. */
function keepState(
  { start, places }: Acknowledged,
  supervisor: Supervisor,
  run_file: string,
  off_plan: string,
  identities: Readonly<Record<string, string>>,
): string | null {
  const pid = supervisor.controller_pid
  try {
    writeBenchState(start.state_path, {
      format: 'slowglow bench state 1',
      bench: start.prepared.bench_path,
      bench_kind: start.prepared.bench.kind,
      run_file,
      off_plan,
      supervisor: { pid: process.pid, started: processStart(process.pid) ?? '' },
      controller: pid === null ? null : { pid, started: processStart(pid) ?? '' },
      places,
      speed: start.speed,
      identities: { ...identities },
    })
    return null
  } catch (error) {
    return `the state of the bench cannot be written (${errorText(error)}).`
  }
}

const errorText = (error: unknown): string => (error instanceof Error ? error.message : String(error))
