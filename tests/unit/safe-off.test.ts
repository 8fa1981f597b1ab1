import { describe, expect, it } from 'vitest'
import { knownBy } from '../../src/controller/index.js'
import { safeOffBegin } from '../../src/controller/safe-off.js'
import { testLine } from '../helpers/fake-supply.js'
import { bias, heater, ht, offPlan, play } from '../helpers/safe-off-play.js'

/** HT with a large reservoir: ten seconds to a third. */
const big = { ...ht, expected_fall: { ohm: 100_000, F: 100e-6 } }

describe('lines that somebody else takes over', () => {
  it('believe the instrument that answered the run, where the bench file names none', () => {
    const config = { ...testLine('HTS', ['1'], 400), identity: null }
    const known = (identities: Record<string, string>, named: string | null = null): (string | null)[] =>
      knownBy([{ ...config, identity: named }], identities).map(({ identity }) => identity)
    expect(known({ HTS: 'A, B, 1, 2' })).toEqual(['A, B, 1, 2'])
    expect(known({ HTS: 'A, B, 1, 2' }, 'C, D')).toEqual(['C, D'])
    expect(known({ HTS: '' })).toEqual([null])
    expect(known({})).toEqual([null])
  })
})

describe('safe-off', () => {
  it('puts HT off first, heaters when HT is low, bias last, and confirms all three by measurement', () => {
    const { result, offs } = play()
    expect(offs).toEqual(['HTS.1', 'LV.1', 'LV.2'])
    expect(result?.outputs_off).toBe('confirmed')
    expect(result?.bias_released_by).toMatch(/^\(a\)/)
  })

  it('opens the ports of its outputs and of the meters that its knobs are read by, to switch off only, and no other', () => {
    const meter = (port: string) => ({
      ...testLine(port, [], 400),
      meter: { name: port, measures: 'V' as const, limit: 1000 },
    })
    const read = { class: 'watched', volts_meter: 'HT meter', amps_meter: 'HT amps', no_A: 0 } as const
    const knobs = [{ rail: 'plates', role: 'HT' as const, ...read }]
    const ports = ['HTS', 'LV', 'SPARE'].map((port) => testLine(port, ['1'], 400))
    const meters = ['HT meter', 'HT amps', 'grid meter'].map(meter)
    const { lines } = safeOffBegin(offPlan({}, { knobs }), [...ports, ...meters], 0).state
    expect(Object.keys(lines)).toEqual(['HTS', 'LV', 'HT meter', 'HT amps'])
    for (const { config } of Object.values(lines)) expect(config.only_off).toBe(true)
    const bare = safeOffBegin(offPlan({}, { knobs: null }), [...ports, ...meters], 0)
    expect(Object.keys(bare.state.lines)).toEqual(['HTS', 'LV'])
  })

  it('puts what its lines do to be answered into the record as theirs, once', () => {
    const { told } = play({ silent: ['HTS'], at_most_s: 5 })
    const records = told.flatMap(({ output }) =>
      output.kind === 'record' && output.text.includes('HTS') ? [output] : [],
    )
    expect(records).toEqual([
      {
        ...{ kind: 'record', what: 'line', rail: null },
        text: 'port HTS: nobody answers; opening it afresh',
      },
    ])
  })

  it('sends the first OFF with the opening of the port, before anything has answered', () => {
    const { told } = play({ silent: ['HTS', 'LV'] })
    const first = told.find(({ output }) => output.kind === 'write' && output.text.includes('OUTP OFF'))
    expect(first?.t_s).toBe(0)
    expect(first?.output).toMatchObject({ port: 'HTS', urgent: true })
  })

  it('keeps the bias on, puts heaters off after 30 s and alarms when HT ignores OFF', () => {
    const { result, supplies, told, alarms } = play({ ht: { ignoresOff: true } })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(supplies.LV.outputs[0]?.on).toBe(false)
    expect(supplies.LV.outputs[1]?.on).toBe(true)
    expect(supplies.HTS.heard).toContain('1:VOLT 0.00')
    expect(alarms.join('\n')).toContain('Cut the mains of the HT sources')
    const heaters = told.find(
      ({ output }) => output.kind === 'record' && output.text.startsWith('Heaters off'),
    )
    expect(heaters?.t_s).toBeGreaterThanOrEqual(30)
    expect(result?.rails['HT']?.how).toContain('last read back: output on, 250 V')
    expect(result?.rails['bias']?.how).toMatch(/^not told OFF: bias stays .* output on, 50 V/)
  })

  it('puts the dead-man that a bias hangs on to rest where that bias stays on, and feeds it until then', () => {
    const dead_man = {
      ...{ arm: [':WATC ON'], feed: ':WATC:FEED', after_s: 8, per: 'supply' as const },
      ...{ disarm: [':WATC OFF'], ask_armed: null, ask_expired: null },
    }
    const { result, supplies, alarms } = play({ ht: { ignoresOff: true }, dead_man })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(supplies.LV.outputs[1]?.on).toBe(true)
    const words = supplies.LV.heard.map((text) => text.slice(1))
    expect(words.filter((text) => text === ':WATC:FEED').length).toBeGreaterThan(20)
    expect(words.filter((text) => text === ':WATC OFF')).toHaveLength(1)
    expect(words.indexOf(':WATC OFF')).toBeGreaterThan(words.lastIndexOf(':WATC:FEED'))
    expect(alarms.join('\n')).not.toContain('could not be put to rest')
    expect(play({ dead_man }).supplies.LV.heard.join()).not.toContain(':WATC OFF')
  })

  it('says so where that dead-man cannot be put to rest, and ends all the same', () => {
    const dead_man = {
      ...{ arm: [':WATC ON'], feed: ':WATC:FEED', after_s: 8, per: 'supply' as const },
      ...{ disarm: [':WATC OFF'], ask_armed: ':WATC?', ask_expired: null },
    }
    const { result, alarms } = play({ ht: { ignoresOff: true }, dead_man })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(alarms.at(-1)).toMatch(
      /dead-man of LV could not be put to rest .* Cut the mains of the HT sources now/,
    )
  })

  it('releases the bias only 300 s after heaters were confirmed off when only that rule applies', () => {
    const { result, ended_s } = play({ ht: { keeps: 0.97 }, plan: offPlan({ only_wire_between: false }) })
    expect(result?.outputs_off).toBe('confirmed')
    expect(result?.bias_released_by).toMatch(/^\(c\)/)
    expect(ended_s).toBeGreaterThan(300)
  })

  it('releases the bias by the computed discharge time where the off plan has one', () => {
    const { result, ended_s } = play({ plan: offPlan({ only_wire_between: false, discharge_s: 60 }) })
    expect(result?.bias_released_by).toMatch(/^\(b\)/)
    expect(ended_s).toBeGreaterThan(60)
    expect(ended_s).toBeLessThan(70)
  })

  it('does not call a channel confirmed whose port never answered, and calls for the mains switch', () => {
    const { result, alarms } = play({ silent: ['HTS', 'LV'] })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(result?.silent).toEqual(['HTS', 'LV'])
    expect(alarms.join('\n')).toContain('Cut the mains of the HT sources')
  })
})

