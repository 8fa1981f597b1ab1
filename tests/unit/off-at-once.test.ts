import { existsSync, readdirSync, readlinkSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { atOnce, offAtOnce } from '../../src/controller/off-at-once.js'
import type { OffPlan } from '../../src/plan/index.js'
import type { PortLine } from '../../src/supply/index.js'
import { bias, heater, ht, offPlan } from '../helpers/safe-off-play.js'

const on = (port: string, name: string, role: OffPlan['channels'][number]['role']) => ({
  ...{ ...ht, channel: `${port}.${name}`, rail: name, role, port },
  off_text: `${name} off\n`,
})
const plan = offPlan(
  {},
  {
    channels: [
      ...[
        on('A', 'drive', 'drive'),
        on('A', 'screens', 'screen'),
        on('B', 'plates', 'HT'),
        on('A', 'second plates', 'HT'),
      ],
      ...[
        { ...heater, port: 'A', off_text: 'heaters off\n' },
        { ...bias, port: 'C', off_text: 'bias off\n' },
      ],
    ],
  },
)

/** No terminal: nothing is taken there. */
const missing: PortLine = { kind: 'serial', path: '/dev/there-is-none', baud: 9600, spare_allowed: true }
/** A terminal of this system's own, at which nobody listens: it takes what is written. */
const terminal = '/dev/ptmx'
const tcp: PortLine = { kind: 'tcp', host: 'there.is.none.invalid', port: 5025, spare_allowed: false }

function others(places: Readonly<Record<string, PortLine>>): [string, string][] {
  const seen: [string, string][] = []
  offAtOnce(plan, places, (port, text) => seen.push([port, text]))
  return seen
}

describe('OFF with nothing asked and nothing decided', () => {
  it('is for drive, screens and HT, in the order of the plan, and never for heaters or bias', () => {
    expect(atOnce(plan).map(({ rail }) => rail)).toEqual(['drive', 'screens', 'plates', 'second plates'])
    expect(atOnce(offPlan({}, { channels: [heater, bias] }))).toEqual([])
  })

  it('goes to each port with the words of its own outputs alone, all in one', () => {
    expect(others({ A: missing, B: missing, C: missing, D: missing })).toEqual([
      ['A', 'drive off\nscreens off\nsecond plates off\n'],
      ['B', 'plates off\n'],
    ])
  })

  it('is handed on where it could not be written at once: on another kind of line, and never opened there', () => {
    expect(others({ A: tcp, B: missing })).toEqual([
      ['A', 'drive off\nscreens off\nsecond plates off\n'],
      ['B', 'plates off\n'],
    ])
    expect(() => {
      offAtOnce(plan, { A: tcp, B: missing })
    }).not.toThrow()
  })

  it.skipIf(!existsSync(terminal))('is written to a serial port at once, then, and the port let go', () => {
    const held = (): number =>
      readdirSync('/proc/self/fd').filter((fd) => {
        try {
          return readlinkSync(`/proc/self/fd/${fd}`).includes('ptmx')
        } catch {
          return false
        }
      }).length
    const before = held()
    const line: PortLine = { kind: 'serial', path: terminal, baud: 9600, spare_allowed: true }
    expect(others({ A: line, B: missing })).toEqual([['B', 'plates off\n']])
    expect(held()).toBe(before)
  })
})
