import { describe, expect, it } from 'vitest'
import type { OffAct } from '../../src/off/index.js'
import type { RailOff } from '../../src/off/types.js'
import type { OffPlan } from '../../src/plan/index.js'
import { at_us, falling, gone, offAt, read, saidIn, told } from '../helpers/off-moment.js'
import { heater, ht, offPlan } from '../helpers/safe-off-play.js'

/** When a person is called, and when an output is told again. HT's stated path has 2 s; the bound of its fall has 6 s. */

const onKnob = (klass: 'watched' | 'hand', role: 'HT' | 'heater' = 'HT'): OffPlan =>
  offPlan(
    {},
    {
      channels: [],
      knobs: [
        {
          ...{ rail: role, role, class: klass, no_A: 0 },
          ...{ volts_meter: klass === 'watched' ? 'V' : null, amps_meter: null },
        },
      ],
    },
  )
const alarmsOf = (plan: OffPlan, t_s: number, rail: string, known: Partial<RailOff>): string[] =>
  saidIn(offAt(plan, t_s, { [rail]: known }).acts, 'alarm')

/** HT that was read as off at 1 s, and has come down from 250 V. */
const fallen = (V: number, t_s: number): Partial<RailOff> => ({
  ...told,
  ...{ V: read(V, t_s), from: read(250, 1), fall: falling(V, t_s) },
})

describe('a rail that is not confirmed is called out', () => {
  const only = offPlan({}, { channels: [ht] })

  it('ten seconds after its OFF where it has shown no fall', () => {
    const stands = { ...told, V: read(250, 9.9), from: read(250, 1) }
    expect(alarmsOf(only, 9.9, 'HT', stands)).toEqual([])
    expect(alarmsOf(only, 10, 'HT', stands).join()).toContain('HT does not fall')
    expect(alarmsOf(only, 10, 'HT', { ...stands, alarmed_us: at_us(3) })).toEqual([])
  })

  it.each<[string, Partial<RailOff>]>([
    ['it still reads as on, though its volts sink', { ...fallen(100, 10), down_us: null }],
    ['it was read once, and not again', { ...fallen(250, 1), fall: falling(250, 1).slice(1) }],
    ['nothing was read of it', told],
    ['what it reads falls no more', { ...fallen(60, 10), fall: falling(60, 10, 0) }],
  ])('though HT was up and the time that it may take is not over, where %s', (_, known) => {
    expect(alarmsOf(only, 10, 'HT', known).join()).toContain('HT does not fall')
  })

  it('not while HT is seen to fall: as of readings up to two seconds old', () => {
    expect(alarmsOf(only, 12, 'HT', fallen(60, 10))).toEqual([])
    expect(alarmsOf(only, 12, 'HT', fallen(60, 9.99)).join()).toContain('HT does not fall')
  })

  // 250 V·(1 + x/64)^−64 with x = (t − 1 s) / 6 s: 5.2 V at 24.9 s, 4.8 V at 25.5 s.
  it('and when the time is over in which it should have come to 5 V, though it falls on', () => {
    expect(alarmsOf(only, 24.9, 'HT', fallen(60, 24.9))).toEqual([])
    expect(alarmsOf(only, 25.5, 'HT', fallen(60, 25.5)).join()).toContain('HT does not fall')
  })

  it('thirty seconds after it was asked for where a person turns it down and a meter shows it, as about a knob', () => {
    const up = { ...told, down_us: null, V: read(250, 29.9) }
    expect(alarmsOf(onKnob('watched'), 29.9, 'HT', up).filter((text) => text.startsWith('OUT'))).toEqual([])
    const { acts } = offAt(onKnob('watched'), 30, { HT: up })
    expect(acts).toContainEqual(expect.objectContaining({ do: 'alarm', rail: 'HT', turn_down: true }))
    const supply = offAt(only, 10, { HT: told }).acts
    expect(supply).toContainEqual(expect.objectContaining({ do: 'alarm', rail: 'HT', turn_down: false }))
  })

  it('not at all on a knob that only a person reads: the question for it stands', () => {
    expect(alarmsOf(onKnob('hand'), 60, 'HT', { ...told, down_us: null })).toEqual([])
  })
})

describe('a watched knob that turns out to be up', () => {
  const meter = { ...told, down_us: null, V: read(250, 5) }
  const called = (knobs: Record<string, 'up' | 'down'>, knob_alarms: string[] = []): readonly OffAct[] =>
    offAt(onKnob('watched'), 5, { HT: meter }, [], { knobs, knob_alarms }).acts

  it('is called for once, and not while nothing is known of it or it is known to be down', () => {
    expect(called({ HT: 'up' })).toMatchObject([
      { do: 'alarm', rail: 'HT', text: 'Turn HT down to zero by its knob now, one hand.', turn_down: true },
    ])
    expect(called({ HT: 'up' }, ['HT'])).toEqual([])
    expect([called({}), called({ HT: 'down' })]).toEqual([[], []])
  })
})

describe('an output that is not confirmed off is told again', () => {
  const only = offPlan({}, { channels: [ht] })
  const again = (t_s: number, known: Partial<RailOff>, off: string[] = []): boolean =>
    offAt(only, t_s, { HT: { ...known, alarmed_us: at_us(1) } }, off).acts.some(
      ({ do: what }) => what !== 'record' && what !== 'end',
    )
  const toldAt = (t_s: number, escalations: number): Partial<RailOff> => ({
    ...{ escalations, escalated_us: at_us(t_s) },
  })

  it('every three seconds, and not once it is confirmed', () => {
    const stands = { ...told, V: read(250, 5), from: read(250, 1) }
    expect([again(2.9, stands), again(3, stands)]).toEqual([false, true])
    const second = { ...stands, ...toldAt(3, 1) }
    expect([again(5.9, second), again(6, second)]).toEqual([false, true])
    expect(again(6, gone(6), ['HT'])).toBe(false)
  })

  it('HT by OFF beside every queue before its set-point, a heater in its turn; the first time is said', () => {
    const { acts } = offAt(only, 3, { HT: told })
    expect(acts.slice(1)).toEqual([
      { do: 'urgent off', channels: [ht.channel] },
      { do: 'zero', channel: ht.channel },
    ])
    expect(saidIn(acts, 'record').join()).toContain('HT is not confirmed off yet')
    const heaters = offAt(offPlan({}, { channels: [heater] }), 3, { heater: { ...told, ...toldAt(0, 1) } })
    expect(heaters.acts).toEqual([
      { do: 'off', channel: heater.channel },
      { do: 'zero', channel: heater.channel },
    ])
  })

  it('once while it comes down, and no more as long as it does', () => {
    expect(again(5, fallen(60, 5))).toBe(true)
    expect(again(5, { ...fallen(60, 5), ...toldAt(1, 1) })).toBe(false)
    expect(again(5, { ...fallen(60, 5), ...toldAt(1, 1), fall: falling(60, 5, 0) })).toBe(true)
  })

  it('eight times where it does not answer, and without end where it does', () => {
    expect([again(40, { ...told, ...toldAt(30, 7) }), again(40, { ...told, ...toldAt(30, 8) })]).toEqual([
      true,
      false,
    ])
    const answered = (t_s: number): Partial<RailOff> => ({ ...told, ...toldAt(30, 8), V: read(250, t_s) })
    expect([again(40, answered(38)), again(40, answered(37.9))]).toEqual([true, false])
  })
})
