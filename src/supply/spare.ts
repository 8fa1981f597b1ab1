import { closeSync, constants, openSync, writeSync } from 'node:fs'
import { connect } from 'node:net'
import { isatty } from 'node:tty'
import { errorText, troubleOf } from './trouble.js'
import type { PortLine, SpareLine, Trouble } from './types.js'

/**
 * The spare way to a supply, opened once at the start and never read. On a serial port it is a second descriptor beside the
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
  const socket = connect({ host: line.host, port: line.port, noDelay: true, keepAlive: true })
  socket.on('connect', () => {
    state = 'ready'
  })
  // Answers to what others ask do not come here; whatever comes is thrown away so that the socket notices its end.
  socket.resume()
  const gone = (text: string): void => {
    if (typeof state === 'string') state = troubleOf(line, text, state === 'ready' ? 'gone' : 'refused')
  }
  socket.on('error', (error) => {
    gone(errorText(error))
  })
  socket.on('close', () => {
    gone('the connection closed')
  })
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
      socket.destroy()
    },
  }
}
