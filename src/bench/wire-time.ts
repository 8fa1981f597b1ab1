import type { Line } from './types.js'

/** Start bit, eight data bits and a stop bit, with parity and a second stop bit where there are: firmware-protocol, section 1. */
const bits = (line: Line): number =>
  line.kind === 'serial' ? 10 + (line.parity === undefined ? 0 : 1) + (line.stop_bits === 2 ? 1 : 0) : 10

/** How long so many bytes are on this line, s. Nothing on a network, which has no speed of its own that counts here. */
export function wire_s(line: Line, bytes: number): number {
  const carried = line.kind === 'serial' || (line.kind === 'virtual' && line.as === 'pty')
  return carried ? (bytes * bits(line)) / line.baud : 0
}
