import { resolve } from 'node:path'
import { benchStatePath, type BenchState, readBenchState } from '../../controller/index.js'
import type { Bench } from '../../bench/index.js'
import { loadBench } from '../../files/index.js'
import { placesOf } from '../../session/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { placed } from '../problems.js'
import { refuse } from '../refuse.js'
import { faultsInWords, healthInWords } from '../../exchange/index.js'
import { type Askable, askInstrument, type Told } from '../live/ask-instrument.js'
import { untried } from '../live/talk.js'
import { checkSupplies, underWay } from '../check-supply/command.js'
import type { Register } from './index.js'

export const registerSupplies: Register = (program, io) => {
  program
    .command('supplies')
    .description('what is connected, its identity, settings and state; changes nothing')
    .requiredOption('--bench <file>', 'bench file')
    .option('--check', 'plays the transcripts of firmware-protocol that ask and set nothing')
    .option('--sets', 'with --check: those that set something too, with outputs off; asks for cautions')
    .option('--supply <name>', 'with --check: this supply alone')
    .option('--write <file>', 'with --check: writes down what was said, as such a transcript')
    .option('--json', 'one JSON document on standard output')
    .action(async (flags: Flags) => {
      process.exitCode = await supplies(flags, io)
    })
}

interface Flags {
  readonly bench: string
  readonly check?: true
  readonly sets?: true
  readonly supply?: string
  readonly write?: string
  readonly json?: true
}

export async function supplies(flags: Flags, io: Io): Promise<number> {
  const { bench: path } = flags
  const json = flags.json === true
  if (flags.check !== true && (flags.sets ?? flags.supply ?? flags.write) !== undefined)
    return refuse(io, json, {
      exit: exits.usage,
      what: '--sets, --supply and --write belong to --check.',
      remedy: 'Give --check too, or leave them out.',
    })
  const file = resolve(io.cwd, path)
  const loaded = loadBench(file)
  const bench = loaded.value
  if (bench === null)
    return refuse(io, json, {
      exit: exits.finding,
      where: path,
      what: 'Without the bench file no port is known.',
      remedy: 'Mend what is named in it.',
      problems: placed(loaded.problems, io.cwd),
    })
  const left = readBenchState(benchStatePath(file, io.env))
  if (flags.check === true) {
    const places = placesOf(bench, placesLeft(left))
    const { supply, write } = flags
    const order = { bench, left, places, file: path, sets: flags.sets === true, supply, write, json }
    const ended = await checkSupplies(order, io)
    return typeof ended === 'number' ? ended : refuse(io, json, ended)
  }
  const busy = underWay(left)
  if (busy !== null) return refuse(io, json, busy)
  const told = await suppliesTold(file, bench, io.env)
  if (json) printJson(io, { bench: bench.name, supplies: told })
  else for (const [name, one] of Object.entries(told)) io.out(describe(name, one, wantedOf(bench, name)))
  const silent = Object.values(told).some(({ trouble }) => trouble !== null)
  if (silent) return exits.notReachable
  const wrong = Object.entries(told).some(([name, { identity }]) => {
    const wanted = wantedOf(bench, name)
    return wanted !== null && wanted !== identity
  })
  return wrong ? exits.finding : exits.done
}

/** Where a run on this bench put its virtual lines. */
const placesLeft = (left: ReturnType<typeof readBenchState>): BenchState['places'] =>
  left === null || left === 'unreadable' ? {} : left.places

/** Every instrument of a bench asked, one after another; nothing is changed. */
export async function suppliesTold(
  file: string,
  bench: Bench,
  env: Io['env'],
): Promise<Readonly<Record<string, Told>>> {
  const places = placesOf(bench, placesLeft(readBenchState(benchStatePath(file, env))))
  const told: Record<string, Told> = {}
  for (const [name, instrument] of Object.entries(askable(bench))) {
    const place = places[name]
    told[name] =
      place === undefined
        ? {
            trouble: 'its line is virtual, and no virtual bench of this file is running',
            identity: null,
            channels: {},
            inputs: {},
            line: untried,
          }
        : await askInstrument(place, instrument)
  }
  return told
}

/** Supplies with the meters that share their lines, and meters with lines of their own. */
function askable(bench: Bench): Readonly<Record<string, Askable>> {
  const meters = Object.entries(bench.meters)
  const found: Record<string, Askable> = {}
  for (const [name, { dialect, reply_s, channels }] of Object.entries(bench.supplies))
    found[name] = {
      dialect,
      reply_s,
      channels,
      inputs: Object.fromEntries(meters.filter(([, { on }]) => on === name)),
    }
  for (const [name, meter] of meters)
    if (meter.line !== null && meter.dialect !== null)
      found[name] = { dialect: meter.dialect, reply_s: 1, channels: {}, inputs: { [name]: meter } }
  return found
}

export const wantedOf = (bench: Bench, name: string): string | null =>
  bench.supplies[name]?.identity ?? bench.meters[name]?.identity ?? null

function describe(name: string, told: Told, wanted: string | null): string {
  if (told.trouble !== null) {
    const faults = faultsInWords(told.line)
    return `${name}: ${told.trouble}${faults === null ? '' : `  (${faults})`}`
  }
  const other =
    wanted !== null && wanted !== told.identity
      ? `  (the bench file expects "${wanted}")`
      : wanted === null && told.identity !== null
        ? `  (the bench file names none; write there identity: ${JSON.stringify(told.identity)})`
        : ''
  return [
    `${name}: ${told.identity ?? 'no identity'}${other}`,
    ...Object.entries(told.channels).map(([channel, of]) => `  ${channel}: ${channelWords(of)}`),
    ...Object.entries(told.inputs).map(
      ([input, shows]) => `  ${input}: ${shows ?? 'nothing that can be read'}`,
    ),
    `  line: ${healthInWords(told.line)}`,
  ].join('\n')
}

function channelWords(of: Told['channels'][string]): string {
  const { set_V, limit_A, over_V, over_A, output, volts, amps, regulation, fired, guards_off, dead_man } = of
  return [
    `output ${output ?? 'not told'}`,
    `set ${set_V ?? '–'} V`,
    `limit ${limit_A ?? '–'} A`,
    `over-voltage ${over_V ?? '–'} V`,
    ...(over_A === null ? [] : [`over-current ${over_A} A`]),
    `measured ${volts ?? '–'} V ${amps ?? '–'} A`,
    ...(regulation === null || regulation === 'unknown' ? [] : [`constant ${regulation}`]),
    ...guards_off.map((name) => `${name} protection switched OFF`),
    ...(dead_man === null ? [] : [`dead-man ${dead_man}`]),
    ...fired.map((name) => `${name.toUpperCase()} FIRED, latched`),
  ].join(', ')
}
