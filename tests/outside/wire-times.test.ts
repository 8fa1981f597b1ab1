import { describe, expect, it } from 'vitest'
import { type Line, wire_s } from '../../src/bench/index.js'

/** By arithmetic: 8 data bits, no parity, 1 stop bit and the start bit are 10 bit times a byte. */
const speeds = [9600, 19_200, 57_600, 115_200] as const
const messages = {
  'OUTP 0\n': [7.29, 3.65, 1.22, 0.61],
  'OUTP OFF\n': [9.38, 4.69, 1.56, 0.78],
  'MEAS:CURR?\n': [11.46, 5.73, 1.91, 0.95],
  '1.2345678E-3\r\n': [14.58, 7.29, 2.43, 1.22],
} as const

describe('time on the wire', () => {
  it.each(Object.entries(messages))(
    'of %j is its bytes at ten bits each, at every usual speed',
    (text, table) => {
      for (const [at, baud] of speeds.entries()) {
        const line: Line = { kind: 'serial', path: '/dev/ttyS0', baud, spare_allowed: true }
        expect(Number((wire_s(line, text.length) * 1000).toFixed(2)), `${baud}`).toBe(table[at])
      }
    },
  )

  it('is nothing on a network line', () => {
    const line: Line = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true }
    expect(wire_s(line, 1000)).toBe(0)
  })
})
