import type { WrittenBench } from './shape.js'
import type { Line } from './types.js'

/** A line as the rooms know it. */
export function toLine(line: WrittenBench['supplies'][string]['line']): Line {
  switch (line.kind) {
    case 'serial':
      return {
        kind: 'serial',
        path: line.path,
        baud: line.baud,
        spare_allowed: true,
        ...(line.parity !== 'none' && { parity: line.parity }),
        ...(line.stop_bits === 2 && { stop_bits: 2 }),
        ...(line.flow_control === 'RTS CTS' && { rts_cts: true }),
      }
    case 'tcp':
      return { kind: 'tcp', host: line.host, port: line.port, spare_allowed: line.spare_allowed }
    case 'virtual':
      return { kind: 'virtual', as: line.as, baud: line.baud, spare_allowed: line.spare_allowed }
  }
}
