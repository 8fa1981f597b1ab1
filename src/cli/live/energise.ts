import { randomInt } from 'node:crypto'
import type { Bench } from '../../bench/index.js'
import { cautionsFor, drawWord, unattendedCautions } from '../../cautions/index.js'
import { benchStatePath } from '../../controller/index.js'
import type { Plan } from '../../plan/index.js'
import {
  type Acknowledged,
  closingText,
  givenUp,
  hookedUpAsIn,
  inhibitSleep,
  type NotBegun,
  type OpenBench,
  openBench,
  placesTold,
  planAtSpeed,
  type Ran,
  type Ready,
  sleeps,
  type Start,
  superviseRun,
  VirtualHands,
} from '../../session/index.js'
import type { Known, RunEnding } from '../../story/index.js'
import { causesLine, runGiven } from '../causes-line.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { hashed } from '../plan-files.js'
import { refuse } from '../refuse.js'
import { otherRunsFolders, runsFolder } from '../runs-folder.js'
import { startCautions } from '../unseen-cautions.js'
import { versionOf } from '../version.js'
import { toTerminal } from '../wrap.js'
import { Conversation } from './conversation.js'
import { photosInBook } from './photo.js'
import { exitOf } from './exit-of.js'
import { overSsh } from './over-ssh.js'
import { logOf, type RunLog } from './log.js'
import { type Key, openTerminal, type Terminal } from './terminal.js'

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
  /** Electrolytics lifted out of the set, on a virtual bench: the profile that names them. */
  readonly lifted?: string
  /** What more is done and said once the run has ended and its record is closed. */
  readonly after?: (ending: RunEnding, file: string) => After
}
export interface After {
  readonly json: Readonly<Record<string, unknown>>
  readonly text: string
  /** A finding beside what the run itself ended with. */
  readonly finding: boolean
}

export const exitFor: Readonly<Record<NotBegun['why'], Exit>> = {
  usage: exits.usage,
  'not to be left alone': exits.finding,
  'cold checks': exits.finding,
  busy: exits.notReachable,
  'given up': exits.stopped,
  'not reachable': exits.notReachable,
  'outputs not confirmed off': exits.notConfirmedOff,
  'record not available': exits.recordNotAvailable,
  'rig failed': exits.rigFailed,
}

