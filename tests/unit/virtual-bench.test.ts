import { describe, expect, it } from 'vitest'
import type { DeadMan } from '../../src/bench/index.js'
import { createVirtualBench, parseFault, type FaultSpec } from '../../src/virtual/index.js'
import { bench, receiver } from './virtual-fixture.js'

function fault(text: string): FaultSpec {
  const parsed = parseFault(text)
  if (!parsed.ok) throw new Error(parsed.problem)
  return parsed.value
}

/** A bench with a hand on its line: says words, waits for the answer, lets time pass. */
function handled(seed: number, faults: string[] = [], on = bench) {
  const world = createVirtualBench(receiver, on, { seed, faults: faults.map(fault), mode: 'receive' })
  let t_us = 0
  const wait = (s: number): void => {
    const end = t_us + Math.round(s * 1e6)
    while (t_us < end) {
      t_us = Math.min(end, t_us + 50_000)
      world.advance(t_us)
    }
  }
  const say = (port: string, text: string): string => {
    world.receive(port, `${text}\n`, t_us)
    for (let i = 0; i < 40; i++) {
      t_us += 5_000
      world.advance(t_us)
      const reply = world.take(port, t_us)
      if (reply !== '') return reply.trim()
    }
    return ''
  }
  const set = (port: string, volts: number, amps: number): void => {
    say(port, `CURR ${amps.toFixed(3)}`)
    say(port, `VOLT ${volts.toFixed(2)}`)
    say(port, 'OUTP ON')
  }
  const volts = (port: string): number => Number(say(port, 'MEAS:VOLT?'))
  const amps = (port: string): number => Number(say(port, 'MEAS:CURR?'))
  return { world, wait, say, set, volts, amps, now: () => t_us }
}

