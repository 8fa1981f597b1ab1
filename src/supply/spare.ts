import { closeSync, constants, openSync, writeSync } from 'node:fs'
import { connect, type Socket } from 'node:net'
import { isatty } from 'node:tty'
import { errorText, troubleOf } from './trouble.js'
import type { PortLine, SpareLine, Trouble } from './types.js'

/** The line that asks and reads, which was cut with it, comes first. */
const reopenAfter_ms = 2000

/**
 * The spare way to a supply, opened at the start and never read; a connection that was held and is cut is opened again. On a serial port it is a second descriptor beside the
 * library's (whose lock is advisory and does not keep it out); speed and raw mode are the port's own and were set by the
 * first opener. While it is held the port does not hang up, so DTR stays and no supply resets when the first holder dies.
 */
export function openSpare(line: PortLine): SpareLine {
  return line.kind === 'serial' ? spareDescriptor(line) : spareConnection(line)
}

function spareDescriptor(line: Extract<PortLine, { kind: 'serial' }>): SpareLine {
  let fd: number | null = null
  let state: SpareLine['state']
  try {
    // Never the controlling terminal, never waiting for carrier.
    const opened = openSync(line.path, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK)
    if (isatty(opened)) {
      fd = opened
      state = 'ready'
    } else {
      closeSync(opened)
      state = troubleOf(line, 'not a terminal')
    }
  } catch (error) {
    state = troubleOf(line, errorText(error))
  }
  return {
    get state() {
      return state
    },
    writeNow(text) {
      if (fd === null) return false
      const bytes = Buffer.from(text, 'latin1')
      let written = 0
      try {
        while (written < bytes.length) {
          const taken = writeSync(fd, bytes, written)
          if (taken === 0) return false
          written += taken
        }
        return true
      } catch (error) {
        const code = error instanceof Error && 'code' in error ? error.code : ''
        // A full queue is no reason to give the descriptor up: the next repeat may pass.
        if (code !== 'EAGAIN') state = troubleOf(line, errorText(error), 'gone')
        return false
      }
    },
    close() {
      if (fd !== null) closeSync(fd)
      fd = null
    },
  }
}

function spareConnection(line: Extract<PortLine, { kind: 'tcp' }>): SpareLine {
  let state: 'opening' | 'ready' | Trouble = 'opening'
  if (!line.spare_allowed) {
    const none = troubleOf(line, 'this supply takes one connection only, says the bench file', 'refused')
    return { state: none, writeNow: () => false, close: () => undefined }
  }
  let socket: Socket
  let again: NodeJS.Timeout | null = null
  const open = (): void => {
    const opened = connect({ host: line.host, port: line.port, noDelay: true, keepAlive: true })
    socket = opened
    let wasReady = false
    opened.on('connect', () => {
      wasReady = true
      state = 'ready'
    })
    // Answers to what others ask do not come here; whatever comes is thrown away so that the socket notices its end.
    opened.resume()
    const gone = (text: string): void => {
      if (typeof state === 'string') state = troubleOf(line, text, wasReady ? 'gone' : 'refused')
    }
    opened.on('error', (error) => {
      gone(errorText(error))
    })
    opened.on('close', () => {
      gone('the connection closed')
      // One that was refused at first is refused for good: it would only take the place of whoever asks and reads.
      held ||= wasReady
      if (held && !ended) again = setTimeout(open, reopenAfter_ms)
    })
  }
  let held = false
  let ended = false
  open()
  return {
    get state() {
      return state
    },
    writeNow(text) {
      if (state !== 'ready') return false
      // The socket hands it to the kernel in this call when nothing is queued before it, and nothing ever is.
      return socket.write(Buffer.from(text, 'latin1'))
    },
    close() {
      ended = true
      if (again !== null) clearTimeout(again)
      socket.destroy()
    },
  }
}
