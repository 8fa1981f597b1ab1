import { setTimeout as sleep } from 'node:timers/promises'
import { resolve } from 'node:path'
import {
  type BenchState,
  benchStatePath,
  knownBy,
  makeSafe,
  offAtOnce,
  readBenchState,
  readOffPlan,
  removeBenchState,
  type SafeOffResult,
  stillRuns,
} from '../../controller/index.js'
import { loadBench } from '../../files/index.js'
import { lineConfigsOf } from '../../line/index.js'
import { offPlanOf } from '../../plan/index.js'
import { configAtSpeed, offAtSpeed, placesOf, virtualAs } from '../../session/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { placed } from '../problems.js'
import { refuse } from '../refuse.js'
import type { Register } from './index.js'

const nothingToSwitch =
  'Nothing here can be switched by slowglow: every rail of this bench stands on your own knobs. Switch off by hand: HT mains off first, then heaters, bias last.'
const chargeLine = "The set's stored charge: not measured: take it as charged. Measure before touching."

/** How long a run that is under way may take to make itself safe after it was told, ms; then it is ended. */
const run_within_ms = 20_000

export const registerSafeOff: Register = (program, io) => {
  program
    .command('safe-off')
    .description('every output off in the right order and confirmed, needing nothing but the port')
    .requiredOption('--bench <file>', 'bench file')
    .option('--json', 'one JSON document on standard output')
    .action(async (flags: { readonly bench: string; readonly json?: boolean }) => {
      process.exitCode = await safeOff(flags.bench, flags.json === true, io)
    })
}

async function safeOff(path: string, json: boolean, io: Io): Promise<Exit> {
  for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP', 'SIGTERM'] as const) {
    process.on(signal, () => {
      io.err('Still putting outputs off: the way to stop sooner is the mains switch of the HT supplies.')
    })
  }
  const file = resolve(io.cwd, path)
  const loaded = loadBench(file)
  const bench = loaded.value
  if (bench === null)
    return refuse(io, json, {
      exit: exits.finding,
      where: path,
      what: 'Without the bench file no port is known. Nothing was done.',
      remedy: 'Switch the supplies off by their own switches.',
      problems: placed(loaded.problems, io.cwd),
    })
  const statePath = benchStatePath(file, io.env)
  const state = readBenchState(statePath)
  const left = state === 'unreadable' ? null : state
  const places = placesOf(bench, left?.places ?? {})
  const speed = left?.speed ?? 1
  const off = readOffPlan(left?.off_plan ?? null) ?? offAtSpeed(offPlanOf(bench), speed)
  if (off.channels.length === 0) {
    if (left !== null) await endRun(left, io)
    const outputs_off = 'not confirmed'
    if (json) printJson(io, { outputs_off, text: nothingToSwitch, rails: {}, stored_charge: 'not measured' })
    else io.out(`${nothingToSwitch}\n${chargeLine}`)
    return exits.finding
  }
  if (Object.keys(places).length === 0)
    return refuse(io, json, {
      exit: exits.notReachable,
      where: path,
      what: 'No port of this bench is known: its lines are virtual and no virtual bench of it is running. Nothing was done.',
    })
  offAtOnce(off, places)
  if (left !== null) await endRun(left, io)
  if (state === 'unreadable')
    io.err(
      `${statePath} cannot be read: a run may be under way or have been lost on this bench. Its outputs are put off.`,
    )
  if (left !== null && virtualAs(bench) !== null && readBenchState(statePath) === null) {
    const text = 'The run confirmed its outputs off, and its virtual bench ended with it.'
    if (json) printJson(io, { outputs_off: 'confirmed', text, stored_charge: 'not measured' })
    else io.out(`${text}\n${chargeLine}`)
    return exits.done
  }
  const result = await makeSafe(
    {
      off,
      configs: knownBy(
        lineConfigsOf(bench).map((config) => configAtSpeed(config, speed)),
        left?.identities ?? {},
      ),
      places,
      speed,
      from_us: 0,
    },
    {
      told: (output) => {
        io.err(output.kind === 'alarm' ? `ALARM: ${output.text}` : output.text)
      },
    },
  )
  if (result.outputs_off === 'confirmed' && (left === null || !stillRuns(left.supervisor)))
    removeBenchState(statePath)
  tell(result, json, io)
  // A port that does not answer says nothing of its outputs: this is never "not reachable, nothing energised".
  if (result.outputs_off !== 'confirmed') return exits.notConfirmedOff
  return Object.keys(result.hand_rails).length > 0 ? exits.finding : exits.done
}

/** A run on this bench reads the same port and would take our replies: it is told to go off, and ended when it does not. */
async function endRun(left: BenchState, io: Io): Promise<void> {
  if (stillRuns(left.supervisor)) {
    io.err(
      `A run is under way on this bench (process ${left.supervisor.pid}): it is told to put its outputs off now.`,
    )
    process.kill(left.supervisor.pid, 'SIGQUIT')
    for (let spent = 0; spent < run_within_ms && stillRuns(left.supervisor); spent += 50) await sleep(50)
    if (stillRuns(left.supervisor)) process.kill(left.supervisor.pid, 'SIGKILL')
  }
  if (left.controller !== null && stillRuns(left.controller)) {
    io.err(`Its controller (process ${left.controller.pid}) is still there: ended.`)
    process.kill(left.controller.pid, 'SIGKILL')
    for (let spent = 0; spent < 3000 && stillRuns(left.controller); spent += 20) await sleep(20)
  }
}

function tell(result: SafeOffResult, json: boolean, io: Io): void {
  if (json) {
    printJson(io, { ...result, stored_charge: 'not measured' })
    return
  }
  io.out(
    [
      result.text,
      ...Object.entries(result.rails).map(
        ([name, { how, confirmed }]) => `  ${name}: ${how}${confirmed ? '' : '  NOT CONFIRMED'}`,
      ),
      ...Object.entries(result.hand_rails).map(
        ([name, left]) => `  ${name} (your own knob): ${typeof left === 'number' ? `${left} V` : left}`,
      ),
      ...(result.bias_released_by === null ? [] : [`  bias let go by ${result.bias_released_by}`]),
      ...(Object.keys(result.hand_rails).length > 0
        ? []
        : ['Rails on your own knobs are not in this: HT first, bias last.']),
      chargeLine,
    ].join('\n'),
  )
}
