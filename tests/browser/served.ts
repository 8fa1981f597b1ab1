import { type ChildProcess, spawn } from 'node:child_process'
import { cpSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import * as z from 'zod'

/** `slowglow serve` as a process of its own, on a folder that holds the files of one set and nothing else. */
export interface Served {
  readonly address: string
  readonly folder: string
  readonly port: number
  end(): Promise<void>
  /** As a process that is lost: nothing of it is orderly. */
  kill(): Promise<void>
}
const listening = z.object({ urls: z.array(z.string()) })

export class Place {
  readonly root = mkdtempSync(join(tmpdir(), 'slowglow-page-'))
  readonly folder = join(this.root, 'sets')
  constructor(sets = 'profiles/small-receiver') {
    cpSync(sets, this.folder, { recursive: true })
  }
  get runs(): string {
    return join(this.root, 'runs')
  }
  remove(): void {
    rmSync(this.root, { recursive: true, force: true })
  }
}

export async function serve(place: Place, port = 0): Promise<Served> {
  const child = spawn(
    process.execPath,
    ['dist/cli/main.js', 'serve', place.folder, '--port', String(port), '--runs', place.runs, '--json'],
    {
      // Its own runtime folder too: what runs of other tests left on is not told here.
      env: {
        ...process.env,
        HOME: place.root,
        XDG_DATA_HOME: join(place.root, 'data'),
        XDG_STATE_HOME: place.root,
      },
      stdio: ['ignore', 'pipe', 'pipe'],
    },
  )
  const ended = (by: 'SIGQUIT' | 'SIGKILL'): Promise<void> =>
    new Promise((resolve) => {
      if (child.exitCode !== null) resolve()
      child.once('exit', () => {
        resolve()
      })
      child.kill(by)
    })
  const url = await firstUrl(child)
  return {
    address: url,
    folder: place.folder,
    port: Number(new URL(url).port),
    end: () => ended('SIGQUIT'),
    kill: () => ended('SIGKILL'),
  }
}

function firstUrl(child: ChildProcess): Promise<string> {
  return new Promise((resolve, reject) => {
    let [out, err] = ['', '']
    child.stderr?.on('data', (data: unknown) => {
      err += String(data)
    })
    child.stdout?.on('data', (data: unknown) => {
      out += String(data)
      try {
        const [url] = listening.parse(JSON.parse(out)).urls
        if (url !== undefined) resolve(url)
      } catch {
        return
      }
    })
    child.once('exit', (code) => {
      reject(new Error(`slowglow serve ended with ${code ?? 'a signal'}: ${err}${out}`))
    })
  })
}
