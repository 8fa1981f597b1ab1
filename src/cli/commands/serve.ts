import { randomBytes } from 'node:crypto'
import { existsSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import { fileURLToPath } from 'node:url'
import { InvalidArgumentError } from 'commander'
import { dataFolder } from '../../record/index.js'
import { type Service, startService } from '../../service/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { exitFor } from '../live/energise.js'
import { exitOf } from '../live/exit-of.js'
import { logOf, type RunLog } from '../live/log.js'
import { refuse } from '../refuse.js'
import { otherRunsFolders, runsFolder, runsHelp } from '../runs-folder.js'
import { programVersion } from '../version.js'
import type { Register } from './index.js'

interface Flags {
  readonly listen?: string
  readonly port: number
  readonly runs?: string
  readonly log?: string
  readonly forgetDevices?: boolean
  readonly forgetDevice: readonly string[]
  readonly unwatched: number
  readonly json?: boolean
}

/** Our choice, in the range that systems leave to users (RFC 6335) and below those handed out by themselves. */
const usualPort = 28100
/** Long enough for a page that is loaded again or a network that was lost, our choice. */
const usualUnwatched_s = 120

/** `slowglow serve`: the page at the bench, and the API behind it. */
export const registerServe: Register = (program, io) => {
  program
    .command('serve')
    .description('the live page and its API on this machine; supervises the runs that are started from it')
    .argument('[folder]', 'folder of the equipment, bench and profile files', 'profiles')
    .option('--port <n>', 'port of the page', portOf, usualPort)
    .option(
      '--listen <address>',
      'also for paired devices of a network you trust, on this address of this machine; they may watch, stop and answer readings',
    )
    .option('--forget-devices', 'every device paired before has to give a code again')
    .option(
      '--forget-device <mark>',
      'this one has to; its mark stands in brackets behind its name, in the terminal and in every record (may be given again)',
      (mark: string, marks: readonly string[]) => [...marks, markOf(mark)],
      [],
    )
    .option(
      '--unwatched <s>',
      'a run that no page has watched for so long is run down, as one whose terminal was closed: 5 to 600 s',
      secondsOf,
      usualUnwatched_s,
    )
    .option('--runs <dir>', runsHelp)
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output, once it listens')
    .action(async (folder: string, flags: Flags) => {
      process.exitCode = await serve(folder, flags, io)
    })
}

async function serve(named: string, flags: Flags, io: Io): Promise<Exit> {
  const json = flags.json === true
  const folder = resolve(io.cwd, named)
  if (statSync(folder, { throwIfNoEntry: false })?.isDirectory() !== true)
    return refuse(io, json, {
      exit: exits.usage,
      where: named,
      what: `There is no folder ${named}.`,
      remedy: 'Name the folder that holds the files of your sets; `slowglow new` makes one.',
    })
  const logging = logOf(flags, io)
  if (typeof logging === 'number') return logging
  const runs = runsFolder(flags.runs, io)
  const service = await startService({
    place: { folder, runs, elsewhere: otherRunsFolders(runs, io) },
    desk: new URL('../desk/desk.process.js', import.meta.url),
    address: flags.listen ?? '127.0.0.1',
    port: flags.port,
    key: deviceKey(flags, io),
    forgotten: forgotten(flags, io),
    page: builtPage(),
    version: programVersion,
    env: io.env,
    unwatched_s: flags.unwatched,
    log: logging.log,
    say: io.err,
    ring: () => {
      if (process.stderr.isTTY) process.stderr.write('\u0007')
    },
    code: (code) => {
      io.err(`To pair a device, open the page on it and give this code: ${code}`)
    },
  })
  if ('trouble' in service) {
    logging.end()
    return refuse(io, json, {
      exit: exits.usage,
      where: `${flags.listen ?? '127.0.0.1'}:${flags.port}`,
      what: `The service cannot listen there: ${service.trouble}.`,
      remedy: 'Another one may be running: open its page, or give another --port.',
    })
  }
  if (json) printJson(io, { urls: service.urls, folder, runs, pid: process.pid })
  else io.err(greeting(service, relative(io.cwd, folder) || '.', flags))
  return untilStopped(service, logging, io)
}

function greeting({ urls: [own = '', ...others] }: Service, folder: string, flags: Flags): string {
  return [
    `slowglow is at ${own}`,
    ...(flags.listen === undefined
      ? []
      : [
          `For paired devices: ${others.join(' ')} (plain HTTP: on a network you trust. They watch, stop, answer readings.)`,
        ]),
    'Open it in a browser on this machine. Nothing is energised before the cautions are acknowledged there.',
    `Without a browser, in a terminal: slowglow run ${example(folder)}`,
    'Ctrl-C ends it; with a run under way it runs that down first, and again puts its outputs off now.',
  ].join('\n')
}

/** The demo where it is there: on its virtual bench, ten times faster than life. */
function example(folder: string): string {
  const demo = join(folder, 'tern-rock', 'receive.yaml')
  return existsSync(demo) ? `${demo} --speed 10` : join(folder, 'PROFILE.yaml')
}

/** Signals mean what they mean in `run`; when the run is over, or there was none, the service ends. */
async function untilStopped(service: Service, logging: RunLog, io: Io): Promise<Exit> {
  let asked: () => void = () => undefined
  const ending = new Promise<void>((settle) => {
    asked = settle
  })
  const runs = { stopped: false }
  const stop = (by: string, now: boolean) => (): void => {
    try {
      if (service.stop(by, now)) runs.stopped = true
    } catch {
      // It is still being prepared, with nothing energised: there is nothing to stop.
    }
    asked()
  }
  const signals = {
    SIGINT: stop('Ctrl-C', false),
    SIGTSTP: stop('Ctrl-Z', false),
    SIGTERM: stop('SIGTERM', false),
    SIGQUIT: stop('Ctrl-\\', true),
    SIGHUP: stop('closed terminal', false),
  } as const
  for (const [signal, act] of Object.entries(signals)) process.on(signal, act)
  await ending
  const over = await service.over()
  await service.close()
  logging.end()
  for (const [signal, act] of Object.entries(signals)) process.off(signal, act)
  io.err('The service has ended.')
  if (!runs.stopped) return exits.done
  return over.kind === 'ran' ? exitOf(over.ending) : exitFor[over.why]
}

/** Beside this program, where the build puts it. */
function builtPage(): string | null {
  const page = fileURLToPath(new URL('../../console', import.meta.url))
  return existsSync(join(page, 'index.html')) ? page : null
}

/** Kept for the owner alone, so that paired devices come back after a restart; without a place for it they give a code again. */
function deviceKey({ listen, forgetDevices }: Flags, io: Io): Buffer {
  const drawn = randomBytes(32)
  const path = besideRuns('device-key', io)
  if (path === null || (listen === undefined && forgetDevices !== true)) return drawn
  try {
    if (forgetDevices === true) {
      rmSync(path, { force: true })
      io.err('Every device has to give a code again; a service that runs already lets them in until it ends.')
      if (listen === undefined) return drawn
    }
    if (existsSync(path)) {
      const kept = Buffer.from(readFileSync(path, 'utf8').trim(), 'hex')
      if (kept.length === 32) return kept
    }
    mkdirSync(dirname(path), { recursive: true })
    writeFileSync(path, `${drawn.toString('hex')}\n`, { mode: 0o600 })
  } catch (error) {
    io.err(
      forgetDevices === true
        ? `The devices are NOT ended: ${path} cannot be changed (${errorText(error)}). Remove that file yourself.`
        : `Paired devices will have to give a code again after a restart: ${path} cannot be kept (${errorText(error)}).`,
    )
  }
  return drawn
}

/**
 * Marks of devices that were ended one by one; kept beside the key, since their tokens are good still. Looked up at every use: the
 * command that ends one is typed beside the service that lets it in.
 */
function forgotten({ forgetDevice }: Flags, io: Io): () => ReadonlySet<string> {
  const path = besideRuns('forgotten-devices', io)
  const now = new Set(forgetDevice)
  if (path === null) return () => now
  let changed_ms = -1
  const kept = (): ReadonlySet<string> => {
    const { mtimeMs = 0 } = statSync(path, { throwIfNoEntry: false }) ?? {}
    if (mtimeMs === changed_ms) return now
    changed_ms = mtimeMs
    if (existsSync(path))
      for (const mark of readFileSync(path, 'utf8').split('\n')) if (mark !== '') now.add(mark)
    return now
  }
  let told = false
  const trouble = (error: unknown): void => {
    if (!told)
      io.err(
        `Which devices were ended is not known or kept beyond this start: ${path} (${errorText(error)}). --forget-devices ends them all.`,
      )
    told = true
  }
  try {
    kept()
    if (forgetDevice.length > 0) {
      mkdirSync(dirname(path), { recursive: true })
      writeFileSync(path, `${[...now].join('\n')}\n`, { mode: 0o600, flush: true })
      io.err(
        `Ended: ${forgetDevice.join(', ')}. A service that runs already for paired devices does not let it in any more.`,
      )
    }
  } catch (error) {
    trouble(error)
  }
  return () => {
    try {
      return kept()
    } catch (error) {
      trouble(error)
      return now
    }
  }
}

const besideRuns = (name: string, io: Io): string | null => {
  const runs = dataFolder(io.env)
  return runs === null ? null : join(dirname(runs), name)
}
const errorText = (error: unknown): string => (error instanceof Error ? error.message : String(error))

function markOf(text: string): string {
  if (!/^[0-9a-f]{6,12}$/.test(text))
    throw new InvalidArgumentError('The mark of a device is wanted, as it stands behind its name.')
  return text
}

function secondsOf(text: string): number {
  const value = Number(text)
  if (!(value >= 5 && value <= 600)) throw new InvalidArgumentError('From 5 to 600 seconds are wanted.')
  return value
}

function portOf(text: string): number {
  const value = Number(text)
  if (!/^\d+$/.test(text) || value > 65_535)
    throw new InvalidArgumentError('A port from 0 to 65535 is wanted.')
  return value
}