describe('a virtual bench with a set known by its rails', () => {
  it('warms its heaters in current limit, then holds their volts', () => {
    const at = handled(1)
    at.set('low', 6.3, 1)
    at.wait(0.5)
    expect(at.volts('low')).toBeLessThan(3)
    expect(at.amps('low')).toBeCloseTo(1, 1)
    at.wait(90)
    expect(at.volts('low')).toBeCloseTo(6.3, 1)
    expect(at.amps('low')).toBeGreaterThan(0.68)
    expect(at.amps('low')).toBeLessThan(0.82)
  })

  it('draws hardly any HT cold, and within half of the handbook total when warm, each seed its own', () => {
    const seen = new Set<number>()
    for (const seed of [1, 2, 3, 4]) {
      const at = handled(seed)
      at.set('main', 250, 0.1)
      at.wait(3)
      // Cold: 100 kΩ bleeder, read-back divider and an electrolytic that has stood.
      expect(at.amps('main')).toBeLessThan(0.008)
      at.set('low', 6.3, 1.5)
      at.wait(60)
      const hot = at.amps('main')
      expect(hot).toBeGreaterThan(0.03)
      expect(hot).toBeLessThan(0.09)
      seen.add(hot)
    }
    expect(seen.size).toBeGreaterThan(2)
  })

  it('gives the same run again for the same seed', () => {
    const story = (seed: number): string => {
      const at = handled(seed)
      at.set('low', 6.3, 1)
      at.set('main', 120, 0.05)
      at.wait(20)
      return [at.volts('low'), at.amps('low'), at.volts('main'), at.amps('main')].join(' ')
    }
    expect(story(7)).toBe(story(7))
    expect(story(7)).not.toBe(story(8))
  })

  it('charges its capacitors with no more than the supply delivered: charge is kept', () => {
    const at = handled(3)
    at.say('main', 'CURR 0.020')
    at.say('main', 'VOLT 300.00')
    at.world.receive('main', 'OUTP ON\n', at.now())
    const start = at.now()
    while (at.world.truth().rails['HT']!.volts < 200) at.wait(0.01)
    const coulombs = (0.02 * (at.now() - start)) / 1e6
    const volts = at.world.truth().rails['HT']!.volts
    // 16 µF within −20/+40 %, and 22 µF at the supply; the bleeder takes some.
    expect(coulombs / volts).toBeGreaterThan(16e-6 * 0.8 + 22e-6 * 0.9)
    expect(coulombs / volts).toBeLessThan((16e-6 * 1.4 + 22e-6) * 1.4)
  })

  it('falls after OFF with the time constant of its capacitors and bleeder, never to nothing at once', () => {
    const at = handled(4)
    at.set('main', 250, 0.1)
    at.wait(5)
    at.say('main', 'OUTP OFF')
    const start = at.world.truth().rails['HT']!.volts
    const t0 = at.now()
    at.wait(2)
    const later = at.world.truth().rails['HT']!.volts
    const tau = (at.now() - t0) / 1e6 / Math.log(start / later)
    // R: 100 kΩ and 1 MΩ in parallel, and leakage; C: 22 µF and 16 µF −20/+40 %.
    expect(tau).toBeGreaterThan(70e3 * 34e-6)
    expect(tau).toBeLessThan(91e3 * 45e-6)
    expect(at.amps('main')).toBe(0)
  })

  it('does not pull its terminals down when a lower set-point is given: it cannot sink', () => {
    const at = handled(4)
    at.set('main', 250, 0.1)
    at.wait(5)
    at.say('main', 'VOLT 10.00')
    at.wait(0.3)
    expect(at.volts('main')).toBeGreaterThan(200)
    at.wait(40)
    expect(at.volts('main')).toBeCloseTo(10, 0)
  })

  it('does not tell the charge of a small step of volts as a current that lasts, whenever somebody looks', () => {
    const at = handled(1)
    at.set('main', 100, 0.1)
    at.wait(5)
    const still_A = at.amps('main')
    const t_us = at.now()
    at.world.receive('main', 'VOLT 100.30\n', t_us)
    // It takes effect in the first look; the second comes while the charge still runs.
    at.world.advance(t_us + 50_000)
    at.world.advance(t_us + 50_050)
    at.world.receive('main', 'MEAS:CURR?\n', t_us + 50_100)
    at.world.advance(t_us + 80_000)
    const read_A = Number(at.world.take('main', t_us + 200_000).trim())
    expect(read_A).toBeLessThan(still_A + 0.005)
  })

  it('latches its over-voltage protection when it is set below what stands there', () => {
    const at = handled(5)
    at.set('main', 100, 0.1)
    at.wait(3)
    at.say('main', 'VOLT:PROT 105.00')
    at.say('main', 'VOLT:PROT:STAT ON')
    at.wait(1)
    expect(at.say('main', 'VOLT:PROT:TRIP?')).toBe('0')
    at.say('main', 'VOLT 50.00')
    at.say('main', 'VOLT:PROT 60.00')
    at.wait(0.2)
    expect(at.say('main', 'VOLT:PROT:TRIP?')).toBe('1')
    at.wait(20)
    expect(at.volts('main')).toBeLessThan(5)
  })

  it('switches off by its dead-man at its time, with nobody speaking to it any more', () => {
    const { main } = bench.supplies
    if (main === undefined) throw new Error('no supply of that name')
    const dead_man: DeadMan = {
      arm: ['WATC ON'],
      feed: 'WATC:FEED',
      after_s: 3,
      per: 'supply',
      ask_armed: null,
      ask_expired: null,
    }
    const guarded = { ...main, dialect: { ...main.dialect, dead_man } }
    const at = handled(1, [], { ...bench, supplies: { ...bench.supplies, main: guarded } })
    at.set('main', 100, 0.1)
    at.say('main', 'WATC ON')
    const isOn = (): boolean => at.world.truth().outputs['main.ht'] === true
    at.wait(2.5)
    expect(isOn()).toBe(true)
    at.wait(0.6)
    expect(isOn()).toBe(false)
  })

  it('shows a hand meter less where the meter itself loads the point', () => {
    const at = handled(5)
    at.set('main', 100, 0.1)
    at.wait(3)
    const light = at.world.probe('B+', 'chassis', 10e6)
    expect(light).toBeCloseTo(at.world.truth().rails['HT']!.volts, 1)
    expect(at.world.probe('chassis', 'B+', 10e6)).toBeCloseTo(-light, 1)
    expect(at.world.probe('no such node', 'chassis', 10e6)).toBe(0)
  })

  it('measures a cold heater line with an ohmmeter well below its hot resistance', () => {
    const at = handled(6)
    const cold = at.world.ohms('heaters')
    expect(cold).toBeGreaterThan(6.3 / 0.75 / 7.2)
    expect(cold).toBeLessThan(6.3 / 0.75 / 2.7)
  })

  it('does in seconds of its own time what takes hours on a bench, at little cost', () => {
    const at = handled(6)
    at.set('low', 6.3, 1)
    at.set('main', 200, 0.1)
    at.wait(120)
    const first = at.amps('main')
    at.wait(3600)
    expect(Math.abs(at.amps('main') / first - 1)).toBeLessThan(0.15)
  })
})

