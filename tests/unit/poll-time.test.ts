import { describe, expect, it } from 'vitest'
import { plainScpi, type Supply, switchOn_s, unread_s } from '../../src/bench/index.js'
import { channelOf, supplyOf } from '../helpers/line-world.js'

/* 8N1: ten bit times a byte, so one byte at 9600 is 1.0417 ms (wire times of the protocol's notes, by arithmetic). */
const byte_s = 10 / 9600
const serial = { kind: 'serial', path: '/dev/ttyS0', baud: 9600, spare_allowed: true } as const
const one = (change: Partial<Supply['dialect']> = {}, channels = 1): Supply =>
  supplyOf(
    { ...plainScpi, ...change },
    Object.fromEntries(Array.from({ length: channels }, (_, i) => [`c${i}`, channelOf(i + 1)])),
    { line: serial },
  )

// ":MEAS:VOLT?" and LF are 12 bytes, its answer 14; ":VOLT:PROT:TRIP?" and LF 17 is the longest status question.
const readings_s = 2 * ((12 + 14) * byte_s + 0.02)
const status_s = (17 + 14) * byte_s + 0.06
// ":CURR 000.0000" 15, ":CURR?" 7, ":VOLT:PROT 000.0000" 20, ":VOLT:PROT?" 12, ":VOLT:PROT:STAT ON" 19, ":SYST:ERR?" 11.
const limits_s = (15 + 7 + 14 + 20 + 12 + 14 + 19 + 11 + 14) * byte_s + 0.02 + 0.02 + 0.06

describe('the longest time without a reading', () => {
  it('is a round with its slowest status question, and limits read back with the error question', () => {
    expect(unread_s(one())).toBeCloseTo(readings_s + status_s + limits_s, 9)
  })

  it('grows with every channel, by its readings only', () => {
    expect(unread_s(one({}, 4))).toBeCloseTo(4 * readings_s + status_s + limits_s, 9)
  })

  it('counts slow commands, slow readings and slow status', () => {
    const slow = { set_amps: 0.3, measure_amps: 0.1, error_query: 0.5, ask_over_volts_tripped: 0.2 }
    expect(unread_s(one({ slow_s: slow }))).toBeCloseTo(
      readings_s + 0.08 + status_s + 0.14 + limits_s + 0.3 + 0.44,
      9,
    )
  })

  it('on a network is the supply’s own time alone', () => {
    const tcp = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true } as const
    expect(unread_s({ ...one(), line: tcp })).toBeCloseTo(0.04 + 0.06 + 0.1, 9)
  })

  it('while a channel is switched on is its settings asked, ON, its read-back and the error question', () => {
    // ":VOLT?" 7, ":CURR?" 7, ":VOLT:PROT?" 12, ":OUTP ON" 9, ":OUTP?" 7, ":SYST:ERR?" 11; no over-current level in plain SCPI.
    const on_s = (7 + 14 + 7 + 14 + 12 + 14 + 9 + 7 + 14 + 11 + 14) * byte_s + 3 * 0.02 + 2 * 0.06
    expect(switchOn_s(one())).toBeCloseTo(on_s, 9)
    expect(switchOn_s(one({ slow_s: { on: 1.5 } }))).toBeCloseTo(on_s + 1.5, 9)
  })
})
