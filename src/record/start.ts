import { spawn } from 'node:child_process'
import { mkdtemp, rm } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { z } from 'zod'

export interface RecorderStart {
  readonly file: string
  /** How long the recorder stays without any client, s. Default 5. */
  readonly linger_s?: number
  readonly max_bytes?: number
  /** Where to put what the run file cannot take, tried before other places. */
  readonly fallback_folder?: string
}
export interface StartedRecorder {
  readonly socket: string
  readonly pid: number
  /** Tells it to end and settles when it has: for a run that never was, whose file is taken away. It is given 3 s. */
  end(): Promise<void>
}

const wordShape = z.union([z.object({ ready: z.literal(true) }), z.object({ trouble: z.string() })])

const end_within_ms = 3000

/** Starts the recorder process, detached, on a socket in a private folder; settles when it listens or says why it cannot. */
export async function startRecorder(
  start: RecorderStart,
  program = fileURLToPath(new URL('./recorder.process.js', import.meta.url)),
): Promise<StartedRecorder | { readonly trouble: string }> {
  const folder = await mkdtemp(join(tmpdir(), 'slowglow-'))
  const socket = join(folder, 'recorder')
  const args = [
    ...['--file', start.file, '--socket', socket],
    ...(start.linger_s === undefined ? [] : ['--linger-s', String(start.linger_s)]),
    ...(start.max_bytes === undefined ? [] : ['--max-bytes', String(start.max_bytes)]),
    ...(start.fallback_folder === undefined ? [] : ['--fallback-folder', start.fallback_folder]),
  ]
  const child = spawn(process.execPath, [program, ...args], {
    detached: true,
    stdio: ['ignore', 'pipe', 'inherit'],
  })
  const said = await new Promise<string>((resolve) => {
    setTimeout(() => {
      resolve(trouble('The recorder was not ready within 15 s; the disk of its run file may be stalled.'))
    }, 15_000).unref()
    let text = ''
    child.stdout.setEncoding('utf8')
    child.stdout.on('data', (chunk: string) => {
      text += chunk
      if (text.includes('\n')) resolve(text)
    })
    child.on('error', (error) => {
      resolve(trouble(`The recorder cannot be started: ${error.message}`))
    })
    child.on('close', () => {
      resolve(text)
    })
  })
  child.stdout.destroy()
  child.unref()
  const gone = new Promise<void>((resolve) => {
    if (child.exitCode !== null || child.signalCode !== null) resolve()
    else
      child.once('exit', () => {
        resolve()
      })
  })
  const word = wordShape.safeParse(parse(said)).data ?? { trouble: 'The recorder ended before it was ready.' }
  if ('ready' in word && child.pid !== undefined) {
    return {
      socket,
      pid: child.pid,
      async end() {
        child.kill('SIGTERM')
        const given = setTimeout(() => child.kill('SIGKILL'), end_within_ms)
        await gone
        clearTimeout(given)
      },
    }
  }
  child.kill('SIGKILL')
  await rm(folder, { recursive: true, force: true })
  return 'trouble' in word ? word : { trouble: 'The recorder has no process.' }
}

const trouble = (text: string): string => JSON.stringify({ trouble: text })

function parse(text: string): unknown {
  try {
    return JSON.parse(text) as unknown
  } catch {
    return undefined
  }
}