describe('a fault at its time', () => {
  const warm = (faults: string[], seed = 2) => {
    const at = handled(seed, faults)
    at.set('low', 6.3, 1.5)
    at.wait(40)
    at.set('main', 100, 0.1)
    at.wait(5)
    return at
  }

  it('capacitor shorting above a voltage draws the supply into its limit from then on', () => {
    const at = warm(['C1:short@HT>150V'])
    expect(at.world.faults()).toEqual([])
    at.set('main', 250, 0.1)
    at.wait(2)
    expect(at.world.faults()).toEqual(['C1:short@HT>150V'])
    expect(at.volts('main')).toBeLessThan(1)
    expect(at.amps('main')).toBeCloseTo(0.1, 2)
  })

  it('leaky capacitor draws its leakage besides', () => {
    const well = warm([])
    const ill = warm(['C1:leaky=10k'])
    expect(ill.amps('main') - well.amps('main')).toBeGreaterThan(0.008)
    expect(ill.amps('main') - well.amps('main')).toBeLessThan(0.012)
  })

  it('heater that opens takes its current and, as the cathode cools, its HT current', () => {
    const at = warm(['V1:heater-open@t>60s'])
    const heat = at.amps('low')
    const ht = at.amps('main')
    at.wait(90)
    expect(at.amps('low')).toBeLessThan(heat * 0.6)
    expect(at.amps('main')).toBeLessThan(ht * 0.6)
  })

  it('gassy tube draws more and more', () => {
    const at = warm(['V1:gassy@t>60s'])
    const first = at.amps('main')
    at.wait(30)
    const second = at.amps('main')
    at.wait(30)
    expect(second).toBeGreaterThan(first * 1.2)
    expect(at.amps('main')).toBeGreaterThan(second * 1.1)
  })

  it('fallen lead leaves the supply standing and the set without', () => {
    const at = warm(['HT:lead-off@t>60s'])
    at.wait(30)
    expect(at.volts('main')).toBeCloseTo(100, 0)
    // Only bleeder and divider are left to the supply.
    expect(at.amps('main')).toBeLessThan(0.003)
    expect(at.world.truth().rails['HT']!.volts).toBeLessThan(5)
  })

  it('reversed leads put the volts on the set the other way round', () => {
    const at = handled(2, ['HT:reversed'])
    at.set('main', 3, 0.005)
    at.wait(2)
    expect(at.world.probe('B+', 'chassis', 10e6)).toBeLessThan(-0.5)
  })

  it('swapped leads put heater volts on the HT line and HT on the heaters', () => {
    const at = handled(2, ['HT:swapped=heaters'])
    at.set('low', 3, 0.5)
    at.wait(2)
    expect(at.world.truth().rails['HT']!.volts).toBeCloseTo(3, 0)
    expect(at.world.ohms('HT')).toBeLessThan(10)
  })

  it('supply that ignores OFF says it is off and stands at its volts', () => {
    const at = warm(['main:ignores-off'])
    at.say('main', 'OUTP OFF')
    at.say('main', 'VOLT 0.00')
    at.wait(10)
    expect(at.say('main', 'OUTP?')).toBe('0')
    expect(at.volts('main')).toBeCloseTo(100, 0)
  })

  it('silent line answers nothing and still obeys', () => {
    const at = warm(['line.main:silent@t>50s'])
    at.wait(20)
    expect(at.say('main', 'MEAS:VOLT?')).toBe('')
    at.say('main', 'OUTP OFF')
    at.wait(40)
    expect(at.world.truth().rails['HT']!.volts).toBeLessThan(10)
  })

  it('trip of the supply takes its output off', () => {
    const at = warm(['main.ht:trips@t>60s'])
    at.wait(60)
    expect(at.say('main', 'VOLT:PROT:TRIP?')).toBe('1')
    expect(at.volts('main')).toBeLessThan(5)
  })
})
