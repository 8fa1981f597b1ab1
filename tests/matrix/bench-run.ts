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
import { stripVTControlCharacters } from 'node:util'
import { openRunFile } from '../../src/record/index.js'
import { childrenOf, processesWith, TerminalSession } from '../helpers/terminal.js'
import {
  goesOff,
  hasEnded,
  inside,
  isCut,
  newestTruth,
  newestView,
  type SeenView,
  truths,
  type Truth,
  wishFor,
} from './inside.js'
import type { Moment } from './kind.js'

export type Who = 'controller' | 'supervisor' | 'recorder'
type Member = Who | 'bench'
const members = ['supervisor', 'controller', 'recorder', 'bench'] as const satisfies readonly Member[]
/** Bench seconds per second. */
export const speed = 10
/** A timer that came so late was kept from its core, and so may any process of the run have been. */
const late_ms = 200

/** One real `slowglow run` with its processes, lines and virtual bench, and what can be done to it. */
export class Bench {
  readonly session: TerminalSession
  readonly tap: string
  private answering: NodeJS.Timeout | null = null
  private answers = true
  private readonly burners: number[] = []
  private readonly known = new Map<Member, number>()
  /** When this process itself came late. */
  private readonly lags: number[] = []
  private readonly watching: NodeJS.Timeout
  private mounted = false
  /** A small disk was wanted, and this machine lets nobody make one. */
  isOrdinaryDisk = false
  private constructor(
    readonly folder: string,
    readonly runs: string,
    args: readonly string[],
  ) {
    this.tap = join(folder, 'tap')
    this.session = TerminalSession.start(
      ['run', join(folder, 'set/hail.yaml'), '--speed', String(speed), '--runs', runs, ...args],
      { XDG_STATE_HOME: folder, XDG_DATA_HOME: folder, NODE_OPTIONS: inside(this.tap) },
    )
    let last = Date.now()
    this.watching = setInterval(() => {
      const now = Date.now()
      if (now - last > 50 + late_ms) this.lags.push(now)
      last = now
    }, 50)
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
    run.isOrdinaryDisk = small_disk && !mounted
    return run
  }

  /** Another start on the same bench, after this one. */
  again(): TerminalSession {
    return TerminalSession.start(
      ['run', join(this.folder, 'set/hail.yaml'), '--speed', String(speed), '--runs', this.runs],
      { XDG_STATE_HOME: this.folder, XDG_DATA_HOME: this.folder },
    )
  }

