import { writeSync } from 'node:fs'
import { isatty } from 'node:tty'
import { SerialPort } from 'serialport'
import { Gate } from './gate.js'
import { readAtOnce } from './read-at-once.js'
import { errorText, troubleOf } from './trouble.js'
import type { Connection, ConnectionHandlers, OpenOptions, PortLine, Trouble } from './types.js'
import { WriteWatch } from './write-watch.js'

const alive_ms = 250

/**
 * A serial port through the library, with its quirks kept in this one file:
 *
 * - writes to a closed port are queued and sent after the next open of the same object: so one object per connection, and
 *   `isOpen` is asked before every write;
 * - a lost device is only noticed while the stream is read: the reader is attached before anything else, never paused;
 * - a hung-up port may also be read for ever, at full speed and without a word: whether it is still a terminal is asked of the
 *   system a few times a second, and closing ends the reading;
 * - a failed write gives an error and two close events: every handler here works once;
 * - closing with a write pending raises an error, which without a listener ends the process: the listener is permanent;
 * - a stuck write holds everything behind it, and its callback never comes: every write is watched by a timer;
 * - every read and write goes through a pool of threads that files and names share: what comes is read at once
 *   (read-at-once.ts), and what finds the queue empty is handed to the system in this turn, on the same descriptor; only what
 *   the system does not take goes through the queue; what is urgent goes both ways where something was still in it;
 * - `destroy()` leaks the descriptor and its lock: only `close()`; `drain` cannot be cancelled: never called;
 * - `hupcl: false`: closing must not drop DTR where that can be helped, since it resets some supplies;
 * - what the system says only for now (EAGAIN, EINTR) is tried again by the library and never told; every other error of a read
 *   or a write is told as the loss of the device, whatever its number, and taken for that here;
 * - whether a pulled cable ends in a close at all differs between systems and versions: that question above is our own answer;
 * - `get`, `set` and break fail on a pseudo-terminal: never called, so that a test over one goes the way of a real line.
 */
export function openSerial(
  line: Extract<PortLine, { kind: 'serial' }>,
  handlers: ConnectionHandlers,
  options: OpenOptions = {},
): Connection {
  let over = false
  const gate = new Gate(handlers)
  const finish = (trouble: Trouble | null): void => {
    if (over) return
    over = true
    watch.stop()
    clearInterval(alive)
    gate.finish()
    if (trouble !== null) handlers.closed(trouble)
  }
  const port = new SerialPort({
    path: line.path,
    baudRate: line.baud,
    parity: line.parity ?? 'none',
    stopBits: line.stop_bits ?? 1,
    rtscts: line.rts_cts ?? false,
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

  const alive = setInterval(() => {
    const fd = descriptor(port)
    if (fd === null || isatty(fd)) return
    finish(troubleOf(line, 'the terminal is gone', 'gone'))
    giveBack()
  }, alive_ms)

  const take = (bytes: Uint8Array): void => {
    if (!over) gate.take(bytes)
  }
  readAtOnce(port, take)
  port.on('data', (chunk: unknown) => {
    if (chunk instanceof Uint8Array) take(chunk)
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
    write(text, urgent = false) {
      if (over || !port.isOpen) return false
      const queued = watch.waiting
      const at = urgent || !queued ? taken(port, text) : 0
      if (at === text.length && !queued) return true
      watch.begin()
      // Behind what is still in the queue it must be said again: an ON in there may not be the last word.
      port.write(Buffer.from(queued ? text : text.slice(at), 'latin1'), () => {
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

/**
 * Hands it to the system at once, beside the library's queue, and tells how many bytes of it, each a character, the system took: none where that cannot
 * be done. The descriptor does not block. A half-taken OFF is no harm where it is said again: it begins with a terminator.
 */
function taken(port: SerialPort, text: string): number {
  const fd = descriptor(port)
  if (fd === null) return 0
  try {
    return writeSync(fd, text, null, 'latin1')
  } catch {
    // Full, or gone: the queue's own write meets the same and tells of it.
    return 0
  }
}

/** The open port's own descriptor; null where it has none that the system's calls take. */
function descriptor(port: SerialPort): number | null {
  const { port: binding } = port
  if (process.platform !== 'linux' || !port.isOpen || binding === undefined || !('fd' in binding)) return null
  return typeof binding.fd === 'number' ? binding.fd : null
}
