import { describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import { createMeterDevice, createSupplyDevice, type VirtualInstrument } from '../../src/virtual/supplies.js'
import type { Dialect, Meter } from '../../src/bench/index.js'
import type { OutputFace } from '../../src/virtual/index.js'
import { channelOf, faceOf, fullDialect, supplyOf } from '../helpers/line-world.js'

function make(change: Partial<Dialect> = {}): {
  device: VirtualInstrument
  faces: { plate: OutputFace; bias: OutputFace }
  say: (text: string) => string
} {
  const faces = { plate: faceOf(), bias: faceOf() }
  const supply = supplyOf(
    { ...fullDialect, remote: null, ...change },
    { plate: channelOf(1), bias: channelOf(2) },
  )
  const device = createSupplyDevice({ name: 'BENCH', supply, outputs: faces, chance: chance(1) })
  let t_us = 0
  const say = (text: string): string => {
    device.receive(`${text}\n`, t_us)
    t_us += 1_000_000
    return device.take(t_us).replace(/\r?\n/g, '|')
  }
  return { device, faces, say }
}

describe('a virtual supply', () => {
  it('understands suffixes and channel lists as well as a selection', () => {
    const { faces, say } = make()
    say('SOUR2:VOLT 5')
    say('VOLT 7,(@1)')
    expect([faces.plate.set_V, faces.bias.set_V]).toEqual([7, 5])
    expect(say('MEAS:VOLT? (@1,2)')).toBe('0.00,0.00|')
    expect(say('OUTP2 ON;:OUTP2?;:OUTP1?')).toBe('1;0|')
  })

  it('answers no sooner than the line carries the text', () => {
    const { device } = make()
    device.receive(':INST:NSEL 1;:MEAS:VOLT?\n', 0)
    const acted_us = device.next_us() ?? 0
    expect(acted_us).toBeGreaterThan(25 * 86)
    expect(device.take(acted_us)).toBe('')
    expect(device.take(acted_us + 5 * 87)).toBe('0.00\n')
  })

  it('trips on over-voltage, keeps saying on, and stays tripped when told on again', () => {
    const { faces, say } = make()
    say('CURR 0.1;:VOLT:PROT 100;:VOLT:PROT:STAT ON;:VOLT 90;:OUTP ON')
    faces.plate.measured_V = 101
    expect(say('VOLT:PROT:TRIP?;:OUTP?')).toBe('1;1|')
    say('OUTP ON')
    expect(faces.plate.tripped).toBe('over-voltage')
  })

  it('names what no correct driver may send', () => {
    const said: readonly [string, RegExp][] = [
      ['OUTP ON', /before its current limit/],
      ['VOLT 1E1', /exponent/],
      ['VOLT 400', /refused/],
      ['VOLTS 1', /not understood/],
      ['*RST', /RST/],
      ['CURR 0.1;:OUTP ON;:VOLT:PROT:CLE', /protection of plate was cleared/],
      [`VOLT ${'0'.repeat(300)}`, /more than 256/],
      ['VOLT \xb1', /no text/],
    ]
    for (const [text, abuse] of said) {
      const { device, say } = make()
      say(text)
      expect(device.abuses()[0], text).toMatch(abuse)
    }
    const { device } = make()
    device.receive('VOLT?\nCURR?\n', 0)
    expect(device.abuses()[0]).toMatch(/before the answer/)
  })

  it('switches its outputs off when its dead-man is not fed', () => {
    const { device, faces, say } = make({
      dead_man: {
        arm: ['WATC ON'],
        feed: 'WATC:FEED',
        after_s: 3,
        per: 'supply',
        ask_armed: null,
        ask_expired: null,
      },
    })
    say('WATC ON')
    say('CURR 0.1;:OUTP ON')
    say('WATC:FEED')
    say('WATC:FEED')
    expect(faces.plate.on).toBe(true)
    device.take(60_000_000)
    expect(faces.plate.on).toBe(false)
    expect(device.abuses()).toEqual([])
  })

  it('garbles by seed, so that a fault repeats', () => {
    const once = (): string => {
      const { device, say } = make()
      device.faults({ garbled: true })
      return Array.from({ length: 20 }, () => say('*IDN?')).join('')
    }
    expect(once()).toBe(once())
    expect(once()).not.toBe(Array.from({ length: 20 }, () => make().say('*IDN?')).join(''))
  })
})

describe('a virtual meter', () => {
  it('shows what it measures with its own resolution, and nothing of the other kind', () => {
    const meter: Meter = {
      line: { kind: 'virtual', as: 'tcp', baud: 9600, spare_allowed: true },
      on: null,
      ask: null,
      answer: null,
      every_s: 0,
      closed_is: 1,
      required: false,
      limits: [],
      identity: null,
      dialect: { ...fullDialect, select: null },
      measures: 'V',
      at: null,
      against: null,
      rail: null,
      ohm: 1e7,
      resolution: 0.1,
      accuracy: { of_reading: 0.01, plus: 0.1 },
      isolation_V: 600,
      interface_isolated: null,
    }
    const device = createMeterDevice({ name: 'M1', meter, shows: () => 123.456, chance: chance(1) })
    device.receive('MEAS:VOLT?\n', 0)
    expect(device.take(1_000_000)).toBe('123.5\n')
    device.receive('MEAS:CURR?\n', 1_000_000)
    expect(device.take(2_000_000)).toBe('')
  })
})

describe('a virtual supply that nobody told to be remote', () => {
  it('refuses to be set, and obeys OFF and the feeding of its dead-man', () => {
    const dead_man = {
      ...{ arm: [':OUTP:DMAN:STAT ON'], feed: ':OUTP:DMAN:FEED', after_s: 20, per: 'supply' as const },
      ...{ ask_armed: null, ask_expired: null },
    }
    const { device, faces, say } = make({ remote: ':SYST:REM', dead_man })
    say(':SYST:REM;:INST:NSEL 1;:VOLT 20;:CURR 0.1;:OUTP:DMAN:STAT ON;:OUTP ON')
    device.panel?.()
    for (const words of [':VOLT 30', ':OUTP:DMAN:FEED', ':OUTP OFF']) say(`:INST:NSEL 1;${words}`)
    expect(faces.plate).toMatchObject({ set_V: 20, on: false })
    expect(say(':SYST:ERR?')).toMatch(/^-201/)
    expect(say(':SYST:ERR?')).toMatch(/^0/)
  })
})
