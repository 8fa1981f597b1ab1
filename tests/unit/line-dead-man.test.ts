import { describe, expect, it } from 'vitest'
import type { DeadMan } from '../../src/bench/index.js'
import { armMoves, disarmMoves, expiredQuestion, feedAt, feedMoves, mute } from '../../src/line/dead-man.js'
import type { ChannelState, Draft } from '../../src/line/state.js'
import type { LineConfig } from '../../src/line/types.js'
import { owe } from '../../src/line/urgent.js'
import { goOn } from '../../src/line/work.js'
import { configWith, lineAt, textsOf, writtenOf } from '../helpers/line-draft.js'

/* What is said to a supply's dead-man, when, and when not: the last thing that switches off a supply that nobody speaks to. */

const timer: DeadMan = {
  arm: [':DM:TIME {s}', ':DM ON'],
  feed: ':DM:FEED',
  after_s: 2,
  per: 'output',
  disarm: [':DM OFF'],
  ask_time: ':DM:TIME?',
  ask_armed: ':DM?',
  ask_expired: ':DM:TRIP?',
}
const withTimer = (change: Partial<DeadMan> = {}, more: Partial<LineConfig> = {}): LineConfig =>
  configWith({ dead_man: { ...timer, ...change }, remote: null, ask_cc: null }, more)
const plate = ':INST:NSEL 1;'
const one = { per: 'supply' } as const
const read = { read_us: 100e6 }

/** What is said to it at a moment at which it wants feeding. */
function fed(
  change: Partial<DeadMan> = {},
  more: Partial<Draft> = {},
  ...channels: readonly Partial<ChannelState>[]
): readonly string[] {
  return textsOf(feedMoves(lineAt(withTimer(change), more, ...channels)))
}
/** An OFF was given to these, and none has read back as off. */
const disobeyed = (...targets: number[]): Partial<Draft> => ({
  urgent: { targets, burst_us: [], repeat_us: 100e6 },
})

describe('arming', () => {
  it('reads its time back before it counts, then whether it is armed; a channel without a timer is left out', () => {
    expect(textsOf(armMoves({ config: withTimer(), made_safe: false }))).toEqual([
      `${plate}:DM:TIME 2`,
      `${plate}:DM:TIME?`,
      `${plate}:DM ON`,
      `${plate}:DM?`,
    ])
    expect(armMoves({ config: withTimer(), made_safe: false }).at(-1)).toMatchObject({
      want: { is: 'armed', armed: true },
    })
  })

  it('of one timer for all chooses no channel', () => {
    const moves = armMoves({ config: withTimer(one), made_safe: false })
    expect(textsOf(moves)).toEqual([':DM:TIME 2', ':DM:TIME?', ':DM ON', ':DM?'])
  })

  it('asks its time before the last word where none names the time, and nothing that cannot be asked', () => {
    const words = { ...one, arm: [':DM:FAST', ':DM ON'] }
    expect(textsOf(armMoves({ config: withTimer(words), made_safe: false }))).toEqual([
      ...[':DM:FAST', ':DM:TIME?', ':DM ON', ':DM?'],
    ])
    const mute_one = { ...one, ask_time: null, ask_armed: null }
    expect(textsOf(armMoves({ config: withTimer(mute_one), made_safe: false }))).toEqual([
      ':DM:TIME 2',
      ':DM ON',
    ])
  })

  it('reads its time back after the last word that names it: what comes between may change it', () => {
    const words = { ...one, arm: [':DM:TIME {s}', ':DM:AND {s}', ':DM ON'], ask_armed: null }
    expect(textsOf(armMoves({ config: withTimer(words), made_safe: false }))).toEqual([
      ...[':DM:TIME 2', ':DM:AND 2', ':DM:TIME?', ':DM ON'],
    ])
    const asked = (...arm: string[]) =>
      textsOf(armMoves({ config: withTimer({ ...one, arm, ask_armed: null }), made_safe: false }))
    expect(asked(':DM:TIME {s}', ':DM:FAST', ':DM ON')).toEqual([
      ...[':DM:TIME 2', ':DM:TIME?', ':DM:FAST', ':DM ON'],
    ])
    // Where one word both names it and arms there is nothing to ask before.
    expect(asked(':DM ON,{s}')).toEqual([':DM ON,2', ':DM:TIME?'])
  })

  it('is nothing for a meter, whatever its dialect has words for', () => {
    const meter = { name: 'M', measures: 'V', limit: 1000 } as const
    const config = withTimer(one, { channels: [], meter })
    expect(armMoves({ config, made_safe: false })).toEqual([])
    expect([disarmMoves(config), feedAt(lineAt(config))]).toEqual([[], Number.POSITIVE_INFINITY])
  })

  it('is left where the line only switches off: an output that does not obey would have its full time again', () => {
    expect(armMoves({ config: withTimer(), made_safe: true })).toEqual([])
    expect(armMoves({ config: configWith(), made_safe: false })).toEqual([])
  })
})

