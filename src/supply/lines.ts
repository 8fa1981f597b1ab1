import { ReadlineParser } from '@serialport/parser-readline'
import { Gate } from './gate.js'
import type { ConnectionHandlers } from './types.js'

/** Bytes of one connection into lines: gate first, then the library's parser in latin1, which keeps all eight bits apart. */
export function lineReader(handlers: ConnectionHandlers): Gate {
  const parser = new ReadlineParser({ delimiter: '\n', encoding: 'latin1' })
  parser.on('data', (line: unknown) => {
    if (typeof line === 'string') handlers.text(line)
  })
  return new Gate(
    (line) => {
      parser.write(line)
    },
    (bytes, why) => {
      handlers.discarded(bytes, why)
    },
  )
}

/** Runs `expired` when the oldest of the writes under way is not taken in time. */
export class WriteWatch {
  private pending = 0
  private timer: NodeJS.Timeout | null = null

  constructor(
    private readonly within_ms: number,
    private readonly expired: () => void,
  ) {}

  /** Something written has not been taken yet. */
  get waiting(): boolean {
    return this.pending > 0
  }

  begin(): void {
    this.pending += 1
    this.timer ??= setTimeout(this.expired, this.within_ms)
  }

  taken(): void {
    this.pending -= 1
    this.stop()
    if (this.pending > 0) this.timer = setTimeout(this.expired, this.within_ms)
  }

  stop(): void {
    if (this.timer !== null) clearTimeout(this.timer)
    this.timer = null
  }
}
