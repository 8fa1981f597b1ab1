import type { Act } from './api/index.js'
import type { Patience } from './connections.js'
import type { Desk } from './desk.js'
import type { Who } from './guard.js'
import type { Live } from './live.js'
import type { Device, Pairing } from './pairing.js'
import type { Streams } from './streams.js'

/** What the HTTP side works with. */
export interface AppParts {
  readonly desk: Desk
  readonly live: Live
  readonly streams: Streams
  readonly pairing: Pairing | null
  /** Every name and address, with the port, by which this service may be called. Filled once the port is known. */
  readonly hosts: ReadonlySet<string>
  readonly epoch: string
  readonly version: string
  readonly up_s: () => number
  readonly unwatched_s: number
  /** How long a request may take to come. */
  readonly patience: Patience
  /** Folder of the built page; null: there is none. */
  readonly page: string | null
  /** A device gave the code. */
  readonly paired: (device: Device) => void
  /** A fault of our own, told in the terminal. */
  readonly fault: (text: string) => void
}

declare module 'fastify' {
  interface FastifyRequest {
    who: Who | null
  }
  interface FastifyContextConfig {
    act?: Act
  }
}
