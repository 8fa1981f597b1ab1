import { describe, expect, it } from 'vitest'
import { type Bench, type Line, type Meter, plainScpi, type Supply } from '../../src/bench/index.js'
import { lineConfigOf, lineConfigsOf } from '../../src/line/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'

/* What the bench file says of a supply or a meter, as its line goes by it. */

const serial: Line = { kind: 'serial', path: '/dev/ttyS0', baud: 9600, spare_allowed: true }
const network: Line = { kind: 'tcp', host: '127.0.0.1', port: 5025, spare_allowed: true }

const meterOf = (change: Partial<Meter>): Meter => ({
  line: null,
  on: null,
  ask: null,
  answer: null,
  every_s: 0,
  closed_is: 1,
  required: true,
  limits: [],
  identity: null,
  dialect: null,
  measures: 'V',
  at: null,
  against: null,
  rail: null,
  ohm: 1e7,
  resolution: 0.001,
  accuracy: { of_reading: 0.001, plus: 0.01 },
  isolation_V: 600,
  interface_isolated: null,
  ...change,
})
const own = (change: Partial<Meter> = {}): Meter => meterOf({ line: serial, dialect: plainScpi, ...change })

function configs(meters: Record<string, Meter>, supplies: Record<string, Supply> = {}) {
  return lineConfigsOf({ supplies, meters } as unknown as Bench)
}

describe('the line of a supply', () => {
  it('is as slow as its bytes, and takes no time on a network', () => {
    // 8N1: ten bit times a byte (firmware-protocol, section 1), at 9600 per second.
    const of = (line: Line) => lineConfigOf('S', supplyOf(fullDialect, {}, { line }))
    expect(of(serial).byte_us).toBeCloseTo(10_000_000 / 9600, 6)
    expect(of({ ...serial, baud: 1200 }).byte_us).toBeCloseTo(10_000_000 / 1200, 6)
    expect(of(network)).not.toHaveProperty('byte_us')
  })

  it('waits for a reply as long as the bench file says, in whole microseconds', () => {
    expect(lineConfigOf('S', supplyOf(fullDialect, {}, { reply_s: 0.35 })).reply_us).toBe(350_000)
    expect(lineConfigOf('S', supplyOf(fullDialect, {}, { reply_s: 0.000_000_7 })).reply_us).toBe(1)
  })

  it('leaves heaters, bias and whatever is said to be so unarmed, and nothing else', () => {
    const { channels } = lineConfigOf(
      'S',
      supplyOf(fullDialect, {
        plate: channelOf(1),
        heater: channelOf(2, { role: 'heater' }),
        bias: channelOf(3, { role: 'bias' }),
        screen: channelOf(4, { role: 'screen' }),
        other: channelOf(5, { unguarded: true }),
      }),
    )
    expect(channels.map(({ channel, unguarded }) => [channel, unguarded])).toEqual([
      ['S.plate', false],
      ['S.heater', true],
      ['S.bias', true],
      ['S.screen', false],
      ['S.other', true],
    ])
  })

  it('has the ratings of each channel as they stand in the file', () => {
    const channel = channelOf(7, { min_V: 2, min_A: 0.001, over_voltage: false })
    const config = lineConfigOf('S', supplyOf(fullDialect, { plate: channel }))
    expect(config).toMatchObject({
      port: 'S',
      identity: 'TEST BENCH,TWO CHANNELS,0,1.0',
      dialect: fullDialect,
      meter: null,
    })
    expect(config.channels).toEqual([
      {
        channel: 'S.plate',
        number: 7,
        set_digits_V: 2,
        set_digits_A: 4,
        max_V: 300,
        max_A: 0.5,
        resolution_V: 0.01,
        resolution_A: 0.0001,
        over_voltage: false,
        min_V: 2,
        min_A: 0.001,
        unguarded: false,
      },
    ])
  })
})

describe('a meter with a line of its own', () => {
  it('is read round after round where no time is said', () => {
    const [config, ...more] = configs({ M: own({ identity: 'SOME,METER,0,1' }) })
    expect(more).toEqual([])
    expect(config).toMatchObject({
      port: 'M',
      identity: 'SOME,METER,0,1',
      channels: [],
      reply_us: 1_000_000,
      meter: { name: 'M', measures: 'V', limit: 2000, ask: null, answer: null, closed_is: 1 },
    })
    expect(config?.byte_us).toBeCloseTo(10_000_000 / 9600, 6)
    expect(config?.meter).not.toHaveProperty('every_us')
    expect(config).not.toHaveProperty('inputs')
  })

  it('is asked in its own slower turn where a time is said, or keeps a cut-off relay closed', () => {
    const relay = own({ every_s: 0.25, feeds: true, measures: 'contact', ask: 'RELAY?', closed_is: 0 })
    const [config] = configs({ R: relay })
    expect(config?.meter).toBeNull()
    expect(config?.inputs).toEqual([
      {
        name: 'R',
        measures: 'contact',
        limit: 1,
        ask: 'RELAY?',
        answer: null,
        every_us: 250_000,
        closed_is: 0,
        feeds: true,
      },
    ])
    expect(configs({ M: own({ every_s: 1 }) })[0]?.inputs?.[0]).not.toHaveProperty('feeds')
  })

  it('is believed as far as its kind can show', () => {
    const limit = (measures: Meter['measures']) => configs({ M: own({ measures }) })[0]?.meter?.limit
    expect([limit('V'), limit('A'), limit('°C'), limit('contact')]).toEqual([2000, 20, 400, 1])
  })

  it('has none where neither line nor words are given', () => {
    expect(configs({ M: meterOf({}) })).toEqual([])
    expect(configs({ M: meterOf({ dialect: plainScpi }) })).toEqual([])
    expect(configs({ M: meterOf({ line: serial }) })).toEqual([])
  })
})

describe('a meter on the line of a supply', () => {
  it('is an input of that supply only, and no line of its own', () => {
    const supplies = { low: supplyOf(fullDialect, {}), high: supplyOf(fullDialect, {}) }
    const lid = meterOf({ on: 'low', ask: 'LID?', measures: 'contact', every_s: 2 })
    const all = configs({ lid }, supplies)
    expect(all.map(({ port, inputs }) => [port, inputs?.map(({ name }) => name)])).toEqual([
      ['low', ['lid']],
      ['high', undefined],
    ])
    expect(all[1]).not.toHaveProperty('inputs')
  })
})
