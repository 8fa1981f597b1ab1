import { type ChildProcess, spawn } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import {
  type EventName,
  paths,
  type RouteName,
  type Snapshot,
  snapshotShape,
} from '../../src/service/api/index.js'
import { replayAll } from './replayed.js'
import { program } from './terminal.js'

/** What came back. */
interface Said {
  readonly status: number
  readonly text: string
  readonly body: Readonly<Record<string, unknown>>
}

/** What it keeps beside runs (the key of its devices, what a full disk did not take) stays out of the user's own folders. */
export const ofItsOwn = (runs: string): NodeJS.ProcessEnv => ({
  ...process.env,
  XDG_STATE_HOME: runs,
  XDG_DATA_HOME: join(runs, 'data'),
})

/** `slowglow serve` as a process of its own, with a folder of runs and a runtime directory of its own. */
export class ServeProcess {
  said = ''
  url = ''
  private readonly ended: Promise<number | null>
  private constructor(
    private readonly child: ChildProcess,
    readonly runs: string,
  ) {
    child.stderr?.setEncoding('utf8')
    child.stderr?.on('data', (text: string) => {
      this.said += text
    })
    this.ended = new Promise((resolve) => child.on('exit', resolve))
  }

  static async start(
    folder: string,
    more: {
      readonly port?: number
      readonly runs?: string
      readonly listen?: string
      readonly unwatched_s?: number
    } = {},
  ): Promise<ServeProcess> {
    const runs = more.runs ?? mkdtempSync(join(tmpdir(), 'slowglow-serve-'))
    const child = spawn(
      process.execPath,
      [
        program,
        'serve',
        folder,
        '--port',
        String(more.port ?? 0),
        '--runs',
        runs,
        '--json',
        ...(more.listen === undefined ? [] : ['--listen', more.listen]),
        ...(more.unwatched_s === undefined ? [] : ['--unwatched', String(more.unwatched_s)]),
      ],
      { stdio: ['ignore', 'pipe', 'pipe'], env: ofItsOwn(runs) },
    )
    const serve = new ServeProcess(child, runs)
    let out = ''
    child.stdout.setEncoding('utf8')
    await new Promise<void>((resolve, reject) => {
      child.stdout.on('data', (text: string) => {
        out += text
        if (out.trimEnd().endsWith('}')) resolve()
      })
      child.on('exit', () => {
        reject(new Error(`It did not serve: ${serve.said}`))
      })
    })
    serve.url = (JSON.parse(out) as { urls: string[] }).urls[0]!.replace(/\/$/, '')
    return serve
  }

  get port(): number {
    return Number(new URL(this.url).port)
  }

  async ask(
    name: RouteName,
    more: { readonly query?: string; readonly run?: string; readonly body?: unknown } = {},
  ): Promise<Said> {
    const [method, path] = paths[name]
    const response = await fetch(`${this.url}${path.replace(':run', more.run ?? '')}${more.query ?? ''}`, {
      method,
      headers: { origin: this.url, ...(more.body !== undefined && { 'content-type': 'application/json' }) },
      ...(more.body !== undefined && { body: JSON.stringify(more.body) }),
    })
    const text = await response.text()
    const body = (text.startsWith('{') ? JSON.parse(text) : {}) as Said['body']
    return { status: response.status, text, body }
  }

  kill(signal: NodeJS.Signals): void {
    this.child.kill(signal)
  }

  /** Exit code. */
  async exit(within_ms = 60_000): Promise<number | null> {
    const code = await Promise.race([this.ended, sleep(within_ms, 'late' as const, { ref: false })])
    if (code === 'late') throw new Error(`The service has not ended. It said:\n${this.said}`)
    return code
  }

  async end(): Promise<void> {
    if (this.child.exitCode === null) {
      this.kill('SIGQUIT')
      await Promise.race([this.ended, sleep(15_000)])
      this.kill('SIGKILL')
    }
  }

  /** Its runs go away, each replayed first. */
  forget(): void {
    try {
      replayAll(this.runs)
    } finally {
      rmSync(this.runs, { recursive: true, force: true })
    }
  }
}

/** A page that watches: it keeps what the stream brings as a page does, and connects again by itself. */
export class Watcher {
  now: Snapshot | null = null
  connected = 0
  readonly epochs: string[] = []
  readonly counts: Partial<Record<EventName, number>> = {}
  /** Longest silence between two events while connected, ms. */
  private readonly leaving = new AbortController()
  private readonly here: NodeJS.Timeout

