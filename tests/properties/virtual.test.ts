import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { createVirtualBench, parseFault } from '../../src/virtual/index.js'
import { bench, receiver } from '../unit/virtual-fixture.js'

/** What hands and programs may do to a bench, in any order. */
const act = fc.oneof(
  fc.record({ port: fc.constantFrom('main', 'low'), text: fc.constantFrom('OUTP ON', 'OUTP OFF') }),
  fc.record({
    port: fc.constantFrom('main', 'low'),
    text: fc.integer({ min: 0, max: 300 }).map((volts) => `VOLT ${volts}.00`),
  }),
  fc.record({
    port: fc.constantFrom('main', 'low'),
    text: fc.integer({ min: 1, max: 400 }).map((mA) => `CURR ${(mA / 1000).toFixed(3)}`),
  }),
)
const story = fc.array(fc.record({ act, wait_s: fc.double({ min: 0.05, max: 20, noNaN: true }) }), {
  maxLength: 12,
})

const faults = fc.constantFrom(
  [],
  ['C1:short@t>10s'],
  ['V1:gassy'],
  ['HT:reversed'],
  ['HT:swapped=heaters'],
  ['HT:lead-off@t>5s'],
  ['main:ignores-off'],
)

describe('whatever is done to a virtual bench', () => {
  it('volts stay finite, supplies never push above their set-point nor sink, and heat and charge have bounds', () => {
    fc.assert(
      fc.property(fc.integer(), story, faults, (seed, steps, texts) => {
        const specs = texts.map((text) => {
          const parsed = parseFault(text)
          if (!parsed.ok) throw new Error(parsed.problem)
          return parsed.value
        })
        const world = createVirtualBench(receiver, bench, { seed, faults: specs, mode: 'receive' })
        let t_us = 0
        let highest = 0
        for (const { act, wait_s } of steps) {
          const set = /^VOLT (.+)$/.exec(act.text)
          if (set !== null) highest = Math.max(highest, Number(set[1]))
          world.receive(act.port, `${act.text}\n`, t_us)
          const end_us = t_us + Math.round(wait_s * 1e6)
          while (t_us < end_us) {
            t_us = Math.min(end_us, t_us + 250_000)
            world.advance(t_us)
            for (const port of world.ports()) world.take(port, t_us)
          }
          const { volts, rails } = world.truth()
          for (const value of Object.values(volts)) {
            expect(Number.isFinite(value)).toBe(true)
            expect(Math.abs(value)).toBeLessThan(highest * 1.01 + 1)
          }
          for (const { amps } of Object.values(rails)) expect(Math.abs(amps)).toBeLessThan(50)
        }
      }),
      { numRuns: 60 },
    )
  })

  it('time may pass in any pieces: many small ones and few large ones end at the same volts', () => {
    fc.assert(
      fc.property(fc.integer(), fc.integer({ min: 20, max: 250 }), (seed, volts) => {
        const end = (piece_us: number): number => {
          const world = createVirtualBench(receiver, bench, { seed, faults: [], mode: 'receive' })
          world.receive('main', `CURR 0.200\nVOLT ${volts}.00\nOUTP ON\n`, 0)
          world.receive('low', 'CURR 1.500\nVOLT 6.30\nOUTP ON\n', 0)
          // The words are acted on within the first moment, the same in both.
          for (let t_us = 10_000; t_us <= 200_000; t_us += 10_000) world.advance(t_us)
          for (let t_us = 200_000; t_us <= 30_200_000; t_us += piece_us) world.advance(t_us)
          return world.truth().rails['HT']?.amps ?? 0
        }
        expect(end(20_000) / end(500_000)).toBeGreaterThan(0.97)
        expect(end(20_000) / end(500_000)).toBeLessThan(1.03)
      }),
      { numRuns: 12 },
    )
  })
})
