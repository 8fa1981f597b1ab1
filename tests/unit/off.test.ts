import { describe, expect, it } from 'vitest'
import { Bench } from '../helpers/off-bench.js'
import { bias, heater, ht, off_channel, offPlan } from '../helpers/safe-off-play.js'

const screen = { ...off_channel('SCR.1', 'HT', 0), rail: 'screen', role: 'screen' as const }
const withScreen = offPlan({}, { channels: [screen, ht, heater, bias] })

describe('the order of going off', () => {
  it('takes screen and HT in one urgent OFF, the screen named first', () => {
    const bench = new Bench(withScreen)
    expect(bench.acts[0]).toMatchObject({ do: 'urgent off', channels: ['SCR.1', 'HTS.1'] })
  })

  it('tells a supply that was away for longer than it was told OFF, as soon as it answers', () => {
    const bench = new Bench(withScreen)
    const heaters = heater.channel
    bench.away.add(heaters)
    bench.pass(40)
    expect([bench.on[heaters], bench.result]).toEqual([true, null])
    bench.away.delete(heaters)
    bench.pass(5)
    expect([bench.on[heaters], typeof bench.confirmed[heater.rail]]).toEqual([false, 'string'])
  })

  it('in a run-down HT waits until the screen on another port is read back as off', () => {
    const bench = new Bench(withScreen, { how: 'run down' }).pass(1)
    expect(bench.off('SCR.1')).toEqual({ t_s: 0, how: 'off' })
    expect(bench.off('HTS.1')?.how).toBe('off')
    expect(bench.off('HTS.1')?.t_s).toBeGreaterThan(0)
  })

  it('in a run-down a screen that does not read back as off takes HT with it, at once and beside the queue', () => {
    const bench = new Bench(withScreen, { how: 'run down' })
    bench.on['SCR.1'] = true
    bench.ignoresOff.add('SCR.1')
    bench.pass(4)
    expect(bench.off('HTS.1')).toMatchObject({ how: 'urgent off' })
    expect(bench.off('HTS.1')?.t_s).toBeCloseTo(3)
  })

  it('counts a stack by the sum of its channels: 40 V on each of two is not low', () => {
    const other = { ...ht, channel: 'HTS.2' }
    const bench = new Bench(offPlan({}, { channels: [ht, other, heater, bias] }))
    for (const channel of ['HTS.1', 'HTS.2']) {
      bench.ignoresOff.add(channel)
      bench.on[channel] = true
      bench.volts[channel] = 40
    }
    bench.pass(29)
    expect(bench.off('LV.1')).toBeUndefined()
    bench.pass(2)
    expect(bench.off('LV.1')).toBeDefined()
    expect(bench.off('LV.2')).toBeUndefined()
  })
})

describe('a watched rail', () => {
  const watched = offPlan(
    { only_wire_between: false, discharge_s: 20 },
    {
      channels: [heater, bias],
      knobs: [
        { rail: 'HT', role: 'HT', class: 'watched', volts_meter: 'HT meter', amps_meter: null, no_A: 0 },
      ],
    },
  )

  it('is confirmed down by three samples of its meter, not by one', () => {
    const bench = new Bench(watched)
    bench.meters['HT meter'] = 0.4
    bench.pass(0.2)
    expect(bench.confirmed['HT']).toBeNull()
    bench.pass(0.2)
    expect(bench.confirmed['HT']).toContain('three times')
    expect(bench.alarms()).toEqual([])
  })

  it('that reads as up is called for at once, and the discharge time counts from when it is down', () => {
    const bench = new Bench(watched)
    bench.meters['HT meter'] = 250
    bench.pass(1)
    expect(bench.alarms()).toEqual(['Turn HT down to zero by its knob now, one hand.'])
    bench.pass(60)
    expect(bench.alarms().join('\n')).toContain('HT does not fall after OFF')
    expect(bench.off('LV.2')).toBeUndefined()
    bench.meters['HT meter'] = 1
    bench.pass(15)
    expect(bench.off('LV.2')).toBeUndefined()
    bench.pass(10)
    expect(bench.off('LV.2')).toBeDefined()
    expect(bench.result?.outputs_off ?? 'open').not.toBe('not confirmed')
  })

  it('whose meter says nothing is never called confirmed', () => {
    const bench = new Bench(watched).pass(2000)
    expect(bench.result?.outputs_off).toBe('not confirmed')
    expect(bench.result?.rails['HT']?.how).toContain('nothing was read back of it')
    expect(bench.alarms().join('\n')).toContain('HT does not fall')
  })
})

