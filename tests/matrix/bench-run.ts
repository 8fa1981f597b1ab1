import { execFileSync, spawn } from 'node:child_process'
import {
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  writeFileSync,
  writeSync,
  openSync,
  closeSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { childrenOf, processesWith, TerminalSession } from '../helpers/terminal.js'
import { inside, newestTruth, newestView, type SeenView, truths, type Truth, wishFor } from './inside.js'
import type { Moment } from './kinds.js'

export type Who = 'controller' | 'supervisor' | 'recorder'
/** The commit that last changed the program that is tried. */
export const version = execFileSync('git', ['log', '-1', '--format=%h', '--', 'src'], {
  encoding: 'utf8',
}).trim()
/** Bench seconds per second. */
export const speed = 10

/** One real `slowglow run` with its processes, lines and virtual bench, and what can be done to it. */
export class Bench {
  readonly session: TerminalSession
  readonly tap: string
  private answering: NodeJS.Timeout | null = null
  private answers = true
  private readonly burners: number[] = []
  private mounted = false
  private constructor(
    readonly folder: string,
    readonly runs: string,
    args: readonly string[],
  ) {
    this.tap = join(folder, 'tap')
    this.session = TerminalSession.start(
      ['run', join(folder, 'set/hail.yaml'), '--speed', String(speed), '--runs', runs, ...args],
      { XDG_RUNTIME_DIR: folder, NODE_OPTIONS: inside(this.tap) },
    )
  }

  static start(as: 'pty' | 'tcp', args: readonly string[], small_disk = false): Bench {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-cell-'))
    cpSync('tests/simulator/set', join(folder, 'set'), { recursive: true })
    cpSync('tests/matrix/set', join(folder, 'set'), { recursive: true })
    const bench = join(folder, 'set/bench.yaml')
    writeFileSync(bench, readFileSync(bench, 'utf8').replaceAll('as: pty', `as: ${as}`))
    const runs = join(folder, 'runs')
    mkdirSync(runs)
    const mounted = small_disk && mountSmall(runs)
    const run = new Bench(folder, runs, args)
    run.mounted = mounted
    return run
  }

  /** Another start on the same bench, after this one. */
  again(): TerminalSession {
    return TerminalSession.start(
      ['run', join(this.folder, 'set/hail.yaml'), '--speed', String(speed), '--runs', this.runs],
      { XDG_RUNTIME_DIR: this.folder },
    )
  }

  /** Types the word, and answers what is asked until HT is wanted at a question. */
  async acknowledge(): Promise<void> {
    const [, word = ''] = await this.session.shows(/type the word: (\w+)/, 60_000)
    this.session.type(`${word}\r`)
    let answered = 0
    this.answering = setInterval(() => {
      if (!this.answers) return
      const { seen } = this.session
      const asked = Math.max(seen.lastIndexOf('\u001b[J? '), seen.lastIndexOf('\n? '))
      if (asked <= answered) return
      const since = seen.slice(asked)
      if (since.includes('hailer quiet') && this.waitsAtQuestion) return
      const reading = since.includes('Enter accepts it')
      if (!reading && !since.includes('y or n > ') && !since.includes('> ')) return
      answered = asked
      this.session.type(reading ? '\r' : 'y\r')
    }, 50)
  }
  private waitsAtQuestion = false
  /** Whoever held back an answer so that the moment came gives it now. */
  answerAll(): void {
    this.waitsAtQuestion = false
  }

  get view(): SeenView | null {
    return newestView(this.tap)
  }
  /** Whether any output was on when the bench was last looked at. */
  get isOn(): boolean {
    return Object.values(newestTruth(this.tap)?.outputs ?? {}).some((on) => on)
  }
  get truth(): readonly Truth[] {
    return truths(this.tap)
  }

  /** Waits for the moment of the run. */
  async until(moment: Moment, within_ms = 90_000): Promise<void> {
    this.waitsAtQuestion = moment === 'prompt'
    const wanted = (view: SeenView): boolean => {
      const ht = view.rails.find(({ rail }) => rail === 'HT')
      const high = (ht?.set_V ?? 0) > 60 && ht?.output === 'on'
      switch (moment) {
        case 'ramp':
          return view.waiting_for === 'the ramp' && high
        case 'hold':
        case 'make-safe':
          return view.waiting_for === 'the hold' && high
        case 'settle':
          return view.waiting_for === 'the current to settle' && high
        case 'prompt':
          return view.waiting_for === 'your answer' && high
      }
    }
    await this.sees(wanted, moment, within_ms)
    if (moment !== 'make-safe') return
    this.stop()
    await this.sees(({ phase }) => phase === 'making off', moment, within_ms)
  }

  async sees(wanted: (view: SeenView) => boolean, what: string, within_ms: number): Promise<void> {
    const from = Date.now()
    while (Date.now() - from < within_ms) {
      const view = this.view
      if (view !== null && wanted(view)) return
      if (view !== null && view.phase === 'making off' && what !== 'make-safe')
        throw new Error(`It went off before "${what}".`)
      await sleep(25)
    }
    throw new Error(`"${what}" did not come.`)
  }

  stop(): void {
    this.session.type('\u0003')
  }

  pid(who: Who | 'bench'): number {
    const { leader } = this.session
    if (who === 'supervisor') return leader
    const words = { controller: 'controller.process', recorder: 'recorder.process', bench: 'virtual-bench' }
    const found = childrenOf(leader).find((pid) => processesWith(words[who]).includes(pid))
    if (found === undefined) throw new Error(`There is no ${who} process.`)
    return found
  }

  private readonly stopped = new Map<Who, number>()
  kill(signal: 'SIGKILL' | 'SIGSTOP', ...whom: readonly Who[]): void {
    const pids = whom.map((who) => [who, this.pid(who)] as const)
    for (const [who, pid] of pids) {
      process.kill(pid, signal)
      if (signal === 'SIGSTOP') this.stopped.set(who, pid)
    }
  }
  async goOn(after_ms: number, ...whom: readonly Who[]): Promise<void> {
    await sleep(after_ms)
    for (const who of whom) signalTo(this.stopped.get(who), 'SIGCONT')
    // What holds the terminal stands still with its command.
    signalTo(this.session.holder.pid, 'SIGCONT')
  }

  wish(who: Who, what: string): void {
    wishFor(this.tap, what)
    process.kill(this.pid(who), 'SIGUSR2')
  }
  letLoose(): void {
    process.kill(this.pid('bench'), 'SIGUSR2')
  }

  private lineMaker(port: string): number {
    const found = childrenOf(this.pid('bench')).find((pid) =>
      processesWith('socat', `/${port},`).includes(pid),
    )
    if (found === undefined) throw new Error(`There is no line maker for ${port}.`)
    return found
  }
  unplug(port: string): void {
    process.kill(this.lineMaker(port), 'SIGKILL')
  }
  stick(port: string): void {
    const pid = this.lineMaker(port)
    process.kill(pid, 'SIGSTOP')
    this.burners.push(pid)
  }

  fillDisk(): void {
    const handle = openSync(join(this.runs, 'other'), 'w')
    try {
      for (let i = 0; i < 128; i++) writeSync(handle, Buffer.alloc(65_536))
    } catch {
      // Full: that was wanted.
    } finally {
      closeSync(handle)
    }
  }

  burn(for_ms: number): void {
    const busy = `const until = Date.now() + ${for_ms}; while (Date.now() < until);`
    for (let i = 0; i < 4; i++) {
      const { pid } = spawn(process.execPath, ['-e', busy], { stdio: 'ignore' })
      if (pid !== undefined) this.burners.push(pid)
    }
  }

  /** Whether the command is still there. */
  get isRunning(): boolean {
    return childrenOf(this.session.holder.pid ?? 0).length > 0
  }
  get file(): string | null {
    const name = readdirSync(this.runs).find((each) => each.endsWith('.slowglow'))
    return name === undefined ? null : join(this.runs, name)
  }
  get bytes(): number {
    return this.file === null ? 0 : statSync(this.file).size
  }

  /** Whatever is left of it is ended, by its number. */
  async end(benchPid: number | null): Promise<void> {
    if (this.answering !== null) clearInterval(this.answering)
    for (const pid of [...this.burners, ...this.stopped.values()]) signalTo(pid, 'SIGCONT')
    await this.session.end()
    for (const pid of this.burners) signalTo(pid, 'SIGKILL')
    signalTo(benchPid ?? undefined, 'SIGKILL')
    if (this.mounted) execFileSync('umount', ['-l', this.runs])
    rmSync(this.folder, { recursive: true, force: true })
  }
}

function signalTo(pid: number | undefined, signal: NodeJS.Signals): void {
  if (pid === undefined) return
  try {
    process.kill(pid, signal)
  } catch {
    // It is gone already.
  }
}

/** A disk of four megabytes, where that can be had. */
function mountSmall(at: string): boolean {
  try {
    execFileSync('mount', ['-t', 'tmpfs', '-o', 'size=4m', 'tmpfs', at], { stdio: 'ignore' })
    return true
  } catch {
    return false
  }
}