describe('putting to rest', () => {
  it('says so to each timer and reads back that none is armed', () => {
    const moves = disarmMoves(withTimer())
    expect(textsOf(moves)).toEqual([`${plate}:DM OFF`, `${plate}:DM?`])
    expect(moves.at(-1)).toMatchObject({ want: { is: 'armed', armed: false } })
  })

  it('says only what the supply has words for', () => {
    expect(textsOf(disarmMoves(withTimer({ ...one, ask_armed: null })))).toEqual([':DM OFF'])
    expect(textsOf(disarmMoves(withTimer({ ...one, disarm: [] })))).toEqual([':DM?'])
    const { arm, feed, after_s, per, ask_expired } = timer
    expect(
      disarmMoves(configWith({ dead_man: { arm, feed, after_s, per, ask_expired, ask_armed: null } })),
    ).toEqual([])
    expect(disarmMoves(configWith())).toEqual([])
  })
})

describe('feeding', () => {
  it('follows a current that was read since the feeding before; where none was, that is asked first', () => {
    expect(fed({}, {}, read)).toEqual([`${plate}:DM:FEED`])
    expect(fed({}, {}, { read_us: 99.5e6 })).toEqual([`${plate}:DM:FEED`])
    expect(fed({}, {}, { read_us: 99.4e6 })).toEqual([`${plate}:MEAS:CURR?`, `${plate}:DM:FEED`])
    // A timer that stands for all is fed for all: each of their currents counts.
    expect(fed(one, {}, read, {})).toEqual([':INST:NSEL 2;:MEAS:CURR?', ':DM:FEED'])
  })

  it('comes four times in its period and not while it is left to run out', () => {
    expect(fed({}, { fed_us: 99.6e6 }, read)).toEqual([])
    expect(fed({}, { fed_us: 99.5e6 }, read)).toEqual([`${plate}:DM:FEED`])
    expect(fed({}, { starved_until_us: 100.1e6 }, read)).toEqual([])
    expect(fed({}, { starved_until_us: 100e6 }, read)).toEqual([`${plate}:DM:FEED`])
    const d = lineAt(withTimer(), {}, read)
    feedMoves(d)
    expect([d.fed_us, feedAt(d)]).toEqual([100e6, 100.5e6])
  })

  it('is waited for like any answer where it is a question', () => {
    const d = lineAt(withTimer({ feed: ':DM:FEED?' }), {}, read)
    expect(feedMoves(d)).toMatchObject([{ kind: 'ask', want: { is: 'anything' } }])
  })

  it('is a measurement where any message feeds it', () => {
    expect(fed({ feed: null }, { heard_us: 99e6 })).toEqual([`${plate}:MEAS:CURR?`])
    // Woken in the very moment that it is due.
    expect(fed({ feed: null }, { heard_us: 99.5e6 })).toEqual([`${plate}:MEAS:CURR?`])
    expect(fed({ feed: null }, { heard_us: 99.6e6 })).toEqual([])
  })

  it('is armed first on a connection on which it is not, once each current was read', () => {
    const armed = [`${plate}:DM:TIME 2`, `${plate}:DM:TIME?`, `${plate}:DM ON`, `${plate}:DM?`]
    expect(fed({}, { unarmed: true }, read)).toEqual(armed)
    expect(fed({}, { unarmed: true }, {})).toEqual([`${plate}:MEAS:CURR?`])
    // What was armed before the line was lost, or before somebody else came to switch off, is fed and not armed anew.
    const only_off = lineAt(withTimer({}, { only_off: true }), { unarmed: true }, read)
    expect(textsOf(feedMoves(only_off))).toEqual([`${plate}:DM:FEED`])
    expect(fed({}, { unarmed: true, made_safe: true }, read)).toEqual([`${plate}:DM:FEED`])
  })

  it('arms it again once, after it was seen to fire where the run goes on with it', () => {
    const d = lineAt(withTimer(), { arm_again: true }, read)
    expect(textsOf(feedMoves(d))).toContain(`${plate}:DM ON`)
    expect(d.arm_again).toBe(false)
    d.t_us = 101e6
    expect(textsOf(feedMoves(d)).at(-1)).toBe(`${plate}:DM:FEED`)
  })

  it('never comes where there is none, where it was put to rest, nor for channels without a timer', () => {
    expect(feedAt(lineAt(configWith()))).toBe(Number.POSITIVE_INFINITY)
    expect(feedAt(lineAt(withTimer(), { disarmed: true }))).toBe(Number.POSITIVE_INFINITY)
    const channels = withTimer().channels.map((channel) => ({ ...channel, unguarded: true }))
    expect(feedAt(lineAt(withTimer({}, { channels })))).toBe(Number.POSITIVE_INFINITY)
    expect(feedMoves(lineAt(withTimer({}, { channels }), {}, read))).toEqual([])
  })

  it('by any message counts from what was heard last, else from what was fed', () => {
    const known = { fed_us: 90e6, heard_us: 95e6 }
    expect(feedAt(lineAt(withTimer(), known))).toBe(90.5e6)
    expect(feedAt(lineAt(withTimer({ feed: null }), known))).toBe(95.5e6)
    expect(feedAt(lineAt(withTimer({ feed: null }), { ...known, fed_us: 97e6 }))).toBe(97.5e6)
    expect(feedAt(lineAt(withTimer(), { ...known, starved_until_us: 120e6 }))).toBe(120e6)
  })
})