describe('another instrument than the one that is known', () => {
  it('is never taken for it, and is named with what to do once it has been exchanged', () => {
    const { result } = play({ identity: 'THE ONE,OF BEFORE,1,1.0' })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(result?.text).toMatch(
      /another supply answers: "invented,test supply,1,1.0" where "THE ONE,OF BEFORE,1,1.0" was expected/,
    )
    expect(result?.text).toContain('write what answers as its identity: in the bench file')
    expect(result?.text).toContain('another instrument answers there')
    expect(result?.text).not.toContain('never answered')
    // Written there it is believed, whatever was learned before.
    expect(play({ identity: 'invented,test supply,1,1.0' }).result?.outputs_off).toBe('confirmed')
  })

  it('is no longer spoken of once the known one answers again, and told once however often it comes', () => {
    const known = 'invented,test supply,1,1.0'
    const swapped = (ends_s: number) =>
      play({
        identity: known,
        meanwhile: (t_s, { HTS }) => {
          HTS.identity = t_s < ends_s && t_s % 20 < 10 ? 'ANOTHER,ONE,1,1.0' : known
        },
      })
    const back = swapped(10).result
    expect(back?.outputs_off).toBe('confirmed')
    expect(back?.text).not.toContain('another supply')
    const never = play({ identity: 'THE ONE,OF BEFORE,1,1.0' }).result?.text ?? ''
    expect(never.split('another supply answers')).toHaveLength(2)
  })
})

