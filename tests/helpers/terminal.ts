import { type ChildProcess, execFileSync, spawn } from 'node:child_process'
import { existsSync, readFileSync, readdirSync, readlinkSync } from 'node:fs'
import { resolve } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'

/** The compiled program: `npm test` builds it; `SLOWGLOW_DIST` names another build. */
export const program = resolve(process.env['SLOWGLOW_DIST'] ?? 'dist', 'cli/main.js')

/** A command on a real terminal of its own (util-linux `script` makes it); the session's leader is the command itself. */
export class TerminalSession {
  seen = ''
  private code: number | null = null
  private readonly ended: Promise<void>
  private constructor(readonly holder: ChildProcess) {
    holder.stdout?.setEncoding('utf8')
    holder.stdout?.on('data', (text: string) => {
      this.seen += text
    })
    this.ended = new Promise((done) => {
      holder.on('exit', (code) => {
        this.code = code
        done()
      })
    })
  }

  static start(args: readonly string[], env: Readonly<Record<string, string>> = {}): TerminalSession {
    const quoted = [process.execPath, program, ...args].map((word) => `'${word}'`).join(' ')
    const holder = spawn('script', ['-qefc', `exec ${quoted}`, '/dev/null'], {
      stdio: ['pipe', 'pipe', 'inherit'],
      env: { ...process.env, NO_COLOR: '1', ...env },
    })
    holder.stdin.on('error', () => undefined)
    return new TerminalSession(holder)
  }

  type(text: string): void {
    this.holder.stdin?.write(text)
  }

  /** Waits until the terminal has shown this (from `from` on); throws with what it showed instead. */
  async shows(what: string | RegExp, within_ms = 20_000, from = 0): Promise<RegExpExecArray> {
    const pattern =
      typeof what === 'string' ? new RegExp(what.replaceAll(/[.*+?^${}()|[\]\\]/g, '\\$&')) : what
    for (let spent = 0; spent < within_ms; spent += 10) {
      const found = pattern.exec(this.seen.slice(from))
      if (found !== null) return found
      if (this.code !== null) break
      await sleep(10)
    }
    throw new Error(`The terminal did not show ${String(pattern)}. It showed:\n${this.seen.slice(-3000)}`)
  }

  /** Exit code of the command. */
  async exit(within_ms = 30_000): Promise<number | null> {
    await Promise.race([this.ended, sleep(within_ms)])
    if (this.code === null)
      throw new Error(`It has not ended. The terminal shows:\n${this.seen.slice(-3000)}`)
    return this.code
  }

  /** The process that leads the session: the command. */
  get leader(): number {
    const found = childrenOf(this.holder.pid ?? 0)[0]
    if (found === undefined) throw new Error('The command is not running.')
    return found
  }

  /** Lets Ctrl-S and Ctrl-Q pause and resume this terminal's output, as most do outside raw mode. */
  flowControl(): void {
    execFileSync('stty', ['-F', readlinkSync(`/proc/${this.leader}/fd/0`), 'ixon'])
  }

  /** As when the window is closed. */
  hangUp(): void {
    this.holder.kill('SIGKILL')
  }

  async end(): Promise<void> {
    if (this.code !== null) return
    this.type('\u0003')
    await sleep(50)
    this.type('s')
    await Promise.race([this.ended, sleep(8000)])
    this.holder.kill('SIGKILL')
  }
}

export function childrenOf(pid: number): number[] {
  return processes().flatMap(({ pid: child, parent }) => (parent === pid ? [child] : []))
}

/** Processes whose command line holds every one of these words. */
export function processesWith(...words: readonly string[]): number[] {
  return processes().flatMap(({ pid, command }) =>
    words.every((word) => command.includes(word)) ? [pid] : [],
  )
}

function processes(): { pid: number; parent: number; command: string }[] {
  return readdirSync('/proc')
    .filter((name) => /^\d+$/.test(name) && existsSync(`/proc/${name}/stat`))
    .flatMap((name) => {
      try {
        const stat = readFileSync(`/proc/${name}/stat`, 'latin1')
        const fields = stat.slice(stat.lastIndexOf(')') + 2).split(' ')
        // It has ended, and nobody has asked how.
        if (fields[0] === 'Z') return []
        const command = readFileSync(`/proc/${name}/cmdline`, 'latin1').replaceAll('\0', ' ')
        return [{ pid: Number(name), parent: Number(fields[1]), command }]
      } catch {
        return []
      }
    })
}

/** A command without a terminal. */
export function plain(
  args: readonly string[],
  env: Readonly<Record<string, string>> = {},
): Promise<{ code: number | null; out: string; err: string }> {
  return new Promise((done) => {
    const child = spawn(process.execPath, [program, ...args], {
      stdio: ['ignore', 'pipe', 'pipe'],
      env: { ...process.env, ...env },
    })
    let out = ''
    let err = ''
    child.stdout.on('data', (text: Buffer) => {
      out += text.toString()
    })
    child.stderr.on('data', (text: Buffer) => {
      err += text.toString()
    })
    child.on('close', (code) => {
      done({ code, out, err })
    })
  })
}

/** Whether a process is there and has not ended. */
export const isThere = (pid: number): boolean => processes().some((process_) => process_.pid === pid)

/** Waits until a process is no more. */
export async function gone(pid: number, within_ms = 30_000): Promise<void> {
  for (let spent = 0; spent < within_ms; spent += 20) {
    if (!isThere(pid)) return
    await sleep(20)
  }
  throw new Error(`Process ${pid} is still there.`)
}
