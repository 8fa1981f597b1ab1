import type { Dialect } from '../../bench/index.js'
import type { LineFault, LineHealth } from '../../exchange/index.js'
import { openPort, type PortLine } from '../../supply/index.js'

/** One message or line, without its end, as it went over the line. */
export interface Said {
  readonly at_ms: number
  readonly by: 'computer' | 'supply'
  readonly text: string
}
export interface Answer {
  readonly text: string | null
  readonly took_s: number
}
export const untried: LineHealth = {
  faults: {},
  discarded_bytes: 0,
  replies: 0,
  worst_reply_s: null,
  polled_Hz: null,
}

const settle_ms = 150

/** Words exchanged one after another outside of a run: one question in flight, each with its deadline. */
export interface Talk {
  readonly said: readonly Said[]
  /** What has gone wrong with the connection; null = nothing. */
  trouble(): string | null
  line(): LineHealth
  count(fault: LineFault): void
  say(text: string): void
  /** `acknowledged`: the line that acknowledges a command is the answer. */
  ask(text: string, within_s: number, acknowledged?: boolean): Promise<Answer>
  /** Says nothing for so long, and gives what came. */
  quiet(ms: number): Promise<readonly string[]>
  close(): Promise<void>
}

/** Opens the port, ends whatever half line may stand there, and lets it fall silent. */
export async function openTalk(
  place: PortLine,
  dialect: Pick<Dialect, 'terminator' | 'acknowledges' | 'error_lines'>,
): Promise<Talk> {
  const began = performance.now()
  const said: Said[] = []
  const note = (by: Said['by'], text: string): void => {
    said.push({ at_ms: Math.round(1000 * (performance.now() - began)) / 1000, by, text })
  }
  let unasked: string[] = []
  let waiting: { readonly acknowledged: boolean; readonly hear: (text: string | null) => void } | null = null
  const found: { trouble: string | null; line: LineHealth } = { trouble: null, line: untried }
  const count = (fault: LineFault): void => {
    const { faults } = found.line
    found.line = { ...found.line, faults: { ...faults, [fault]: (faults[fault] ?? 0) + 1 } }
  }
  const hear = (text: string | null): void => {
    const asked = waiting
    waiting = null
    asked?.hear(text)
  }
  let opened: () => void = () => undefined
  const open = new Promise<void>((resolve) => {
    opened = resolve
  })
  const connection = openPort(place, {
    opened: () => {
      opened()
    },
    text: (line) => {
      const text = line.trim()
      if (text === '') return
      note('supply', text)
      if (waiting?.acknowledged !== true) {
        if (text === dialect.acknowledges) return
        // It is about the command before; what came of that is read back.
        if (dialect.error_lines.includes(text)) {
          count('supply_error')
          return
        }
      }
      if (waiting === null) {
        count('late_reply')
        unasked.push(text)
      } else hear(text)
    },
    discarded: (bytes, why) => {
      count(why.startsWith('a line longer') ? 'overlong_line' : 'line_noise')
      found.line = { ...found.line, discarded_bytes: found.line.discarded_bytes + bytes }
    },
    closed: (why) => {
      found.trouble = why.text
      count(why.kind === 'stuck' ? 'write_failed' : 'connection_lost')
      hear(null)
      opened()
    },
  })
  await open
  const write = (text: string): boolean => {
    const messages = text.split(dialect.terminator)
    if (messages.at(-1) === '') messages.pop()
    for (const message of messages) note('computer', message)
    return connection.write(text)
  }
  const pause = (ms: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, ms))
  write(dialect.terminator)
  await pause(settle_ms)
  return {
    said,
    trouble: () => found.trouble,
    line: () => found.line,
    count,
    say: (text) => {
      write(text)
    },
    ask: (text, within_s, acknowledged = false) =>
      new Promise((resolve) => {
        const asked_ms = performance.now()
        const took_s = (): number => (performance.now() - asked_ms) / 1000
        const late = setTimeout(() => {
          count('no_reply')
          waiting = null
          // What still comes belongs to this question: the next one waits until it would be here.
          setTimeout(() => {
            resolve({ text: null, took_s: took_s() })
          }, settle_ms)
        }, within_s * 1000)
        const answered = (answer: string | null): void => {
          clearTimeout(late)
          if (answer !== null) {
            const { replies, worst_reply_s } = found.line
            found.line = {
              ...found.line,
              replies: replies + 1,
              worst_reply_s: Math.max(worst_reply_s ?? 0, took_s()),
            }
          }
          resolve({ text: answer, took_s: took_s() })
        }
        waiting = { acknowledged, hear: answered }
        if (!write(text)) hear(null)
      }),
    async quiet(ms) {
      await pause(ms)
      const came = unasked
      unasked = []
      return came
    },
    close: () => connection.close(),
  }
}