/** A run at a terminal, from its cautions to its end: the person reads, types the word, answers, stops. */
export async function energise(of: Energised, io: Io): Promise<Exit> {
  const { prepared, flags } = of
  const json = flags.json === true
  const logging = logOf(flags, io)
  if (typeof logging === 'number') return logging
  const state_path = benchStatePath(prepared.bench_path, io.env)
  let hungUp = false
  const onHangUp = (): void => {
    if (hungUp) return
    hungUp = true
    conversation.stops.stop('closed terminal', false)
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
  const plan = hashed(planAtSpeed(prepared.plan, flags.speed))
  // From here on every key and signal counts, also while an earlier run is made safe and the virtual bench starts.
  const conversation = new Conversation(terminal, plan, flags.speed)
  const stop = (by: string, now: boolean) => () => {
    conversation.stops.stop(by, now)
  }
  const signals = {
    SIGINT: stop('Ctrl-C', false),
    SIGTSTP: stop('Ctrl-Z', false),
    SIGTERM: stop('SIGTERM', false),
    SIGQUIT: stop('Ctrl-\\', true),
    SIGHUP: onHangUp,
  } as const
  for (const [signal, act] of Object.entries(signals)) process.on(signal, act)
  const start: Start = {
    command: of.command,
    prepared,
    plan,
    speed: flags.speed,
    seed: flags.seed ?? null,
    faults: flags.fault,
    state_path,
    ...(of.whole !== undefined && { whole: of.whole }),
    ...(of.load !== undefined && { load: of.load }),
    ...(of.lifted !== undefined && { lifted: of.lifted }),
  }
  let open: OpenBench | NotBegun | null = null
  try {
    // Seconds of reckoning: before a port is opened, so that nothing waits for it.
    const cautions =
      of.command === 'run'
        ? startCautions({ ...prepared, plan, lifted: of.lifted !== undefined })
        : cautionsFor(plan.figures, plan)
    open = await openBench(start, conversation.stops, (text) => {
      terminal.line(text)
    })
    const ended =
      open.kind === 'open'
        ? await acknowledged(start, { ...open, cautions }, conversation, terminal, logging, of, io)
        : open
    // What is said last must stay on the screen: the drawn frame goes first.
    terminal.frame([])
    await terminal.close()
    if (ended.kind === 'ran') {
      for (const text of photosInBook(conversation.photos, prepared, ended.run, userName(io))) io.err(text)
      return closed(of, ended, conversation, io)
    }
    const { why, what, where, remedy } = ended
    return refuse(io, json, {
      exit: exitFor[why],
      what,
      ...(where !== undefined && { where }),
      ...(remedy !== undefined && { remedy }),
    })
  } finally {
    if (open?.kind === 'open') open.bench?.end()
    for (const [signal, act] of Object.entries(signals)) process.off(signal, act)
    await terminal.close()
    logging.end()
  }
}

async function acknowledged(
  start: Start,
  { bench, places, cautions }: OpenBench & { readonly cautions: string },
  conversation: Conversation,
  terminal: Terminal,
  { log }: RunLog,
  { flags }: Energised,
  io: Io,
): Promise<Ran | NotBegun> {
  const { plan, prepared } = start
  const { stops } = conversation
  if (bench !== null) {
    conversation.hands = new VirtualHands(bench, plan, prepared.equipment, start.speed)
    bench.lost((text) => {
      log.error(text)
      terminal.line(text)
    })
  }
  const alone = await leftAlone(plan, placesTold(prepared.bench), conversation, terminal)
  if (alone !== null && 'kind' in alone) return alone
  terminal.line(cautions)
  const word = newWord()
  if (!(await conversation.acknowledge(word)) || stops.stopped()) {
    alone?.awake.end()
    return givenUp
  }
  const folder = runsFolder(flags.runs, io)
  return superviseRun({
    start,
    places,
    word,
    channel: 'terminal',
    ...(alone !== null && { alone }),
    stops,
    folder,
    hookedUpAsIn: () => hookedUpAsIn([folder, ...otherRunsFolders(folder, io)], plan),
    version: versionOf(),
    log,
    env: io.env,
    told: (text) => {
      terminal.line(text)
    },
    follow: (run) => {
      const ssh = overSsh(io.env)
      if (ssh !== null) run.note('act', ssh.text, ssh.data)
      conversation.follow(run)
    },
    present: () => !terminal.gone,
  })
}

/** What leaving it alone needs, confirmed with a word of its own before the cautions of the run; null = somebody stays. */
async function leftAlone(
  plan: Plan,
  told: readonly string[],
  conversation: Conversation,
  terminal: Terminal,
): Promise<NonNullable<Acknowledged['alone']> | NotBegun | null> {
  if (plan.unattended === undefined) return null
  const awake = inhibitSleep()
  const lacking = await awake.lacking
  if (lacking !== null) {
    awake.end()
    return sleeps(lacking)
  }
  const confirmed = unattendedCautions(plan, told)
  terminal.line(confirmed)
  if (await conversation.acknowledge(newWord(), 'unattended')) return { confirmed, awake }
  awake.end()
  return givenUp
}

const newWord = (): string => drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })

function closed(of: Energised, { ending, file, run, started }: Ran, { lines }: Conversation, io: Io): Exit {
  const after = of.after?.(ending, file)
  if (of.flags.json === true) {
    printJson(io, {
      run,
      file,
      outcome: ending.outcome,
      outputs_off: ending.outputs_off,
      stored_charge: ending.stored_charge,
      hand_rails: ending.hand_rails,
      reason: ending.reason,
      warnings: ending.warnings,
      started,
      duration_s: ending.duration_s,
      steps_done: ending.steps_done,
      lines,
      ...after?.json,
    })
  } else {
    io.out(toTerminal(closingText(ending, file, lines, of.command), io.columns))
    const causes = causesLine({
      ...{ outcome: ending.outcome, warnings: ending.warnings, command: of.command },
      ...{ level: of.prepared.plan.level, lifted: of.lifted !== undefined, run: runGiven(file, io) },
    })
    for (const line of causes) io.out(line)
    if (after !== undefined) io.out(after.text)
  }
  const exit = exitOf(ending)
  return exit === exits.done && after?.finding === true ? exits.finding : exit
}
