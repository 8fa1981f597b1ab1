import { createInterface } from 'node:readline'
import { Option } from 'commander'
import { dirname, resolve } from 'node:path'
import type { Bench } from '../../bench/index.js'
import type { Equipment } from '../../equipment/index.js'
import { loadBench, loadEquipment, loadProfile, type Problem } from '../../files/index.js'
import { benchUnderTest, loadAsSet } from '../../qualify/index.js'
import { formingBench, liftedSet } from '../../reform/index.js'
import { parseQuantity } from '../../quantities/index.js'
import { type FromBench, toBenchShape } from '../../session/index.js'
import { createVirtualBench, type FaultSpec, readFault, type VirtualBench } from '../../virtual/index.js'
import { exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { collect, speedOf, whole } from '../live/flags.js'
import { placed } from '../problems.js'
import { refuse } from '../refuse.js'
import { openPtyPorts, openTcpPorts, type VirtualPorts } from '../live/virtual-ports.js'
import { runWorld } from '../live/virtual-world.js'
import type { Register } from './index.js'

interface Flags {
  readonly bench: string
  readonly pty?: boolean
  readonly tcp?: number
  readonly speed: number
  readonly fault: string[]
  readonly seed?: number
  readonly mode?: string
  readonly load?: string
  readonly loadTolerance: number
  readonly lifted?: string
  readonly json?: boolean
}

/** A parent that is gone leaves the bench standing this long at most: a lost controller may still have to make it safe. */
const orphan_limit_ms = 120_000
const orphan_idle_ms = 3_000
const open_ohm = 9.99e7

export const registerVirtualBench: Register = (program, io) => {
  program
    .command('virtual-bench')
    .description('the virtual supplies and set as a program of its own, on terminal lines or loopback ports')
    .requiredOption('--bench <file>', 'bench file of kind virtual')
    .addOption(new Option('--pty', 'one terminal line per supply').conflicts('tcp'))
    .option('--tcp <port>', 'loopback ports from this one on, one per supply', whole)
    .option('--speed <n>', 'seconds of the bench per second of the clock, 1 to 20', speedOf, 1)
    .option('--fault <spec>', 'PART:KIND[=VALUE]@WHEN, may be given again', collect, [])
    .addHelpText('after', faultHelp)
    .option('--seed <n>', 'draws the parts of the set; the bench file’s own unless given', whole)
    .option('--load <at>', 'SUPPLY.CHANNEL=OHMS: a resistor on one output in place of the set')
    .option('--load-tolerance <part>', 'how far that resistor may be off, relative', Number, 0.01)
    .option(
      '--lifted <profile>',
      'in place of the set the electrolytics that this profile has lifted out of it',
    )
    .option('--mode <name>', 'mode the controls stand in at the start')
    .option('--json', 'messages as JSON lines on standard output')
    .action(async (flags: Flags) => {
      await serve(flags, io)
    })
}

async function serve(flags: Flags, io: Io): Promise<void> {
  if (flags.pty !== true && flags.tcp === undefined) {
    process.exitCode = refuse(io, flags.json === true, {
      exit: exits.usage,
      what: 'Nothing says how the virtual supplies are to be reached.',
      remedy: 'Give --pty, or --tcp PORT.',
    })
    return
  }
  const loaded = load(flags, io)
  if (loaded === null) return
  const { bench } = loaded

  let ports: VirtualPorts | null = null
  const world = runWorld(bench, flags.speed, () => ports)
  const handlers = {
    received: (port: string, text: string) => {
      world.received(port, text)
    },
    lost: (port: string, text: string) => {
      say({ kind: 'trouble', text: `The line of ${port} is gone: ${text}.` })
    },
  }
  const opened =
    flags.tcp === undefined
      ? await openPtyPorts(bench.ports(), handlers)
      : await openTcpPorts(bench.ports(), flags.tcp, handlers)
  if ('trouble' in opened) {
    world.stop()
    process.exitCode = refuse(io, flags.json === true, { exit: exits.notReachable, what: opened.trouble })
    if (process.connected) process.disconnect()
    return
  }
  ports = opened
  const close = (): void => {
    world.stop()
    opened.close()
    process.exit(exits.done)
  }
  const say = (message: FromBench): void => {
    if (process.send !== undefined) {
      if (process.connected) process.send(message)
    } else {
      io.out(JSON.stringify(message))
    }
  }
  const obey = (raw: unknown): void => {
    const parsed = toBenchShape.safeParse(raw)
    if (!parsed.success) {
      say({ kind: 'trouble', text: 'A message to the virtual bench was not understood.' })
      return
    }
    const message = parsed.data
    switch (message.kind) {
      case 'mode':
        bench.mode(message.mode)
        return
      case 'step':
        bench.step(message.step)
        return
      case 'turn':
        bench.turn(message.rail, message.volts)
        return
      case 'clear':
        bench.clear(message.output)
        return
      case 'fit':
        bench.fit(message.what)
        return
      case 'lift':
        bench.lift(message.part)
        return
      case 'probe':
        bench.advance(world.now_us())
        say({
          kind: 'probed',
          id: message.id,
          value: bench.probe(message.node, message.against, message.ohm),
        })
        return
      case 'ohms':
        bench.advance(world.now_us())
        // No number says "open" in JSON: a meter's highest range does.
        say({ kind: 'probed', id: message.id, value: Math.min(bench.ohms(message.rail), open_ohm) })
        return
      case 'truth': {
        const { volts, rails, outputs } = bench.truth()
        say({ kind: 'truth', id: message.id, volts, rails, outputs, faults: [...bench.faults()] })
        return
      }
      case 'quit':
        close()
        return
    }
  }

  say({ kind: 'ports', places: opened.places })
  if (process.send !== undefined) {
    // A terminal's Ctrl-C is meant for the run: the supply must outlive it.
    for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP'] as const) process.on(signal, () => undefined)
    process.on('message', obey)
    process.on('disconnect', () => {
      leaveWhenIdle(bench, close)
    })
    return
  }
  for (const signal of ['SIGINT', 'SIGTERM', 'SIGHUP'] as const) process.on(signal, close)
  for (const [port, place] of Object.entries(opened.places)) {
    io.err(`${port}: ${place.kind === 'serial' ? place.path : `${place.host}:${place.port}`}`)
  }
  createInterface({ input: process.stdin }).on('line', (line) => {
    obey(fromJson(line))
  })
}

function load(flags: Flags, io: Io): { bench: VirtualBench } | null {
  const fail = (what: string, remedy: string, problems: readonly Problem[] = []): null => {
    process.exitCode = refuse(io, flags.json === true, {
      ...{ exit: exits.finding, where: flags.bench, what, remedy },
      problems: placed(problems, io.cwd),
    })
    return null
  }
  const noBench = 'There is no bench to be virtual.'
  const mend = 'Mend what is named in it.'
  const file = loadBench(flags.bench)
  const broken = (problems: readonly Problem[]) => problems.some(({ severity }) => severity === 'error')
  if (file.value === null || broken(file.problems)) return fail(noBench, mend, file.problems)
  const bench = file.value
  if (flags.load !== undefined) {
    const loaded = onLoad(bench, flags.load, flags.loadTolerance)
    if (loaded === null)
      return fail(`There is no such output to load: ${flags.load}.`, 'Write SUPPLY.CHANNEL=OHMS.')
    return withFaults(loaded.set, loaded.bench, flags, fail)
  }
  if (bench.equipment === null) {
    return fail(
      `${flags.bench} names no equipment: a virtual bench needs the set behind it.`,
      'Add `equipment: FILE.yaml`.',
    )
  }
  const set = loadEquipment(resolve(dirname(flags.bench), bench.equipment))
  if (set.value === null || broken(set.problems)) return fail(noBench, mend, set.problems)
  if (flags.lifted === undefined) return withFaults(set.value, bench, flags, fail)
  const profile = loadProfile(flags.lifted)
  const reform = profile.value?.reform ?? null
  const forming = reform === null ? null : formingBench(bench, reform)
  if (reform === null || forming === null)
    return fail(`${flags.lifted} lifts nothing that this bench could feed.`, mend, profile.problems)
  return withFaults(liftedSet(set.value, reform, true), forming, flags, fail)
}

/** A resistor on one output, in place of the set. */
function onLoad(whole: Bench, at: string, tolerance: number): { bench: Bench; set: Equipment } | null {
  const [channel = '', ohms = ''] = at.split('=')
  const ohm = parseQuantity(/[a-zΩ]/i.test(ohms) ? ohms : `${ohms} Ω`, 'Ω')
  if (!ohm.ok || ohm.value <= 0) return null
  const order = {
    ...{ channel, top_V: 0, meter: null, skip: [] },
    load: { ohm: ohm.value, tolerance, rated_W: 1 },
  }
  const bench = benchUnderTest(whole, order)
  return bench === null ? null : { bench, set: loadAsSet(bench, order) }
}

function withFaults(
  set: Equipment,
  bench: Bench,
  flags: Flags,
  fail: (what: string, remedy: string) => null,
): { bench: VirtualBench } | null {
  const faults: FaultSpec[] = []
  for (const text of [...bench.faults, ...flags.fault]) {
    const read = readFault(text, set, bench)
    if (!read.ok) return fail(`${read.problem}.`, `${read.remedy}.`)
    faults.push(read.value)
  }
  const mode = flags.mode ?? Object.keys(set.modes)[0] ?? ''
  return { bench: createVirtualBench(set, bench, { seed: flags.seed ?? bench.seed, faults, mode }) }
}

function leaveWhenIdle(bench: VirtualBench, close: () => void): void {
  let idle_ms = 0
  const every_ms = 500
  setInterval(() => {
    const live = Object.values(bench.truth().outputs).some((on) => on)
    idle_ms = live ? 0 : idle_ms + every_ms
    if (idle_ms >= orphan_idle_ms) close()
  }, every_ms)
  setTimeout(close, orphan_limit_ms)
}

function fromJson(text: string): unknown {
  try {
    return JSON.parse(text)
  } catch {
    return null
  }
}
