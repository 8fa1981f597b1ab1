import type { LineEvent } from '../../src/exchange/index.js'
import { lineStep, openLine, type LineConfig, type LineInput } from '../../src/line/index.js'
import {
  openPort,
  type Connection,
  type OpenOptions,
  type PortLine,
  type Trouble,
} from '../../src/supply/index.js'

const now_us = (): number => Math.round(performance.now() * 1000)

/** The line machine over a real connection, as the controller joins them. */
export class LiveLine {
  state
  readonly events: LineEvent[] = []
  readonly troubles: Trouble[] = []
  private connection: Connection | null = null
  private readonly timer
  private stopped = false
  private watchers: (() => void)[] = []

  constructor(
    config: LineConfig,
    private readonly line: PortLine,
    private readonly options: OpenOptions = {},
  ) {
    this.state = openLine(config)
    this.open()
    this.timer = setInterval(() => {
      this.give({ kind: 'time', t_us: now_us() })
    }, 10)
  }

  give(input: LineInput): void {
    const { state, outputs } = lineStep(this.state, input)
    this.state = state
    for (const output of outputs) {
      if (output.kind === 'write') this.connection?.write(output.text, output.urgent)
      if (output.kind === 'event') this.events.push(output.event)
      if (output.kind === 'reopen') void this.reopen()
    }
    for (const watch of this.watchers) watch()
  }

  /** Gives a request now. */
  request(
    id: number,
    channel: string,
    body: Extract<LineInput, { kind: 'request' }>['do'],
    figures: object = {},
  ): void {
    this.give({ kind: 'request', t_us: now_us(), id, channel, do: body, ...figures } as LineInput)
  }

  urgentOff(channels: readonly string[]): void {
    this.give({ kind: 'urgent off', t_us: now_us(), channels })
  }

  /** Resolves when `holds`; the test's own time limit is the only one. */
  until(holds: () => boolean): Promise<void> {
    return new Promise((resolve) => {
      const watch = (): void => {
        if (!holds()) return
        this.watchers = this.watchers.filter((other) => other !== watch)
        resolve()
      }
      this.watchers.push(watch)
      watch()
    })
  }

  async stop(): Promise<void> {
    this.stopped = true
    clearInterval(this.timer)
    await this.connection?.close()
  }

  private open(): void {
    const t_us = now_us
    this.connection = openPort(
      this.line,
      {
        opened: () => {
          this.give({ kind: 'opened', t_us: t_us() })
        },
        text: (text) => {
          this.give({ kind: 'text', t_us: t_us(), text })
        },
        discarded: (bytes, why) => {
          this.give({
            kind: 'discarded',
            t_us: t_us(),
            bytes,
            why,
            overlong: why.startsWith('a line longer'),
          })
        },
        closed: (trouble) => {
          this.troubles.push(trouble)
          this.give({ kind: 'closed', t_us: t_us(), text: trouble.text })
        },
      },
      this.options,
    )
  }

  private async reopen(): Promise<void> {
    await this.connection?.close()
    if (!this.stopped) this.open()
  }
}
