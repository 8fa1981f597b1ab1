import { SerialPort } from 'serialport'
import { lineReader, WriteWatch } from './lines.js'
import { errorText, troubleOf } from './trouble.js'
import type { Connection, ConnectionHandlers, OpenOptions, PortLine, Trouble } from './types.js'

/**
 * A serial port through the library, with its quirks kept in this one file:
 *
 * - writes to a closed port are queued and sent after the next open of the same object: so one object per connection, and
 *   `isOpen` is asked before every write;
 * - a lost device is only noticed while the stream is read: the reader is attached before anything else, never paused;
 * - a failed write gives an error and two close events: every handler here works once;
 * - closing with a write pending raises an error, which without a listener ends the process: the listener is permanent;
 * - a stuck write holds everything behind it, and its callback never comes: every write is watched by a timer;
 * - `destroy()` leaks the descriptor and its lock: only `close()`; `drain` cannot be cancelled: never called;
 * - `hupcl: false`: closing must not drop DTR where that can be helped, since it resets some supplies.
 */
export function openSerial(
  line: Extract<PortLine, { kind: 'serial' }>,
  handlers: ConnectionHandlers,
  options: OpenOptions = {},
): Connection {
  let over = false
  const gate = lineReader(handlers)
  const finish = (trouble: Trouble | null): void => {
    if (over) return
    over = true
    watch.stop()
    gate.finish()
    if (trouble !== null) handlers.closed(trouble)
  }
  const port = new SerialPort({
    path: line.path,
    baudRate: line.baud,
    autoOpen: false,
    lock: options.lock ?? true,
    hupcl: false,
  })
  let released: () => void = () => undefined
  const free = new Promise<void>((resolve) => {
    released = resolve
  })
  const giveBack = (): void => {
    if (port.isOpen) {
      port.close(() => {
        released()
      })
    } else if (!port.opening && !port.closing) {
      released()
    }
  }
  const watch = new WriteWatch(options.write_within_ms ?? 500, () => {
    finish(troubleOf(line, 'a write was not taken in time', 'stuck'))
    // Frees the kernel's queue, so that closing is not held up by it.
    if (port.isOpen) port.flush(() => undefined)
    giveBack()
  })

  port.on('data', (chunk: unknown) => {
    if (!over && chunk instanceof Uint8Array) gate.take(chunk)
  })
  port.on('error', (error) => {
    finish(troubleOf(line, errorText(error), 'gone'))
    giveBack()
  })
  port.on('close', (error: unknown) => {
    released()
    finish(troubleOf(line, error instanceof Error ? errorText(error) : 'the port closed', 'gone'))
  })
  port.open((error) => {
    if (error !== null) {
      released()
      finish(troubleOf(line, errorText(error)))
    } else if (over) {
      giveBack()
    } else {
      handlers.opened()
    }
  })
  return {
    get isOpen() {
      return !over && port.isOpen
    },
    write(text) {
      if (over || !port.isOpen) return false
      watch.begin()
      port.write(Buffer.from(text, 'latin1'), () => {
        watch.taken()
      })
      return true
    },
    close() {
      finish(null)
      giveBack()
      return free
    },
  }
}
