import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import { healthOf } from '../../src/line/health.js'
import { plainAsk, plainTell, settingsStill, type Move } from '../../src/line/moves.js'
import { inputMoves } from '../../src/line/rounds.js'
import type { Draft, Request, Work } from '../../src/line/state.js'
import type { LineConfig, LineMeter } from '../../src/line/types.js'
import { owe } from '../../src/line/urgent.js'
import { goOn, identified } from '../../src/line/work.js'
import { configWith, lineAt, writtenOf } from '../helpers/line-draft.js'

/* What a line does next: in which order, how much at a time, and what it waits for. */

const plain: Partial<Dialect> = { remote: null, select: '{n}', ask_cc: null }
const request = (body: Partial<Request> = {}, id = 1): Request =>
  ({ kind: 'request', t_us: 0, id, channel: 'BENCH.plate', do: 'set', volts: 60, ...body }) as Request
const doing = (moves: readonly Move[]): Work => ({
  ...{ why: 'reading', request: null, at: 0, said: false, missed: 0, again: 0 },
  moves,
})
function wentOn(config: LineConfig, more: Partial<Draft> = {}): Draft {
  const d = lineAt(config, more)
  goOn(d)
  return d
}
const events = ({ outputs }: Draft) =>
  outputs.flatMap((output) => (output.kind === 'event' ? [output.event] : []))

describe('set commands and questions', () => {
  it('go out together up to the first that is answered, also where bytes take their time on the wire', () => {
    const d = wentOn(configWith(plain, { byte_us: 1000 }), { waiting: [request({ do: 'off' })] })
    expect(writtenOf(d)).toEqual(['1:OUTP OFF', '*IDN?'])
    expect(d.flight?.move.text).toBe('*IDN?\n')
    // The deadline counts from the end of the question on the wire: 11 and 6 bytes.
    expect(d.flight?.deadline_us).toBe(100e6 + 17_000 + 200_000)
  })

  it('wait for the acknowledgement of each where the supply gives one', () => {
    const d = wentOn(configWith({ ...plain, acknowledges: 'OK' }), { waiting: [request()] })
    expect(writtenOf(d)).toEqual(['1:VOLT 60.00'])
    expect([d.flight?.move.kind, d.work?.said, d.work?.at]).toEqual(['tell', true, 0])
  })

  it('wait as long as the supply is slow at them, and no longer for what it is not slow at', () => {
    const slow_s = { off: 0.5, error_query: 0.7 }
    const at_once = { byte_us: 0 }
    const config = configWith({ ...plain, slow_s }, at_once)
    const told = wentOn(config, { waiting: [request({ do: 'off' })] })
    expect([writtenOf(told), told.hold_us]).toEqual([['1:OUTP OFF'], 100.5e6])
    const acknowledged = wentOn(configWith({ ...plain, slow_s, acknowledges: 'OK' }, at_once), {
      waiting: [request({ do: 'off' })],
    })
    expect([acknowledged.hold_us, acknowledged.flight?.deadline_us]).toEqual([100.5e6, 100.5e6])
    const asked = wentOn(config, { work: doing([plainAsk(config, 0, ':SYST:ERR?', { is: 'errors' })]) })
    expect([asked.hold_us, asked.flight?.deadline_us]).toEqual([0, 100.7e6])
    expect(wentOn(config, { work: doing([plainTell(config, 'X')]) }).hold_us).toBe(0)
  })

  it('nothing goes out while an answer is waited for, before its time, or on a line that is not ready', () => {
    const config = configWith(plain)
    const { flight } = wentOn(config)
    for (const more of [{ flight }, { hold_us: 100e6 + 1 }, { link: 'quiet' }, { link: 'closed' }] as const)
      expect(writtenOf(wentOn(config, { ...more, waiting: [request()] }))).toEqual([])
    expect(writtenOf(wentOn(config, { hold_us: 100e6, waiting: [request()] }))).toHaveLength(2)
    expect(writtenOf(wentOn(config, { link: 'opening', waiting: [request()] }))).toHaveLength(2)
  })
})

