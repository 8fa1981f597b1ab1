import { describe, expect, it } from 'vitest'
import {
  behindOpenRelay,
  mayClose,
  relayClosed,
  relayObeyed,
  sayLeftToRelay,
} from '../../src/sequencer/relay.js'
import type { ChannelState, Draft, State } from '../../src/sequencer/state.js'
import { MidStep } from '../helpers/mid-step.js'
import { draftOf } from '../../src/sequencer/draft.js'
import { momentOf, now_us } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* A cut-off relay that HT and a screen hang on: when it may be closed, when it counts as closed, and when it is left to open. */

const behind = ['ht.1', 'top.1']
const plan = smallPlan((small) => ({
  ...small,
  rails: {
    ...small.rails,
    TOP: {
      ...small.rails['HT']!,
      ...{ name: 'TOP', role: 'screen' },
      channels: [{ ...small.rails['HT']!.channels[0]!, channel: 'top.1', port: 'top' }],
    },
  },
  cut_off: { meter: 'relay', channels: behind },
  meters: {
    ...small.meters,
    relay: { ...small.meters['grid meter']!, name: 'relay', port: 'relay', measures: 'contact' },
  },
}))

interface At {
  readonly begun_s?: number | null
  /** What the contact last said, and how long before now, s. */
  readonly contact?: readonly [number, number] | null
  readonly channels?: Readonly<Record<string, Partial<ChannelState>>>
  readonly more?: Partial<State>
}
/** A run that began two seconds before; both outputs behind the relay are off and set to nothing. */
function moment({ begun_s = 2, contact = null, channels = {}, more }: At, of = plan): Draft {
  const known = Object.entries(momentOf(of, 0).s.channels).map(([name, each]): [string, ChannelState] => [
    name,
    { ...each, output: 'off', set_V: 0, ...channels[name] },
  ])
  const said = contact === null ? null : { value: contact[0], t_us: now_us - contact[1] * 1e6 }
  return momentOf(of, 0, {
    ...{ channels: Object.fromEntries(known), meters: { relay: said } },
    ...{ begun_us: begun_s === null ? null : now_us - begun_s * 1e6, outputs_proved: false },
    ...more,
  })
}
const closed: At = { contact: [1, 1] }

describe('what lies behind a relay', () => {
  const open = (at: At, channel = 'ht.1', of = plan): boolean => behindOpenRelay(moment(at, of).s, channel)

  it('shows nothing of itself until the contact was heard closed since the run began', () => {
    expect([open({}), open({ contact: [0, 1] }), open(closed)]).toEqual([true, true, false])
    expect([
      open({ contact: [1, 2] }),
      open({ contact: [1, 3] }),
      open({ ...closed, begun_s: null }),
    ]).toEqual([...[true, true, true]])
    expect([open({}, 'lt.1'), open({}, 'ht.1', smallPlan())]).toEqual([false, false])
  })

  it('may come back as it was left: it is closed only on outputs that are off and set to nothing', () => {
    const may = (channels: At['channels'] = {}): boolean => mayClose(moment({ channels }).s)
    expect(may()).toBe(true)
    for (const name of behind) {
      expect(may({ [name]: { output: 'on' } })).toBe(false)
      expect(may({ [name]: { output: 'unknown' } })).toBe(false)
      expect(may({ [name]: { set_V: null } })).toBe(false)
    }
    expect(may({ 'lt.1': { output: 'on', set_V: null } })).toBe(true)
    expect(mayClose(moment({}, smallPlan()).s)).toBe(true)
  })
})

describe('a run that waits for its relay', () => {
  const waits = (at: At, of = plan) => {
    const d = moment(at, of)
    const goesOn = relayClosed(d)
    const told = d.out.flatMap((each) => (each.kind === 'line' ? [`${each.do} ${each.channel}`] : []))
    return { goesOn, told, broken: d.broken }
  }

  it('goes on where there is none, and once it was heard closed', () => {
    const on = { goesOn: true, told: [], broken: [] }
    expect([waits({}, smallPlan()), waits(closed)]).toEqual([on, on])
    expect(waits({ ...closed, begun_s: 100 })).toEqual(on)
  })

  it('sets what lies behind it to nothing meanwhile: what is off, once', () => {
    const unset = { 'ht.1': { set_V: null }, 'top.1': { set_V: null }, 'lt.1': { set_V: null } }
    expect(waits({ channels: unset }).told).toEqual(['zero ht.1', 'zero top.1'])
    expect(waits({}).told).toEqual([])
    expect(waits({ channels: { ...unset, 'ht.1': { set_V: null, output: 'unknown' } } }).told).toEqual([
      'zero top.1',
    ])
    const asked = { 7: { channel: 'ht.1', request: { do: 'zero' } as const, t_us: now_us } }
    expect(waits({ channels: unset, more: { pending: asked } }).told).toEqual(['zero top.1'])
  })

  it('has fifteen seconds for it, and is told whether an output or the contact was in the way', () => {
    expect(waits({ begun_s: 15 })).toEqual({ goesOn: false, told: [], broken: [] })
    const silent = waits({ begun_s: 15.1 })
    expect(silent).toMatchObject({ goesOn: false, broken: [{ code: 'watched-input' }] })
    expect(silent.broken[0]?.text).toMatch(/^relay did not say that it is closed within 15 s/)
    const [on] = waits({ begun_s: 15.1, channels: { 'top.1': { output: 'unknown' } } }).broken
    expect(on?.text).toMatch(/^The cut-off relay was not closed: top\.1 behind it did not read back as off/)
  })
})

describe('a run that goes off', () => {
  /** So long after its OFF, with these rails confirmed off. */
  const off = (after_s: number, confirmed: readonly string[], of = plan): Draft => {
    const { state } = new MidStep(of, 7, 'hold')
      .justBegun()
      .hear(0, { kind: 'stop', how: 'off now', by: 'a test' })
    return draftOf(
      {
        ...state,
        t_us: state.t_us + after_s * 1e6,
        off: { ...state.off!, confirmed: Object.fromEntries(confirmed.map((name) => [name, 'low'])) },
      },
      () => undefined,
    )
  }

  it('was obeyed once everything behind the relay is confirmed off; not by what is off elsewhere', () => {
    const obeyed = (...confirmed: readonly string[]): boolean => relayObeyed(off(1, confirmed).s)
    expect([obeyed('HT', 'TOP'), obeyed('HT'), obeyed('TOP', 'LT'), obeyed()]).toEqual([
      true,
      ...[false, false, false],
    ])
    expect(relayObeyed({ ...off(1, ['HT', 'TOP']).s, off: null })).toBe(false)
  })

  it('is left to the relay five seconds after OFF, and that is said once', () => {
    const said = (after_s: number, confirmed: readonly string[], of = plan): string[] => {
      const d = off(after_s, confirmed, of)
      const before = d.s.warnings.length
      sayLeftToRelay(d)
      sayLeftToRelay(d)
      return d.s.warnings.slice(before)
    }
    expect(said(5, ['HT'])).toEqual([])
    expect(said(5.1, ['HT'])).toEqual([
      expect.stringMatching(
        /^ht\.1, top\.1: not confirmed off 5 s after OFF, so the cut-off relay is left to open/,
      ),
    ])
    expect([said(60, ['HT', 'TOP']), said(60, [], smallPlan())]).toEqual([[], []])
  })

  it('says nothing of it while it runs', () => {
    const d = moment({})
    sayLeftToRelay(d)
    expect(d.s.warnings).toEqual([])
  })
})