describe('safe-off always ends, and never without having called', () => {
  it('where the port of HT can never be opened', () => {
    const { result, alarms, supplies } = play({ opens_s: null })
    expect(alarms[0]).toMatch(/HT does not fall after OFF \(nothing was read back of it\)\. Cut the mains/)
    expect(result?.outputs_off).toBe('not confirmed')
    expect(supplies.LV.outputs[1]?.on).toBe(true)
  })

  it('where HT falls at first and then stays: a fall that has stopped puts the alarm off no longer', () => {
    const { told, result } = play({
      ht: { keeps: 0.9 },
      meanwhile: (_, { HTS }) => {
        const output = HTS.outputs[0]
        if (output && output.volts < 200) output.volts = 200
      },
    })
    const alarm = told.find(({ output }) => output.kind === 'alarm')
    expect(alarm?.t_s).toBeLessThan(15)
    expect(result?.outputs_off).toBe('not confirmed')
  })

  it('puts the alarm off while a slow fall is under way, though not for ever', () => {
    const { alarms, result } = play({
      ht: { keeps: Math.exp(-1 / 12) },
      plan: offPlan({ discharge_s: 60 }, { channels: [big, heater, bias] }),
    })
    expect(alarms).toEqual([])
    expect(result?.outputs_off).toBe('confirmed')
  })

  it('where there is neither a heater nor a computed time to let the bias go by: rule (c) cannot be had', () => {
    const { result, alarms } = play({
      ht: { keeps: 0.9 },
      plan: offPlan({ only_wire_between: false }, { channels: [ht, bias] }),
    })
    expect(result?.bias_released_by).toBeNull()
    expect(result?.outputs_off).toBe('not confirmed')
    expect(alarms.join('\n')).toContain('bias stays on')
  })
})

describe('what safe-off calls confirmed', () => {
  it('a zero error inside the stated accuracy of the current counts as no current', () => {
    const { result } = play({
      meanwhile: (_, { HTS }) => {
        const output = HTS.outputs[0]
        if (output && !output.on) output.amps = 0.0002
      },
    })
    expect(result?.outputs_off).toBe('confirmed')
  })

  it('is taken back when volts and current come back, and bias stays', () => {
    const { result, records, supplies } = play({
      ht: { keeps: 0.9 },
      plan: offPlan({ only_wire_between: false }, { channels: [big, heater, bias] }),
      meanwhile: (t_s, { HTS }) => {
        if (t_s > 3) Object.assign(HTS.outputs[0] ?? {}, { volts: 250, amps: 0.04 })
      },
    })
    expect(records.some((text) => text.includes('HT: no longer confirmed off'))).toBe(true)
    expect(result?.outputs_off).toBe('not confirmed')
    expect(supplies.LV.outputs[1]?.on).toBe(true)
  })

  it('the computed discharge time counts from the moment HT was read back as off, not from the start', () => {
    const { ht_at_bias_off_V, result } = play({
      opens_s: 40,
      ht: { keeps: 0.9 },
      plan: offPlan({ only_wire_between: false, discharge_s: 30 }, { channels: [big, heater, bias] }),
    })
    expect(result?.bias_released_by).toMatch(/^\(b\)/)
    expect(ht_at_bias_off_V).toBeLessThan(60)
  })

  it('nothing is "below" by one sample, and bias goes by rule (a) at the figure of the bench', () => {
    const { ht_at_bias_off_V, records } = play({ plan: offPlan({ below_V: 20 }) })
    expect(ht_at_bias_off_V).toBeLessThan(20)
    expect(records.some((text) => text.includes('(a) plates and screens below 20 V'))).toBe(true)
  })
})

describe('HT on a knob', () => {
  it('that a bare bench file cannot exclude keeps the bias until the cathodes are cold', () => {
    const { result, alarms, ended_s } = play({
      plan: offPlan({ only_wire_between: false }, { channels: [heater, bias], knobs: null }),
    })
    expect(ended_s).toBeGreaterThan(300)
    expect(result?.bias_released_by).toMatch(/^\(c\)/)
    expect(alarms[0]).toContain('turn it down to zero now, one hand')
    expect(result?.text).toContain('HT on a knob')
  })

  it('by hand is called for, never called confirmed, and keeps the bias until the cathodes are cold', () => {
    const { result, alarms, ended_s } = play({
      plan: offPlan(
        { discharge_s: 20 },
        {
          channels: [heater, bias],
          knobs: [{ rail: 'HT', role: 'HT', class: 'hand', volts_meter: null, amps_meter: null, no_A: 0 }],
        },
      ),
    })
    expect(alarms).toEqual([
      'Turn HT down to zero by its knob now, one hand.',
      expect.stringMatching(
        /^HT: on your own knob, .* 300 s after the heaters are off the bias goes off too/,
      ),
    ])
    expect(ended_s).toBeGreaterThan(300)
    expect(result?.hand_rails).toEqual({ HT: 'not confirmed by you' })
    expect(result?.text).toContain('not measured here: HT')
    expect(result?.rails).not.toHaveProperty('HT')
  })

  it('a set that has no HT rail at all lets the bias go with the heaters', () => {
    const { result, ended_s } = play({ plan: offPlan({}, { channels: [heater, bias], knobs: [] }) })
    expect(result?.outputs_off).toBe('confirmed')
    expect(ended_s).toBeLessThan(10)
  })
})