describe('requests', () => {
  const config = configWith(plain)

  it('come before readings, one after another; one that cannot be fails, and the next has its turn', () => {
    const waiting = [request({ volts: 999 }, 1), request({}, 2), request({ do: 'zero' }, 3)]
    const d = wentOn(config, { waiting, complaint: 'of before' })
    expect(events(d)).toMatchObject([{ kind: 'failed', id: 1, code: 'refused', outcome: 'not done' }])
    expect([d.work?.request?.id, d.waiting.map(({ id }) => id), d.complaint]).toEqual([2, [3], null])
    expect(writtenOf(d)[0]).toBe('1:VOLT 60.00')
  })

  it('come after who is there, where an urgent OFF was given and that was not asked since', () => {
    expect(writtenOf(wentOn(config, { unproved: true, waiting: [request({ do: 'off' })] }))).toEqual([
      '*IDN?',
    ])
  })

  it('that need no word are done at once', () => {
    const silent = { ...plain, remote: null }
    const d = wentOn(configWith(silent), {
      waiting: [request({ do: 'panel', to: 'computer' })],
    })
    expect(events(d)).toEqual([{ kind: 'done', id: 1 }])
  })
})

describe('a dead-man that is to be seen to fire', () => {
  const dead_man = {
    ...{ arm: ['DM ON'], feed: 'FEED', after_s: 2, per: 'supply' as const },
    ...{ disarm: ['DM OFF'], ask_armed: null, ask_expired: null },
  }
  const config = configWith({ ...plain, dead_man })
  const starve = (more: object) => wentOn(config, { waiting: [request({ do: 'starve', for_s: 3, ...more })] })

  it('is starved for as long as is asked, and armed again after that only where the run goes on with it', () => {
    expect(starve({})).toMatchObject({ starved_until_us: 103e6, arm_again: false })
    expect(starve({ arm_again: true })).toMatchObject({ starved_until_us: 103e6, arm_again: true })
    expect(events(starve({}))).toEqual([{ kind: 'done', id: 1 }])
    expect(writtenOf(starve({})).join()).not.toContain('FEED')
  })

  it('is spoken to again with whatever else is asked of the supply', () => {
    const d = wentOn(config, { starved_until_us: 150e6, arm_again: true, waiting: [request()] })
    expect(d).toMatchObject({ starved_until_us: 0, arm_again: true, disarmed: false })
  })

  it('and one that is put to rest stays so', () => {
    const d = wentOn(config, { waiting: [request({ do: 'disarm' })] })
    expect(writtenOf(d)[0]).toBe('DM OFF')
    expect(d.disarmed).toBe(true)
  })
})

