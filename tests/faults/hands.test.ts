import { describe, expect, it } from 'vitest'
import type { Bench } from '../../src/bench/index.js'
import { exits } from '../../src/cli/exits.js'
import { exitOf } from '../../src/cli/live/exit-of.js'
import { closingText } from '../../src/session/index.js'
import type { Profile } from '../../src/profile/index.js'
import { type Operator, willing } from '../../src/rehearse/index.js'
import { brisk, demo, told, type Told } from './demo.js'

/** Tern Rock on poorer benches: rails on a person's own knobs beside programmed ones, or nothing programmed at all. */

const gridMeter = 'grid return meter'

/** The demo's bench with these channels only; the rails of the others are somebody's knob. */
function owning(bench: Bench, channels: readonly string[], meters: Bench['meters'] = {}): Bench {
  const supplies = Object.entries(bench.supplies).flatMap(([name, supply]) => {
    const own = Object.entries(supply.channels).filter(([channel]) => channels.includes(`${name}.${channel}`))
    return own.length === 0 ? [] : [[name, { ...supply, channels: Object.fromEntries(own) }] as const]
  })
  // Nothing at the reservoir, which would make a knob's HT a watched one; read-only channels go with their supply.
  const left = Object.entries(bench.meters).filter(
    ([name, { on }]) => on === null && name !== 'reservoir meter',
  )
  return {
    ...bench,
    supplies: Object.fromEntries(supplies),
    meters: { ...Object.fromEntries(left), ...meters },
  }
}
function without(bench: Bench, meter: string): Bench {
  const meters = Object.entries(bench.meters).filter(([name]) => name !== meter)
  return { ...bench, meters: Object.fromEntries(meters) }
}
function meterLike(bench: Bench, change: Partial<Bench['meters'][string]>): Bench['meters'][string] {
  const like = bench.meters[gridMeter]
  if (like === undefined) throw new Error('demo bench changed')
  return { ...like, ...change }
}
/** Short holds, but the last one; heaters in two raises. */
const inTwo = (profile: Profile): Profile => ({
  ...profile,
  stages: brisk(profile).stages.map((stage) =>
    stage.do === 'ramp' && stage.rail === 'heaters' ? { ...stage, to_V: [6.3, 12.6] } : stage,
  ),
})
const long = (profile: Profile): Profile => ({
  ...profile,
  time_budget_s: 5400,
  stages: brisk(profile).stages.map((stage) =>
    stage.do === 'ramp' && stage.name === 'working HT' ? { ...stage, hold_s: 1500 } : stage,
  ),
})

/** A willing person but for some questions: null = never answered, seconds = answered that late, else what is typed. */
const but =
  (about: RegExp, odd: null | { after_s: number } | { value: number }): Operator =>
  (ask, at) => {
    if (!about.test(ask.about)) return willing(ask, at)
    if (odd === null) return null
    return { ...(willing(ask, at) ?? { after_s: 3, value: 'no' }), ...odd }
  }
const never = null

/** The ending in the words of the person who sees it. */
const closing = (run: Told): string => closingText(run.ending, null)

