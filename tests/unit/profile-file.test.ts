import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import { checkProfile } from '../../src/profile/index.js'
import { changed, expectProblem, soundProfile, soundSet, type Case } from '../helpers/files.js'

const read = (text: string) => fromText(text, 'profile.yaml', 'profile')

const alone: readonly Case[] = [
  {
    title: 'an unknown kind',
    from: 'kind: receive',
    to: 'kind: recieve',
    at: 'recieve',
    says: /'recieve' is not one of/,
    advises: /'receive'/,
  },
  {
    title: 'an unknown stage',
    from: 'do: ramp, rail: HT',
    to: 'do: rise, rail: HT',
    at: 'rise',
    says: /`do` is missing or unknown/,
    advises: /ramp/,
  },
  {
    title: 'targets without a unit',
    from: 'to: 12.6 V',
    to: 'to: 12.6',
    at: '12.6,',
    says: /targets are wanted here, with their unit/,
    advises: /100 V/,
  },
  {
    title: 'a slew in the wrong unit',
    from: 'slew: 2 V/s',
    to: 'slew: 2 V',
    at: '2 V, hold',
    says: /is a voltage; a slew is wanted/,
    advises: /2 V\/s/,
  },
  {
    title: 'one of several targets in the wrong unit',
    from: '[100 V, 250 V]',
    to: '[100 V, 250 mA]',
    at: '250 mA',
    says: /^'250 mA' is a current; a voltage is wanted here$/,
    advises: /250 V/,
  },
  {
    title: 'the bound of a reading in the wrong unit',
    from: '  - { do: ramp, rail: HT',
    to: '  - { do: ask, text: read it, reading: { node: b1, unit: V, low: 90 mA } }\n  - { do: ramp, rail: HT',
    at: '90 mA',
    says: /^'90 mA' is a current; a voltage is wanted here$/,
    advises: /250 V/,
  },
  {
    title: 'a target above its own ceiling',
    from: '[100 V, 250 V]',
    to: '[100 V, 260 V]',
    at: '260 V',
    says: /260 V on HT, above this profile's ceiling of 250 V/,
    advises: /lower the target/,
  },
  {
    title: 'a rail raised before the hook-up check',
    from: '  - { do: hook-up check }\n  - { do: ramp, rail: heaters, to: 12.6 V, hold: 30 s }\n',
    to: '  - { do: ramp, rail: heaters, to: 12.6 V, hold: 30 s }\n  - { do: hook-up check }\n',
    at: '{ do: ramp, rail: heaters',
    says: /raised before the hook-up check/,
    advises: /before the first ramp/,
  },
]
const withSet: readonly Case[] = [
  {
    title: 'a reading at an unknown node',
    from: '  - { do: ramp, rail: HT',
    to: '  - { do: ask, text: read it, reading: { node: v1 cathod, unit: V } }\n  - { do: ramp, rail: HT',
    at: 'v1 cathod',
    says: /no node 'v1 cathod'/,
    advises: /'v1 cathode'/,
  },
  {
    title: 'an unknown rail',
    from: 'rail: heaters',
    to: 'rail: heater',
    at: 'heater,',
    says: /no rail 'heater'/,
    advises: /'heaters'/,
  },
  {
    title: 'an unknown mode',
    from: 'mode: receive',
    to: 'mode: listen',
    at: 'listen',
    says: /no mode 'listen'/,
    advises: /receive, transmit/,
  },
  {
    title: "a ceiling above the rail's highest",
    from: 'ceiling: { HT: 250 V }',
    to: 'ceiling: { HT: 350 V }',
    at: '350 V',
    says: /ceiling of 350 V is above what rail HT may carry, 300 V \(from memory\)/,
    advises: /300 V or less/,
  },
  {
    title: "a target above the rail's highest",
    from: 'to: 12.6 V',
    to: 'to: 16 V',
    at: '16 V',
    says: /goes to 16 V, above what rail heaters may carry, 14 V/,
    advises: /14 V or less/,
  },
  {
    title: 'cold tubes in a run that is no reform',
    from: 'mode: receive',
    to: 'mode: receive\ntubes_cold: true',
    at: 'true',
    says: /belongs to a reform/,
    advises: /kind: reform/,
  },
]

describe('a profile file', () => {
  it('that is sound is read whole', () => {
    const { value, problems } = read(soundProfile)
    expect(problems).toEqual([])
    expect(value?.stages[2]).toEqual({
      do: 'ramp',
      name: 'HT',
      rail: 'HT',
      to_V: [100, 250],
      slew_V_per_s: 2,
      hold_s: 60,
      settle_within_s: null,
      ceiling_A: null,
    })
    expect(value?.ceiling_V).toEqual({ HT: 250 })
  })

  it('may leave everything to the plan', () => {
    const { value, problems } = read(
      'slowglow: profile 1\nname: short\nkind: receive\nequipment: equipment.yaml\n',
    )
    expect(problems).toEqual([])
    expect(value?.stages).toEqual([])
  })

  it.each(alone)('is refused for $title, at its place and with what would be right', (wanted) => {
    const text = changed(soundProfile, wanted)
    const { value, problems } = read(text)
    expect(value).toBeNull()
    expectProblem(problems, text, wanted)
  })

  it.each(withSet)('is refused for $title when read with its set', (wanted) => {
    const text = changed(soundProfile, wanted)
    const { value, where, problems } = read(text)
    expect(problems).toEqual([])
    const set = fromText(soundSet, 'set.yaml', 'equipment').value
    expect(set).not.toBeNull()
    if (value !== null && set !== null) expectProblem(checkProfile(value, set, where), text, wanted)
  })

  it('reads a window for a typed reading in the unit asked for, and refuses another', () => {
    const ask = (low: string) =>
      read(
        `${soundProfile}  - { do: ask, text: read it, reading: { node: grid return, unit: V, low: ${low}, high: -40 V } }\n`,
      )
    expect(ask('-60 V').value?.stages.at(-1)).toMatchObject({ reading: { low: -60, high: -40 } })
    expect(ask('60 mA').problems[0]?.what).toMatch(/is a current; a voltage is wanted/)
  })
})
