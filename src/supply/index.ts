import { openSerial } from './serial.js'
import { openTcp } from './tcp.js'
import type { Connection, ConnectionHandlers, OpenOptions, PortLine } from './types.js'

export type * from './types.js'
export { openSpare } from './spare.js'
export { lineName } from './trouble.js'

/** Opens a line. Whatever goes wrong comes through `handlers.closed`, never as an exception. */
export function openPort(
  line: PortLine,
  handlers: ConnectionHandlers,
  options: OpenOptions = {},
): Connection {
  return line.kind === 'serial' ? openSerial(line, handlers, options) : openTcp(line, handlers, options)
}