  /** Types the word, and answers what is asked until HT is wanted at a question. */
  async acknowledge(): Promise<void> {
    const [, word = ''] = await this.session.shows(/type the word: (\w+)/, 120_000)
    this.session.type(`${word}\r`)
    let answered = 0
    let typed_at = 0
    this.answering = setInterval(() => {
      if (!this.answers) return
      const { seen } = this.session
      const asked = Math.max(seen.lastIndexOf('\u001b[J? '), seen.lastIndexOf('\n? '))
      // What was typed before the question was open is lost: then it stands there still, and is answered again.
      const lost = this.view?.waiting_for === 'your answer' && Date.now() - typed_at > 3000
      if (asked < answered || (asked === answered && !lost)) return
      const since = seen.slice(asked)
      if (since.includes('hailer quiet') && this.waitsAtQuestion) return
      const reading = since.includes('Enter accepts it')
      if (!reading && !since.includes('y or n > ') && !since.includes('> ')) return
      answered = asked
      typed_at = Date.now()
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

  /** Whether the machine kept somebody from its core between two moments: who watches, or the bench, which looks every 50 ms. */
  wasStarved(from: number, to: number): boolean {
    const within = (at: number): boolean => at >= from && at <= to
    if (this.lags.some(within)) return true
    return this.truth.some(({ at }, i, all) => within(at) && at - (all[i - 1]?.at ?? at) > 50 + late_ms)
  }

  /** Waits until all processes of the run are there, and remembers who is who. */
  async meet(within_ms = 120_000): Promise<void> {
    const from = Date.now()
    for (;;) {
      for (const who of members) {
        const found = this.known.has(who) ? undefined : this.find(who)
        if (found !== undefined) this.known.set(who, found)
      }
      if (this.known.size === members.length) return
      if (Date.now() - from > within_ms || !this.isRunning)
        throw new Error('The processes of the run did not all come.')
      await sleep(50)
    }
  }

  /** Waits for the moment of the run. */
  async until(moment: Moment, within_ms = 180_000): Promise<void> {
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
    const from = Date.now()
    while (!goesOff(this.tap)) {
      if (Date.now() - from > within_ms) throw new Error('It was told to stop and did not go off.')
      await sleep(3)
    }
  }
  get hasEnded(): boolean {
    return hasEnded(this.tap)
  }

  async sees(wanted: (view: SeenView) => boolean, what: string, within_ms: number): Promise<void> {
    const from = Date.now()
    while (Date.now() - from < within_ms) {
      const view = this.view
      if (view !== null && wanted(view)) return
      if (goesOff(this.tap)) throw new Error(`It went off before "${what}".`)
      await sleep(25)
    }
    throw new Error(`"${what}" did not come.`)
  }

  stop(): void {
    this.session.type('\u0003')
  }

  pid(who: Member): number {
    const found = this.known.get(who) ?? this.find(who)
    if (found === undefined) throw new Error(`There is no ${who} process.`)
    return found
  }
  private find(who: Member): number | undefined {
    const leader = childrenOf(this.session.holder.pid ?? 0)[0]
    if (who === 'supervisor' || leader === undefined) return leader
    const words = { controller: 'controller.process', recorder: 'recorder.process', bench: 'virtual-bench' }
    const ours = childrenOf(leader)
    return processesWith(words[who]).find((pid) => ours.includes(pid))
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

  wish(who: Member, what: string): void {
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
  /** The same supply again behind the same name, once the run is going off. */
  async plugAgain(port: string): Promise<void> {
    await this.goesOffWithout(port)
    this.wish('bench', `plug ${port}`)
  }
  /** Every connection to a supply, the supervisor's too, ends at the supply: by RST or by FIN. New ones are taken, or refused. */
  async cut(port: string, how: 'reset' | 'end', then: 'taken' | 'refused'): Promise<void> {
    this.wish('bench', `cut ${port} ${how} ${then}`)
    const from = Date.now()
    while (!isCut(this.tap)) {
      if (Date.now() - from > 5000) throw new Error(`The connections of ${port} were not cut.`)
      await sleep(3)
    }
  }
  /** Whoever refused connections takes them again, once the run is going off. */
  async takeAgain(port: string): Promise<void> {
    await this.goesOffWithout(port)
    this.wish('bench', `take ${port}`)
  }
  private async goesOffWithout(port: string, within_ms = 60_000): Promise<void> {
    const from = Date.now()
    while (!goesOff(this.tap)) {
      if (Date.now() - from > within_ms) throw new Error(`It does not go off without the line of ${port}.`)
      await sleep(20)
    }
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

  /** No more address space than it has now, and something that wants more of it. */
  refuseMemory(who: Who): void {
    const pid = this.pid(who)
    const [, has_kB] = /VmSize:\s+(\d+) kB/.exec(readFileSync(`/proc/${pid}/status`, 'utf8')) ?? []
    execFileSync('prlimit', ['--pid', String(pid), `--as=${Number(has_kB) * 1024}`])
    this.wish(who, 'garbage')
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

  /** What led to where it is: the last of its events, and what its terminal showed last. */
  story(): string[] {
    const shown = stripVTControlCharacters(this.session.seen).split(/[\r\n]+/)
    const opened = openRunFile(this.file ?? '')
    if ('trouble' in opened) return [opened.trouble, ...shown.slice(-20)]
    const events = [...opened.reader.events()].map(({ t_us, what, text }) =>
      `${(t_us / 1e6).toFixed(2).padStart(8)} s  ${what}: ${text}`.slice(0, 200),
    )
    opened.reader.close()
    return [...events.slice(-40), '-- terminal:', ...shown.filter((line) => line.trim() !== '').slice(-20)]
  }

  /** Whatever is left of it is ended, by its number: each carries this run's own folder in its environment. */
  async end(): Promise<void> {
    if (this.answering !== null) clearInterval(this.answering)
    clearInterval(this.watching)
    for (const pid of [...this.burners, ...this.stopped.values()]) signalTo(pid, 'SIGCONT')
    await this.session.end()
    for (const pid of [...this.burners, ...processesOf(this.folder)]) signalTo(pid, 'SIGKILL')
    if (this.mounted) execFileSync('umount', ['-l', this.runs])
    rmSync(this.folder, { recursive: true, force: true, maxRetries: 5 })
  }
}

function processesOf(folder: string): number[] {
  return readdirSync('/proc').flatMap((name) => {
    if (!/^\d+$/.test(name)) return []
    try {
      const environment = readFileSync(`/proc/${name}/environ`, 'latin1').split('\0')
      return environment.includes(`XDG_STATE_HOME=${folder}`) ? [Number(name)] : []
    } catch {
      // It is gone already, or belongs to somebody else.
      return []
    }
  })
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