describe('readings', () => {
  it('begin at once on a line that was just opened, however seldom they are taken later', () => {
    const slow = configWith(plain, { poll_us: 500e6 })
    expect(writtenOf(wentOn(slow, { poll_us: 500e6 }))).toEqual(['1:MEAS:VOLT?'])
  })

  it('come round after round, each no sooner than its pace says', () => {
    const config = configWith(plain)
    const { round } = wentOn(config)
    const over = { round, round_at: round.length, round_us: 99.5e6 }
    expect(writtenOf(wentOn(config, { ...over, poll_us: 0 }))).toEqual(['1:MEAS:VOLT?'])
    expect(writtenOf(wentOn(config, { ...over, poll_us: 500_000 }))).toEqual(['1:MEAS:VOLT?'])
    expect(writtenOf(wentOn(config, { ...over, poll_us: 600_000 }))).toEqual([])
    expect(wentOn(config, over)).toMatchObject({ rounds: 1, rounds_us: 500_000, round_us: 100e6 })
    expect(wentOn(config)).toMatchObject({ rounds: 0, rounds_us: 0 })
  })

  it('wait for no pace while an output is owed an OFF: whether it is off is asked first', () => {
    const { round } = wentOn(configWith(plain))
    const waits = { poll_us: 500e6, round_us: 99e6, round, round_at: round.length }
    expect(writtenOf(wentOn(configWith(plain), waits))).toEqual([])
    const d = lineAt(configWith(plain), waits)
    owe(d, 1)
    goOn(d)
    expect(writtenOf(d)).toEqual(['2:OUTP?'])
  })

  /** What is asked of a line that answers at once, a question every so often. */
  const asked = (every_us: number, times: number, config = configWith(plain)): readonly string[] => {
    const d = lineAt(config)
    const texts: string[] = []
    for (let i = 0; i < times; i++) {
      goOn(d)
      texts.push(...writtenOf(d))
      Object.assign(d, { outputs: [], flight: null, work: null, t_us: d.t_us + every_us })
    }
    return texts
  }
  const round = ['1:MEAS:VOLT?', '1:MEAS:CURR?', '2:MEAS:VOLT?', '2:MEAS:CURR?']

  it('are followed by one question of those that change seldom, in their turn', () => {
    expect(asked(10_000, 15)).toEqual([
      ...round,
      '1:OUTP?',
      ...round,
      '2:OUTP?',
      ...round,
      '1:VOLT:PROT:TRIP?',
    ])
  })

  const lid: LineMeter = { name: 'lid', measures: 'contact', limit: 1, ask: 'LID?', every_us: 1000 }

  it('are followed by an input that is always due, and by those that change seldom in turn with it', () => {
    expect(asked(10_000, 20, configWith(plain, { inputs: [lid] }))).toEqual([
      ...[...round, 'LID?'],
      ...[...round, '1:OUTP?'],
      ...[...round, 'LID?'],
      ...[...round, '2:OUTP?'],
    ])
  })

  it('are none of a line with nothing but inputs: it has no rounds, and tells no rate of them', () => {
    const config = configWith(plain, { channels: [], inputs: [{ ...lid, every_us: 100_000 }] })
    const d = lineAt(config)
    for (let n = 0; n < 5; n++) {
      goOn(d)
      Object.assign(d, { flight: null, work: null, t_us: d.t_us + 100_000 })
    }
    expect(writtenOf(d)).toEqual(['LID?', 'LID?', 'LID?', 'LID?', 'LID?'])
    expect(healthOf(d).polled_Hz).toBeNull()
  })

  /** The round that begins at 100 s, on a line with these changes whose plate is on. */
  const begun = (more: Partial<Draft>, limit_A: number | null = null): readonly string[] => {
    const d = lineAt(configWith(plain), more, { output: true, limit_A })
    goOn(d)
    return d.round.map(({ text }) => text.trim())
  }

  it('have such a question after them a fiftieth of a second after the last, and not before', () => {
    expect(begun({ slow_us: 100e6 - 20_000 })).toEqual([...round, '1:OUTP?'])
    expect(begun({ slow_us: 100e6 - 19_000 })).toEqual(round)
  })

  it('are followed by what must still be set, where its turn has come', () => {
    expect(begun({}, 0.05)).toEqual([...round, '1:CURR?'])
  })

  it('go on without a question of what was set otherwise since the round began', () => {
    const still = settingsStill(configWith(plain), 0, {
      ...{ set_V: null, limit_A: 0.05, over_V: null, over_A: null },
    })
    const said = (limit_A: number): readonly string[] => {
      const d = lineAt(configWith(plain), { round: still, round_us: 100e6 }, { output: true, limit_A })
      goOn(d)
      return writtenOf(d)
    }
    expect([said(0.05), said(0.06)]).toEqual([['1:CURR?'], ['1:MEAS:VOLT?']])
  })

  it('that come quickly are not held up by those: some rounds go without', () => {
    expect(asked(3000, 13)).toEqual([...round, '1:OUTP?', ...round, ...round])
  })
})

