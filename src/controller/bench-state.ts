import { createHash } from 'node:crypto'
import {
  closeSync,
  existsSync,
  fsyncSync,
  mkdirSync,
  openSync,
  readdirSync,
  readFileSync,
  realpathSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir, userInfo } from 'node:os'
import { dirname, isAbsolute, join } from 'node:path'
import { benchStateShape, type BenchState } from './messages.js'

type Env = Readonly<Record<string, string | undefined>>

/**
 * One small file per bench while a run is under way: who supervises, who controls, which ports. A run that ends well removes
 * it; one found at the next start means that outputs may be on.
 */
export function benchStatePath(bench: string, env: Env): string {
  const directory = stateFolder(env)
  mkdirSync(directory, { recursive: true, mode: 0o700 })
  const name = createHash('sha256').update(realpathSync(bench)).digest('hex').slice(0, 16)
  return join(directory, `${name}.json`)
}

/**
 * Where it is still found after the computer lost its power: the XDG state folder ($XDG_STATE_HOME, else .local/state in the home), not the
 * runtime directory, which goes with the power while the supplies stay on. The temporary one only where there is no home.
 */
function stateFolder(env: Env): string {
  const named = env['XDG_STATE_HOME'] ?? ''
  const home = env['HOME'] ?? env['USERPROFILE'] ?? ''
  if (isAbsolute(named)) return join(named, 'slowglow')
  return home === ''
    ? join(tmpdir(), `slowglow-${userInfo().uid}`, 'slowglow')
    : join(home, '.local', 'state', 'slowglow')
}

/** Null where there is none. One that is there and cannot be read hides nothing: outputs may be on, it is only not known which. */
export function readBenchState(path: string): BenchState | 'unreadable' | null {
  try {
    const parsed = benchStateShape.safeParse(JSON.parse(readFileSync(path, 'utf8')))
    return parsed.success ? parsed.data : 'unreadable'
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? error.code : ''
    return code === 'ENOENT' ? null : 'unreadable'
  }
}

/** Whole or not at all, and on the disk when this returns: a half-written state file would hide an orphan. */
export function writeBenchState(path: string, state: BenchState): void {
  const whole = `${path}.${process.pid}`
  writeFileSync(whole, JSON.stringify(state), { mode: 0o600, flush: true })
  renameSync(whole, path)
  if (process.platform === 'win32') return
  const folder = openSync(dirname(path), 'r')
  try {
    fsyncSync(folder)
  } finally {
    closeSync(folder)
  }
}

/**
 * The run on this bench is over, and an output may be on. Its supervisor may live on as a service: whoever comes here next must
 * neither wait for that nor end it. Best effort: what stays otherwise is a state that says more than is so, never less.
 */
export function leaveBenchState(path: string): void {
  const state = readBenchState(path)
  if (state === null || state === 'unreadable') return
  try {
    writeBenchState(path, { ...state, supervisor: nobody })
  } catch {
    // Outputs off or not, and how, has been told already; this only says who no longer watches.
  }
}

/** No process has this number. */
const nobody = { pid: 0, started: '' }

/** The run that left this came to its end, with the alarm; else it was cut short. */
export const cameToItsEnd = ({ supervisor }: BenchState): boolean => supervisor.pid === nobody.pid

/** Run files whose supervising process lives, with its number. */
export function runsUnderWay(env: Env): ReadonlyMap<string, number> {
  const directory = stateFolder(env)
  const found = new Map<string, number>()
  for (const name of existsSync(directory) ? readdirSync(directory) : []) {
    const state = name.endsWith('.json') ? readBenchState(join(directory, name)) : null
    if (state !== null && state !== 'unreadable' && stillRuns(state.supervisor))
      found.set(realPath(state.run_file), state.supervisor.pid)
  }
  return found
}

/** What runs left whose supervising process is gone: their outputs may be on. One that cannot be read hides nothing. */
export function leftBehind(env: Env): { readonly path: string; readonly state: BenchState | 'unreadable' }[] {
  const directory = stateFolder(env)
  return (existsSync(directory) ? readdirSync(directory) : []).flatMap((name) => {
    if (!name.endsWith('.json')) return []
    const path = join(directory, name)
    const state = readBenchState(path)
    if (state === null || (state !== 'unreadable' && stillRuns(state.supervisor))) return []
    return [{ path, state }]
  })
}

/** The file itself, whatever path it is called by. */
export function realPath(path: string): string {
  try {
    return realpathSync(path)
  } catch {
    return path
  }
}

export function removeBenchState(path: string): void {
  rmSync(path, { force: true })
}

/**
 * A process by number *and* start, since numbers are given out again: field 22 of `/proc/PID/stat` (Linux, proc(5)), behind which boot of
 * the computer it counts from. Null where there is no such process; a zombie counts as none.
 */
export function processStart(pid: number): string | null {
  try {
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1')
    const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ')
    return fields[0] === 'Z' || fields[19] === undefined ? null : `${bootId()} ${fields[19]}`
  } catch {
    return null
  }
}

/** Another one after every start of the computer (Linux, random(4)). */
const bootId = (): string => readFileSync('/proc/sys/kernel/random/boot_id', 'latin1').trim()

export function stillRuns(process_: { readonly pid: number; readonly started: string }): boolean {
  return processStart(process_.pid) === process_.started
}
