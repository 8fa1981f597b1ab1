import type { Line } from './types.js'

/** Start bit, eight data bits, no parity, one stop bit: firmware-protocol, section 1. */
const bits_per_byte = 10

/** How long so many bytes are on this line, s. Nothing on a network, which has no speed of its own that counts here. */
export function wire_s(line: Line, bytes: number): number {
  const carried = line.kind === 'serial' || (line.kind === 'virtual' && line.as === 'pty')
  return carried ? (bytes * bits_per_byte) / line.baud : 0
}
