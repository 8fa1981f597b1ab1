import { spawn, spawnSync, type ChildProcess } from 'node:child_process'
import { mkdtempSync, rmSync, existsSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'

/** A pseudo-terminal: `path` is what a program opens as its serial port; this side plays the supply. */
export interface Pty {
  readonly path: string
  /** Process at the far end of the line. */
  readonly child: ChildProcess
  onData(heard: (text: string) => void): void
  write(text: string): void
  /** The cable is pulled: the terminal goes away. */
  hangUp(): Promise<void>
}

export const haveSocat = spawnSync('socat', ['-V'], { stdio: 'ignore' }).error === undefined

/** Terminal lines need socat. Its absence skips these tests on a desk and fails them in CI, where it is installed. */
export function skipWithoutSocat(): boolean {
  if (haveSocat) return false
  if (process.env['CI'] === 'true')
    throw new Error('socat is missing: install it (package "socat") before the tests of real terminal lines')
  console.warn('Tests of real terminal lines are skipped: install socat (package "socat") to run them.')
  return true
}

export async function openPty(): Promise<Pty> {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-pty-'))
  const path = join(folder, 'line')
  // -t0: without it a hang-up is seen half a second late.
  const child = spawn('socat', ['-t0', `PTY,link=${path},raw,echo=0`, 'STDIO'], {
    stdio: ['pipe', 'pipe', 'inherit'],
  })
  const ended = new Promise<void>((resolve) => {
    child.on('exit', () => {
      rmSync(folder, { recursive: true, force: true })
      resolve()
    })
  })
  child.stdin.on('error', () => undefined)
  for (let i = 0; !existsSync(path); i++) {
    if (i > 1000 || child.exitCode !== null) throw new Error('socat made no terminal line')
    await new Promise((resolve) => setTimeout(resolve, 5))
  }
  return {
    path,
    child,
    onData(heard) {
      child.stdout.on('data', (chunk: Buffer) => {
        heard(chunk.toString('latin1'))
      })
    },
    write(text) {
      child.stdin.write(Buffer.from(text, 'latin1'))
    },
    hangUp() {
      child.kill('SIGKILL')
      return ended
    },
  }
}
