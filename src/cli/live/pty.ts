import { type ChildProcess, spawn } from 'node:child_process'
import {
  closeSync,
  constants,
  existsSync,
  mkdtempSync,
  openSync,
  readFileSync,
  rmSync,
  symlinkSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'

/** A terminal line made by the operating system: one end a path that any serial program opens, the other end two functions. */
export interface PtyLine {
  readonly path: string
  write(text: string): void
  close(): void
}

/**
 * Makes one with socat where it is installed, else with util-linux's script. Both ends are ours: the far end is also held open
 * here, so that a program closing it is not a hang-up (a real serial line has none either).
 */
export async function openPtyLine(
  name: string,
  directory: string,
  received: (text: string) => void,
  lost: (text: string) => void,
): Promise<PtyLine | { readonly trouble: string }> {
  const link = join(directory, name.replaceAll(/[^A-Za-z0-9._-]/g, '-'))
  const maker = existsOnPath('socat') ? 'socat' : existsOnPath('script') ? 'script' : null
  if (maker === null) {
    return {
      trouble: 'No terminal line can be made: neither socat nor script is installed. Use --tcp PORT instead.',
    }
  }
  rmSync(link, { force: true })
  const child = maker === 'socat' ? bySocat(link) : byScript(`${link}.tty`)
  if (child.stdout === null || child.stdin === null) return { trouble: `${maker} could not be started.` }
  child.stdout.setEncoding('latin1')
  child.stdout.on('data', received)
  child.stdin.on('error', () => undefined)
  let closing = false
  child.on('error', (error) => {
    lost(error.message)
  })
  child.on('exit', (code) => {
    if (!closing) lost(`${maker} ended (${code ?? 'killed'})`)
  })
  for (let tries = 0; tries < 250 && !existsSync(link); tries++) {
    if (maker === 'script') linkOnceTold(link)
    await sleep(20)
  }
  if (!existsSync(link)) {
    child.kill('SIGKILL')
    return { trouble: `${maker} made no terminal line at ${link} within 5 s.` }
  }
  const held = openSync(link, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK)
  const { stdin } = child
  return {
    path: link,
    write: (text) => {
      stdin.write(text, 'latin1')
    },
    close() {
      if (closing) return
      closing = true
      closeSync(held)
      child.kill('SIGKILL')
      rmSync(link, { force: true })
    },
  }
}

export function ptyDirectory(): string {
  return mkdtempSync(join(tmpdir(), 'slowglow-lines-'))
}

/** `-t0`: without it a hang-up is seen half a second late. */
function bySocat(link: string): ChildProcess {
  return spawn('socat', ['-t0', `PTY,link=${link},raw,echo=0`, 'STDIO'], {
    stdio: ['pipe', 'pipe', 'ignore'],
    detached: true,
  })
}

/** The command inside only says which terminal it got and then keeps it open. */
function byScript(told: string): ChildProcess {
  rmSync(told, { force: true })
  return spawn('script', ['-qefc', `stty raw -echo; tty > '${told}'; exec cat <&3 >/dev/null`, '/dev/null'], {
    stdio: ['pipe', 'pipe', 'ignore', 'pipe'],
    detached: true,
  })
}

function linkOnceTold(link: string): void {
  try {
    const path = readFileSync(`${link}.tty`, 'utf8').trim()
    if (path.startsWith('/dev/')) symlinkSync(path, link)
  } catch {
    // Not told yet.
  }
}

function existsOnPath(program: string): boolean {
  return (process.env['PATH'] ?? '').split(':').some((directory) => existsSync(join(directory, program)))
}
