import type { IncomingMessage, Server, ServerResponse } from 'node:http'
import type { Socket } from 'node:net'
import { isLoopback } from './guard.js'

/**
 * Connections of other machines, however idle: each holds a descriptor of the process that supervises. Every viewer's stream and some
 * calls beside it fit; whoever comes beyond that is let go, and the bench's own page never counts.
 */
const most_away = 600
/**
 * Those of this machine: far more than all streams and their pages' calls, so that a crowd which connects anew for each connection it
 * loses cannot push out a stop before it is read; and far fewer than a process may hold open. Beyond that an older one goes, never the
 * one that comes.
 */
const most_here = 1200
/** A request that does not come to its end is given up: its connection is for others. Looked at so often, ms. */
export const patience = { headersTimeout: 10_000, requestTimeout: 30_000, connectionsCheckingInterval: 5000 }
export type Patience = typeof patience

export function boundAway(server: Pick<Server, 'on'>, most = most_away): void {
  let away = 0
  server.on('connection', (socket: Socket) => {
    if (isLoopback(socket.remoteAddress ?? '')) return
    if (away >= most) {
      socket.destroy()
      return
    }
    away += 1
    socket.once('close', () => {
      away -= 1
    })
  })
}

/**
 * Whoever comes from this machine may be the page with a stop: it is always taken, and where that is too many, the connection that has
 * been idle longest is let go; where none is idle, the one whose answer has been under way longest. A stop is answered at once, so it
 * is never that one, and it goes out before anything else is thought of.
 */
export function boundHere(server: Pick<Server, 'on'>, most = most_here): void {
  /** In the order in which they last had something to do. */
  const here = new Map<Socket, { answers: number }>()
  server.on('connection', (socket: Socket) => {
    if (!isLoopback(socket.remoteAddress ?? '')) return
    while (here.size >= most) {
      const oldest = [...here].find(([, { answers }]) => answers === 0) ?? [...here][0]
      if (oldest === undefined) break
      here.delete(oldest[0])
      oldest[0].destroy()
    }
    here.set(socket, { answers: 0 })
    socket.once('close', () => {
      here.delete(socket)
    })
  })
  server.on('request', ({ socket }: IncomingMessage, answer: ServerResponse) => {
    const known = here.get(socket)
    if (known === undefined) return
    known.answers += 1
    answer.once('close', () => {
      known.answers -= 1
      // Asked just now: the last to go of those that are idle.
      if (here.delete(socket)) here.set(socket, known)
    })
  })
}
