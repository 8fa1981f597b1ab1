import type { Message } from './api/index.js'

/** Kept for whoever comes later. */
const most = 200
const alarm = 'ALARM: '

export interface MessagesTo {
  readonly now_ms: () => number
  /** The terminal of the service shows and rings alarms too: a page is not heard before somebody has touched it. */
  readonly say: (text: string) => void
  readonly ring: () => void
  readonly send: (message: Message) => void
}

/** What was said since a run began: alarms, notices, and who did what. */
export class Messages {
  all: Message[] = []
  private said = 0

  constructor(private readonly to: MessagesTo) {}

  /** Another run begins. */
  begin(): void {
    this.all = []
  }

  add(kind: Message['kind'], text: string): void {
    const message = { n: ++this.said, at_ms: this.to.now_ms(), kind, text }
    this.all = [...this.all.slice(-(most - 1)), message]
    if (kind === 'alarm') {
      this.to.ring()
      this.to.say(`${alarm}${text}`)
    }
    this.to.send(message)
  }

  /** Words of a part that has one way to speak: an alarm says so at its begin. */
  told(text: string): void {
    if (text.startsWith(alarm)) this.add('alarm', text.slice(alarm.length))
    else this.add('notice', text)
  }
}
