import { existsSync, mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { openRunFile } from '../../src/record/index.js'
import type { Known, RunEnding, RunEvent } from '../../src/story/index.js'
import { differsIn, replayAll } from './replayed.js'
import { childrenOf, processesWith, TerminalSession } from './terminal.js'

export const shortProfile = 'tests/helpers/short/receive.yaml'

/** One `slowglow run` on a terminal of its own, with a folder and a runtime directory of its own, and a person who answers. */
export class LiveRun {
  readonly folder: string
  /** Where its run file lies: its own folder, or the one that was named, which then outlives it. */
  readonly runs: string
  readonly session: TerminalSession
  private answering: NodeJS.Timeout | null = null

  constructor(
    args: readonly string[],
    folder = mkdtempSync(join(tmpdir(), 'slowglow-test-')),
    env: Readonly<Record<string, string>> = {},
    command: 'run' | 'qualify' = 'run',
  ) {
    this.folder = folder
    const named = args.indexOf('--runs')
    this.runs = named < 0 ? folder : (args[named + 1] ?? folder)
    const runs = named < 0 ? ['--runs', folder] : []
    this.session = TerminalSession.start([command, ...args, ...runs], {
      XDG_STATE_HOME: folder,
      // What a record does not take goes to the data folder.
      XDG_DATA_HOME: folder,
      ...env,
    })
  }

  /**
   * Reads the word drawn for this start and types it; `from`: shown before were words for something else. From then on every
   * question is answered, but for one that holds `unanswered`.
   */
  async acknowledge(from = 0, unanswered: string | null = null): Promise<void> {
    const [, word = ''] = await this.session.shows(/type the word: (\w+)/, 20_000, from)
    this.session.type(`${word}\r`)
    let answered = 0
    this.answering = setInterval(() => {
      const { seen } = this.session
      // A question is a line of its own that begins with "? ".
      const asked = [...seen.matchAll(/(?:\u001b\[J|\n)\? /g)].at(-1)?.index ?? 0
      if (asked <= answered) return
      const since = seen.slice(asked)
      const reading = since.includes('Enter accepts it')
      if (!reading && !since.includes('y or n > ')) return
      answered = asked
      if (unanswered !== null && since.includes(unanswered)) return
      this.session.type(reading ? '\r' : 'y\r')
    }, 20)
  }

  /** Waits until HT is being raised and has passed this many volts. */
  async htAbove(volts: number, within_ms = 40_000): Promise<void> {
    const from = Date.now()
    while (Date.now() - from < within_ms) {
      const seen = [...this.session.seen.slice(-4000).matchAll(/HT +([\d.]+) V /g)].at(-1)
      if (seen !== undefined && Number(seen[1]) > volts) return
      await new Promise((resolve) => setTimeout(resolve, 10))
    }
    throw new Error(`HT did not pass ${volts} V. The terminal shows:\n${this.session.seen.slice(-3000)}`)
  }

  get controller(): number {
    const found = childrenOf(this.session.leader).filter((pid) =>
      processesWith('controller.process').includes(pid),
    )[0]
    if (found === undefined) throw new Error('There is no controller process.')
    return found
  }

  async exit(within_ms = 40_000): Promise<number | null> {
    return this.session.exit(within_ms)
  }

  get file(): string | null {
    // Two runs on one bench share a folder, and the end of the one takes it away.
    if (!existsSync(this.runs)) return null
    // The newest, by the moment that its name begins with.
    const name = readdirSync(this.runs)
      .filter((file) => file.endsWith('.slowglow'))
      .sort()
      .at(-1)
    return name === undefined ? null : join(this.runs, name)
  }

  /** What the record holds. */
  record(): {
    readonly known: Known | null
    readonly events: readonly RunEvent[]
    readonly ending: RunEnding | null
    readonly readings: number
  } {
    const opened = openRunFile(this.file ?? '')
    if ('trouble' in opened) throw new Error(opened.trouble)
    try {
      const { reader } = opened
      let readings = 0
      for (const stream of reader.streams()) readings += reader.readings(stream.id).n.length
      return {
        known: reader.known(),
        events: [...reader.events()],
        ending: reader.ending()?.ending ?? null,
        readings,
      }
    } finally {
      opened.reader.close()
    }
  }

  async end(): Promise<void> {
    if (this.answering !== null) clearInterval(this.answering)
    await this.session.end()
    try {
      this.replay()
    } finally {
      rmSync(this.folder, { recursive: true, force: true })
    }
  }

  /** Every run made here is replayed: what its record says was fed must give what it says was decided. */
  private replay(): void {
    if (this.runs === this.folder) {
      replayAll(this.folder)
      return
    }
    // In a folder that outlives it the others have been.
    const differs = this.file === null ? null : differsIn(this.file)
    if (differs !== null) throw new Error(`Replayed, this run goes another way: ${differs}`)
  }
}