describe('alarms', () => {
  it('come once for every rail that does not go off, HT also after a heater', () => {
    const bench = new Bench(offPlan())
    for (const channel of ['LV.1', 'HTS.1']) {
      bench.ignoresOff.add(channel)
      bench.on[channel] = true
    }
    bench.pass(200)
    expect(bench.alarms().filter((text) => text.includes('HT does not fall'))).toHaveLength(1)
    expect(bench.alarms().filter((text) => text.includes('heater does not confirm'))).toHaveLength(1)
    expect(bench.result?.outputs_off).toBe('not confirmed')
  })

  // V·e^(−t/RC): 1000 µF through the 1 MΩ of a read-back divider come from 6.3 to 5 V in 231 s, 6 mV a second at a digit of 10 mV.
  it('a heater supply whose only load is gone is watched until its capacitor is low, though a second shows no fall', () => {
    const bench = new Bench(withScreen)
    const digit = (t_s: number): number => (Math.round(t_s * 10) % 3) - 1
    bench.stays[heater.channel] = (t_s) => (Math.round(6.3 * Math.exp(-t_s / 1000) * 100) + digit(t_s)) / 100
    bench.pass(220)
    expect([bench.alarms().some((text) => text.includes(heater.rail)), bench.result]).toEqual([true, null])
    expect(bench.pass(30).result).toMatchObject({ outputs_off: 'confirmed' })
  })

  // A supply that does not obey, whose lead falls off: no current flows, and its volts rise.
  it('come for volts that rise after OFF and stay, however few', () => {
    const bench = new Bench(offPlan())
    bench.stays[heater.channel] = (t_s) => (t_s < 6 ? 1 : 2)
    const drawn = { kind: 'reading', channel: heater.channel, quantity: 'A', value: 0.3 } as const
    for (let i = 0; i < 60; i++) {
      bench.feed(drawn)
      bench.pass(0.1)
    }
    bench.pass(40)
    expect(bench.confirmed[heater.rail]).toBeNull()
    expect(bench.alarms().join('\n')).toContain(`${heater.rail} does not confirm`)
  })

  it('come at once where HT comes back after the bias has gone', () => {
    const bench = new Bench(offPlan())
    bench.ignoresOff.add('LV.1')
    bench.pass(1)
    expect(bench.off('LV.2')).toBeDefined()
    bench.ignoresOff.add('HTS.1')
    bench.on['HTS.1'] = true
    bench.pass(0.2)
    expect(bench.alarms().join('\n')).toContain('HT does not fall')
  })
})

describe('a line that says something else than was asked', () => {
  it('confirms nothing by a row of answers in which one was not to be believed', () => {
    const bench = new Bench(offPlan())
    for (let i = 0; i < 20; i++) {
      bench.pass(0.2)
      bench.feed({ kind: 'doubt', port: ht.port })
    }
    expect(bench.confirmed).toMatchObject({ [ht.rail]: null })
    expect(bench.off(bias.channel)).toBeUndefined()
    bench.pass(0.3)
    expect(bench.confirmed[ht.rail]).toMatch(/read back as off/)
  })

  it('takes nothing from what is on another port', () => {
    const bench = new Bench(offPlan())
    for (let i = 0; i < 3; i++) {
      bench.pass(0.2)
      bench.feed({ kind: 'doubt', port: heater.port })
    }
    expect(bench.confirmed).toMatchObject({ [heater.rail]: null })
    expect(bench.confirmed[ht.rail]).toMatch(/read back as off/)
  })
})

describe('a computer that slept', () => {
  it.each([
    ['an hour while HT is going off', 'yes', 3600],
    ['twenty seconds before anything was on', 'no', 20],
  ] as const)('%s tries again before it gives up', (_, live, slept_s) => {
    const bench = new Bench(offPlan(), { live })
    bench.ignoresOff.add('HTS.1')
    bench.on['HTS.1'] = true
    bench.pass(1)
    bench.t_us += slept_s * 1e6
    bench.feed({ kind: 'tick' })
    expect(bench.result).toBeNull()
    bench.on['HTS.1'] = false
    bench.pass(5)
    expect(bench.result?.outputs_off).toBe('confirmed')
  })

  it('lets no bias go, and calls nothing off, by time alone that passed while it slept', () => {
    const byTime = { only_wire_between: false, discharge_s: 60 }
    const slept = (): Bench => {
      const bench = new Bench(offPlan(byTime)).pass(1)
      expect(bench.off('LV.2')).toBeUndefined()
      bench.t_us += 3600 * 1e6
      bench.feed({ kind: 'tick' })
      expect(bench.off('LV.2')).toBeUndefined()
      return bench
    }
    const measured = slept().pass(5)
    expect(measured.off('LV.2')).toBeDefined()
    expect(measured.result?.outputs_off).toBe('confirmed')
    const silent = slept()
    for (let s = 0; s < 400 && silent.result === null; s++) {
      silent.t_us += 1e6
      silent.feed({ kind: 'tick' })
    }
    expect(silent.off('LV.2')).toBeUndefined()
    expect(silent.result).toMatchObject({ outputs_off: 'not confirmed', bias_released_by: null })
  })

  it('still gives up in bounded time', () => {
    const bench = new Bench(offPlan())
    bench.ignoresOff.add('HTS.1')
    bench.on['HTS.1'] = true
    bench.pass(1)
    bench.t_us += 3600 * 1e6
    bench.pass(69)
    expect(bench.result).toBeNull()
    bench.pass(2)
    expect(bench.result?.outputs_off).toBe('not confirmed')
  })
})
