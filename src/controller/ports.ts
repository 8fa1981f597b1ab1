import type { LineInput } from '../line/index.js'
import { type Connection, openPort, type PortLine } from '../supply/index.js'

/** The open ports of a bench. A connection is used once; what a former one still says is not heard. */
export interface Ports {
  /** Opens a port that is not open. */
  open(port: string, place: PortLine, options?: Parameters<typeof openPort>[2]): void
  /** Gives up what is open there, and goes on with `then` when it is closed: at once where nothing was. */
  drop(port: string, then: () => void): void
  has(port: string): boolean
  readonly write: (port: string, text: string, urgent?: boolean) => void
  /** Closes all, and opens none any more. */
  close(): Promise<unknown>
}

/** `heard` gets whatever a port says, as input for its line, stamped with `now_us`. */
export function createPorts(now_us: () => number, heard: (port: string, line: LineInput) => void): Ports {
  const connections = new Map<string, Connection>()
  let closed = false
  return {
    open(port, place, options) {
      if (closed || connections.has(port)) return
      const told = (line: LineInput): void => {
        if (connections.get(port) === connection) heard(port, line)
      }
      const connection = openPort(
        place,
        {
          opened() {
            told({ kind: 'opened', t_us: now_us() })
          },
          text(text) {
            told({ kind: 'text', t_us: now_us(), text })
          },
          discarded(bytes, why) {
            told({ kind: 'discarded', t_us: now_us(), bytes, why, overlong: why.startsWith('a line longer') })
          },
          closed(trouble) {
            if (connections.get(port) !== connection) return
            connections.delete(port)
            heard(port, {
              kind: 'closed',
              t_us: now_us(),
              text: trouble.text,
              stuck: trouble.kind === 'stuck',
            })
          },
        },
        options,
      )
      connections.set(port, connection)
    },
    drop(port, then) {
      const former = connections.get(port)
      connections.delete(port)
      if (former === undefined) then()
      else former.close().then(then, then)
    },
    has: (port) => connections.has(port),
    write(port, text, urgent) {
      connections.get(port)?.write(text, urgent)
    },
    close() {
      closed = true
      return Promise.all([...connections.values()].map((connection) => connection.close()))
    },
  }
}
