import { connect } from 'node:net'
import { Gate } from './gate.js'
import { errorText, troubleOf } from './trouble.js'
import type { Connection, ConnectionHandlers, OpenOptions, PortLine, Trouble } from './types.js'
import { WriteWatch } from './write-watch.js'

/** A supply on a raw network socket: each message its own packet where that can be had, and no idle silence. */
export function openTcp(
  line: Extract<PortLine, { kind: 'tcp' }>,
  handlers: ConnectionHandlers,
  options: OpenOptions = {},
): Connection {
  let over = false
  let connected = false
  const gate = new Gate(handlers)
  const within_ms = options.open_within_ms ?? 3000
  const socket = connect({ host: line.host, port: line.port, noDelay: true, keepAlive: true })
  const finish = (trouble: Trouble | null): void => {
    if (over) return
    over = true
    clearTimeout(opening)
    watch.stop()
    gate.finish()
    socket.destroy()
    if (trouble !== null) handlers.closed(trouble)
  }
  const opening = setTimeout(() => {
    finish(troubleOf(line, `no connection within ${within_ms} ms`))
  }, within_ms)
  const watch = new WriteWatch(options.write_within_ms ?? 500, () => {
    finish(troubleOf(line, 'a write was not taken in time', 'stuck'))
  })
  const free = new Promise<void>((resolve) => {
    socket.on('close', () => {
      resolve()
    })
  })

  socket.on('connect', () => {
    if (over) return
    clearTimeout(opening)
    connected = true
    handlers.opened()
  })
  socket.on('data', (chunk: Uint8Array) => {
    if (!over) gate.take(chunk)
  })
  socket.on('error', (error) => {
    finish(troubleOf(line, errorText(error), connected ? 'gone' : 'refused'))
  })
  socket.on('close', () => {
    finish(troubleOf(line, 'the connection closed', 'gone'))
  })
  // The other side has said its last word: a supply does not half close.
  socket.on('end', () => {
    finish(troubleOf(line, 'the supply ended the connection', 'gone'))
  })
  return {
    get isOpen() {
      return !over && connected
    },
    write(text) {
      if (over || !connected) return false
      watch.begin()
      socket.write(Buffer.from(text, 'latin1'), () => {
        watch.taken()
      })
      return true
    },
    close() {
      finish(null)
      return free
    },
  }
}