describe('HT and bias by hand, heaters programmed', () => {
  const set = demo((bench) => without(owning(bench, ['low.heaters']), gridMeter), brisk)

  it('completes; both are asked off, HT first, and are listed as typed', () => {
    const run = told(set, [])
    expect(run.ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
    // No ammeter stands in the HT lead of this bench: done, but no pass.
    expect(run.ending.warnings).toEqual([
      'The current of HT was never read: a reading never taken is no pass.',
    ])
    expect(Object.keys(run.ending.hand_rails)).toEqual(['HT', 'bias'])
    for (const volts of Object.values(run.ending.hand_rails)) expect(volts).toBeLessThan(5)
    expect(run.ending.details['bias_released_by']).toMatch(/^\(b\)/)
    expect(exitOf(run.ending)).toBe(exits.finding)
    expect(closing(run)).toMatch(/HT \(your own knob\): .* typed by you/)
  })

  it('counts the discharge time of the set from when the knob was turned, not from when OFF was given', () => {
    const run = told(set, [], 1, but(/^hand off HT/, { after_s: 200 }))
    const at = (start: string): number =>
      run.entries.flatMap((entry) =>
        entry.entry === 'event' && entry.event.what === 'off' && entry.event.text.startsWith(start)
          ? [entry.event.t_us / 1e6]
          : [],
      )[0] ?? 0
    const { discharge_s } = set.plan.off.bias_release
    expect(at('Bias off') - at('HT: turned down')).toBeGreaterThanOrEqual(discharge_s ?? Infinity)
  })

  it('asks the typed bias again while HT holds; out of band it trips, unanswered it stops', () => {
    const slow = demo((bench) => without(owning(bench, ['low.heaters']), gridMeter), long)
    const healthy = told(slow, [])
    expect(healthy.ending.outcome).toBe('completed')
    expect(healthy.said('prompt').filter((text) => text.includes('no hand, probe or clip'))).toHaveLength(2)
    const low = told(slow, [], 1, but(/^bias under HT/, { value: -20 }))
    expect(low.ending).toMatchObject({ outcome: 'tripped', reason: { code: 'bias-low', rail: 'bias' } })
    const silent = told(slow, [], 1, but(/^bias under HT/, never))
    expect(silent.ending).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
    for (const run of [low, silent]) expect(Object.keys(run.ending.hand_rails)).toEqual(['HT', 'bias'])
  })

  it('ends with 1, not 4, when the person never says that HT is down, and says what to take as on', () => {
    const run = told(set, [], 1, but(/^hand off/, never))
    const open = 'not confirmed by you'
    expect(run.ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
    expect(run.ending.hand_rails).toEqual({ HT: open, bias: open })
    expect(exitOf(run.ending)).toBe(exits.finding)
    expect(run.said('alarm').join(' ')).toContain('bias stays on: take HT down first, the bias last')
    expect(closing(run)).toContain('All steps done, but HT, bias were not confirmed off by you')
    expect(closing(run)).toContain(
      'HT (your own knob): NOT confirmed off by you: last typed 250 V. Switch off the mains of the HT supply.',
    )
  })
})

describe('heaters by hand in two raises, the rest programmed', () => {
  const set = demo((bench) => owning(bench, ['low.bias', 'high.out']), inTwo)

  it('completes: each raise is typed, and once more after the warm-up before HT', () => {
    const run = told(set, [])
    expect(run.ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
    expect(Object.keys(run.ending.hand_rails)).toEqual(['heaters'])
    const asked = run.said('prompt').filter((text) => text.includes('heaters'))
    expect(asked.filter((text) => text.startsWith('Turn heaters slowly to'))).toHaveLength(2)
    expect(asked.filter((text) => text.startsWith('The heaters have had their warm-up time'))).toHaveLength(1)
  })

  it('stops before HT when the reading after the warm-up is out of band, never comes, or comes late', () => {
    const second: Operator = (ask, at) =>
      ask.text.includes('The heaters have had') ? { after_s: 3, value: 9 } : willing(ask, at)
    const low = told(set, [], 1, second)
    expect(low.ending).toMatchObject({ outcome: 'tripped', reason: { rail: 'heaters', measured: 9 } })
    const late: Operator = (ask, at) =>
      ask.text.includes('The heaters have had') ? { after_s: 700, value: 12.6 } : willing(ask, at)
    expect(told(set, [], 1, late).ending).toMatchObject({
      outcome: 'stopped',
      reason: { code: 'prompt-timeout' },
    })
    const silent = told(set, [], 1, but(/^knob heaters/, never))
    expect(silent.ending).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
    for (const run of [low, silent]) expect(run.highest('high.out.V')).toBeLessThan(5.3)
  })
})

describe('HT watched by meters on lines, heaters and bias programmed', () => {
  const set = demo(
    (bench) =>
      owning(bench, ['low.heaters', 'low.bias'], {
        'HT volts': meterLike(bench, { at: 'reservoir', resolution: 0.1 }),
        'HT amps': meterLike(bench, {
          measures: 'A',
          at: null,
          against: null,
          rail: 'HT',
          ohm: 1,
          resolution: 1e-4,
          accuracy: { of_reading: 0.005, plus: 2e-4 },
        }),
      }),
    brisk,
  )

  it('completes; the person turns it down at the alarm, and it is confirmed off by its meter', () => {
    const run = told(set, [])
    expect(run.ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed', hand_rails: {} })
    expect(run.said('alarm')).toEqual(['Turn HT down to zero by its knob now, one hand.'])
    expect(run.ending.details['off']).toMatchObject({ HT: { confirmed: true }, bias: { confirmed: true } })
    expect(exitOf(run.ending)).toBe(exits.done)
  })

  it('trips on a short as a programmed one does; the alarm is sounded, and the bias outlasts HT', () => {
    const run = told(set, ['C1a:short@HT>120V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.rail).toBe('HT')
    expect(run.ending.outputs_off).toBe('confirmed')
    expect(run.said('alarm').join(' ')).toContain('Turn HT down')
  })

  it('exits 4 with the bias on when nobody turns it down', () => {
    const run = told(set, [], 1, but(/^hand off/, never))
    expect(run.ending.outputs_off).toBe('not confirmed')
    expect(run.ending.details['off']).toMatchObject({
      HT: {
        confirmed: false,
        how: 'you were asked to turn it down, and it does not read as off; last read back: 250 V by its meter',
      },
      bias: { confirmed: false },
    })
    expect(exitOf(run.ending)).toBe(exits.notConfirmedOff)
  })

  it('asks again for a knob that was not turned, and stops when that is never answered', () => {
    let asked = 0
    const idle: Operator = (ask, at) => {
      if (!/^knob HT/.test(ask.about)) return willing(ask, at)
      asked++
      return asked === 1 ? { after_s: 3, value: 'yes' } : null
    }
    const run = told(set, [], 1, idle)
    expect(run.ending).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
    expect(run.ending.reason?.text).toMatch(/HT reads [\d.]+ m?V; turn it to 30/)
  })
})

describe('nothing programmed at all', () => {
  const set = demo((bench) => without(owning(bench, []), gridMeter), brisk)

  it('completes with every rail listed as typed, and claims no output of its own', () => {
    const run = told(set, [])
    expect(run.reachable).toBe(true)
    expect(run.ending).toMatchObject({ outcome: 'completed', reason: null })
    expect(Object.keys(run.ending.hand_rails)).toEqual(['HT', 'heaters', 'bias'])
    expect(exitOf(run.ending)).toBe(exits.finding)
    expect(closing(run)).toContain('The current of HT was never read')
    expect(run.ending.outputs_off).toBe('not confirmed')
    expect(closing(run)).toContain('No output here is slowglow’s to confirm.')
    expect(closing(run)).not.toMatch(/confirmed off/i)
    expect(closing(run)).toMatch(/HT \(your own knob\): .*V, typed by you/)
    expect(closing(run)).toContain('reservoir: not measured: take it as charged')
  })

  it('stops when HT reads out of band twice, with everything asked off in order', () => {
    const run = told(set, [], 1, but(/^knob HT/, { value: 180 }))
    expect(run.ending).toMatchObject({ outcome: 'tripped', reason: { code: 'watched-input', measured: 180 } })
    expect(Object.keys(run.ending.hand_rails)).toEqual(['HT', 'heaters', 'bias'])
    expect(run.said('alarm').join(' ')).toContain('Turn HT down')
    expect(exitOf(run.ending)).toBe(exits.tripped)
  })

  it('ends by itself when the person has gone, naming what was never confirmed', () => {
    const run = told(set, [], 1, but(/^(knob HT|hand off)/, never))
    const open = 'not confirmed by you'
    expect(run.ending).toMatchObject({ outcome: 'stopped', reason: { code: 'prompt-timeout' } })
    expect(run.ending.hand_rails).toEqual({ HT: open, heaters: open, bias: open })
    expect(run.ending.outputs_off).toBe('not confirmed')
    expect(exitOf(run.ending)).toBe(exits.finding)
    const [first = ''] = closing(run).split('\n')
    expect(first).toMatch(
      /^HT \(your own knob\): NOT confirmed off by you: .* Switch off the mains of the HT supply\.$/,
    )
    expect(closing(run)).toMatch(
      /^heaters \(your own knob\): NOT confirmed off by you: last typed 12\.3 V\. .* not before HT is down\.$/m,
    )
  })
})