describe('the question that keeps a cut-off relay closed', () => {
  const watched: LineMeter = { name: 'lid', measures: 'contact', limit: 1, ask: 'LID?', every_us: 1_000_000 }
  const relay: LineMeter = { ...watched, name: 'relay', ask: 'FEED?', feeds: true }
  const config = configWith(plain, { inputs: [relay, watched] })
  const [feed, lid] = inputMoves(config)
  if (feed === undefined || lid === undefined) throw new Error('it asks nothing')
  const waited = (move: Move, more: Partial<Draft>): string =>
    writtenOf(wentOn(config, { work: doing([move]), ...more }))[0] ?? ''

  it('is dropped where it had to wait until the relay may have opened: it would close it over what is on', () => {
    expect(waited(feed, { starves: false, relay_fed_us: 98e6 })).toBe('FEED?')
    expect(waited(feed, { starves: false, relay_fed_us: 96e6 })).not.toBe('FEED?')
    expect(waited(feed, { starves: true })).not.toBe('FEED?')
  })

  it('and no other is', () => {
    expect(waited(lid, { starves: true })).toBe('LID?')
  })
})

describe('a connection on which the supply said who it is', () => {
  const dead_man = {
    ...{ arm: ['DM ON'], feed: 'FEED', after_s: 2, per: 'supply' as const },
    ...{ ask_armed: 'DM?', ask_expired: 'TRIP?' },
  }
  const at_open = ['PRE 1']
  const opening = (config: LineConfig, more: Partial<Draft> = {}): Draft => {
    const d = lineAt(config, { fresh: true, been_ready: false, link: 'identify', ...more }, { set_V: 50 })
    identified(d)
    return d
  }
  const planned = (d: Draft): readonly string[] => (d.work?.moves ?? []).map(({ text }) => text.trim())

  it('is looked at before anything is set: every output, then the words it opens with, then its dead-man armed', () => {
    const d = opening(configWith({ ...plain, at_open, dead_man }))
    expect(planned(d)).toEqual(['1:OUTP?', '2:OUTP?', 'PRE 1', 'DM ON', 'DM?'])
    expect([d.link, d.fresh, d.unarmed]).toEqual(['opening', false, false])
  })

  it('of a later connection is asked whether its dead-man fired and what is still set, and is armed when readings come', () => {
    const d = opening(configWith({ ...plain, at_open, dead_man }), { been_ready: true, unarmed: true })
    expect(planned(d)).toEqual(['1:OUTP?', '2:OUTP?', 'TRIP?', '1:VOLT?', 'PRE 1'])
    expect(d.unarmed).toBe(true)
    const mute = opening(configWith({ ...plain, dead_man: { ...dead_man, feed: null } }), {
      been_ready: true,
    })
    expect(planned(mute).slice(-2)).toEqual(['DM ON', 'DM?'])
  })

  it('that was opened to switch off only is looked at and told nothing', () => {
    expect(planned(opening(configWith({ ...plain, at_open, dead_man }, { only_off: true })))).toEqual([
      ...['1:OUTP?', '2:OUTP?'],
    ])
  })

  it('of a meter is ready at once, and one that was looked at before goes on', () => {
    const meter = opening(configWith(plain, { channels: [] }))
    expect([meter.link, meter.work, meter.been_ready]).toEqual(['ready', null, true])
    const again = opening(configWith(plain), {
      fresh: false,
      been_ready: true,
      attempts: 1,
      identities_due: 2,
    })
    expect(again).toMatchObject({
      link: 'ready',
      work: null,
      attempts: 0,
      identities_due: 0,
      unproved: false,
    })
  })

  it('is ready when all of that was answered', () => {
    const config = configWith(plain)
    const d = lineAt(config, { link: 'opening', been_ready: false, work: { ...doing([]), why: 'opening' } })
    goOn(d)
    expect([d.link, d.been_ready]).toEqual(['ready', true])
    expect(events(d)).toEqual([])
  })
})