  constructor(private readonly serve: { readonly url: string }) {
    void this.follow()
    this.here = setInterval(() => {
      void fetch(`${this.serve.url}/api/live/here`, {
        method: 'POST',
        headers: { origin: this.serve.url },
      }).catch(() => undefined)
    }, 1000)
  }

  /** Waits until the page shows this; throws with what it shows instead. */
  async shows(what: (now: Snapshot) => boolean, within_ms = 60_000): Promise<Snapshot> {
    for (let spent = 0; spent < within_ms; spent += 20) {
      if (this.now !== null && what(this.now)) return this.now
      await sleep(20)
    }
    throw new Error(`The page did not show it. It shows:\n${JSON.stringify(this.now).slice(0, 6000)}`)
  }

  end(): void {
    clearInterval(this.here)
    this.leaving.abort()
  }

  private async follow(): Promise<void> {
    const { signal } = this.leaving
    while (!signal.aborted) {
      try {
        // As a browser says it of a page that it got from there: only then is the word shown.
        const headers = { 'sec-fetch-site': 'same-origin' }
        const response = await fetch(`${this.serve.url}/api/live/events`, { signal, headers })
        if (response.body === null) continue
        this.connected += 1
        let text = ''
        for await (const chunk of response.body.pipeThrough(new TextDecoderStream())) {
          text += chunk
          const frames = text.split('\n\n')
          text = frames.pop() ?? ''
          for (const frame of frames) this.take(frame)
        }
      } catch {
        // Lost: it tries again, as a browser does.
      }
      await sleep(100)
    }
  }

  private take(frame: string): void {
    const name = /^event: (\w+)$/m.exec(frame)?.[1] as EventName | undefined
    const data = /^data: (.*)$/m.exec(frame)?.[1]
    if (name === undefined || data === undefined) return
    this.counts[name] = (this.counts[name] ?? 0) + 1
    const told = JSON.parse(data) as Record<string, unknown>
    if (name === 'snapshot') {
      this.now = snapshotShape.parse(told)
      if (this.epochs.at(-1) !== this.now.epoch) this.epochs.push(this.now.epoch)
      return
    }
    if (this.now === null) return
    const { now } = this
    if (name === 'message')
      this.now = { ...now, messages: [...now.messages, told['message'] as Snapshot['messages'][number]] }
    else if (name === 'hands')
      this.now = { ...now, hands_clear: told['hands_clear'] as Snapshot['hands_clear'] }
    else if (name === 'view' || name === 'prompt' || name === 'stop')
      this.now = { ...now, [name]: told[name] }
  }
}

/** A person at that page: reads the cautions, types the word, answers every question with what is right. */
export class PageRun {
  readonly page: Watcher
  private answering: NodeJS.Timeout | null = null
  constructor(private readonly serve: ServeProcess) {
    this.page = new Watcher(serve)
  }

  /** `leaves`: questions that somebody else answers. */
  async begin(
    profile: string,
    faults: readonly string[] = [],
    leaves: (needs: string) => boolean = () => false,
  ): Promise<void> {
    const started = await this.serve.ask('start', { body: { profile, speed: 20, faults } })
    if (started.status !== 200) throw new Error(JSON.stringify(started.body))
    const { cautions, live } = await this.page.shows(({ phase }) => phase === 'cautions')
    const typed = await this.serve.ask('acknowledge', { body: { live, word: cautions?.word } })
    if (typed.status !== 200) throw new Error(JSON.stringify(typed.body))
    let answered = -1
    this.answering = setInterval(() => {
      const { now } = this.page
      const prompt = now?.prompt ?? null
      if (prompt === null || prompt.prompt === answered || leaves(prompt.needs)) return
      if (prompt.wants.kind === 'reading' && prompt.meter === null) return
      answered = prompt.prompt
      if (prompt.needs === 'hands clear')
        void this.serve.ask('hands', { body: { live: now?.live, prompt: prompt.prompt, clear: true } })
      else
        void this.serve.ask('answer', {
          body: {
            live: now?.live,
            prompt: prompt.prompt,
            answer: prompt.wants.kind === 'reading' ? '' : 'y',
          },
        })
    }, 20)
  }

  async htAbove(volts: number): Promise<void> {
    await this.page.shows(
      ({ view }) => (view?.rails.find(({ rail }) => rail === 'HT')?.volts ?? 0) > volts,
      90_000,
    )
  }

  end(): void {
    if (this.answering !== null) clearInterval(this.answering)
    this.page.end()
  }
}