describe('an output that does not obey OFF is left to its dead-man', () => {
  it('where it has a timer of its own, and the others are fed', () => {
    const { dead_man } = withTimer().dialect
    const config = configWith({ dead_man, remote: null }, {})
    const channels = config.channels.map((channel) => ({ ...channel, unguarded: false }))
    const both = lineAt({ ...config, channels }, disobeyed(0), read, read)
    expect(textsOf(feedMoves(both))).toEqual([':INST:NSEL 2;:DM:FEED'])
  })

  it('and so are those that share its timer: a bias beside it that obeys holds it up no more than one that does not', () => {
    expect(fed(one, disobeyed(0), read, read)).toEqual([])
    expect(fed(one, disobeyed(0, 1), read, { ...read, output: false })).toEqual([])
    expect(fed(one, disobeyed(0), { ...read, output: false }, read)).toEqual([':DM:FEED'])
  })

  it('but not where only bias and heaters hang on it, until none of them obeys: bias must outlast HT', () => {
    const channels = withTimer(one).channels.map((channel) => ({ ...channel, unguarded: true }))
    const only = (...targets: number[]): readonly string[] =>
      textsOf(feedMoves(lineAt(withTimer(one, { channels }), disobeyed(...targets), read, read)))
    expect(only(0)).toEqual([':DM:FEED'])
    expect(only(0, 1)).toEqual([])
  })
})

describe('a timer that any message feeds', () => {
  const starved = { feed: null, ...one }

  it('is left in silence until it has run out, so that it is seen to fire', () => {
    const d = lineAt(withTimer(starved), { starved_until_us: 103e6 })
    expect(mute(d)).toBe(103e6)
    goOn(d)
    expect(writtenOf(d)).toEqual([])
    d.t_us = 103e6
    goOn(d)
    expect(writtenOf(d)).toHaveLength(1)
  })

  it('but what is owed an OFF is asked for all the same', () => {
    const d = lineAt(withTimer(starved), { starved_until_us: 103e6 })
    owe(d, 0)
    goOn(d)
    expect(writtenOf(d)).toEqual([`${plate}:OUTP?`])
  })

  it('is silence only for such a one: where it has a word of its own, readings go on', () => {
    const d = lineAt(withTimer(one), { starved_until_us: 103e6 })
    expect(mute(d)).toBe(0)
    goOn(d)
    expect(writtenOf(d)).toEqual([`${plate}:MEAS:VOLT?`])
    expect(mute(lineAt(configWith(), { starved_until_us: 103e6 }))).toBe(0)
  })
})

describe('whether it has fired', () => {
  it('is asked of each timer once, and only where it can be asked', () => {
    const asked = (config: LineConfig) => textsOf([expiredQuestion(config, 0), expiredQuestion(config, 1)])
    expect(asked(withTimer())).toEqual([`${plate}:DM:TRIP?`])
    expect(asked(withTimer(one))).toEqual([':DM:TRIP?'])
    // One timer for all is asked with the first output, so also where there is no second.
    expect(expiredQuestion(withTimer(one), 0)).toMatchObject({ text: ':DM:TRIP?\n', channel: 0 })
    expect(asked(withTimer({ ask_expired: null }))).toEqual([])
    expect(asked(configWith())).toEqual([])
    expect(expiredQuestion(withTimer(), 0)).toMatchObject({ want: { is: 'tripped', which: 'dead-man' } })
  })
})
