import { describe, expect, it } from 'vitest'
import { lineStep, lineWakeAt, openLine } from '../../src/line/index.js'
import { setChannel, type Draft, type Flight, type Request, type Work } from '../../src/line/state.js'
import {
  owe,
  owed,
  repeatUrgent,
  urgentOff,
  urgentOnOpen,
  urgentWords,
  wordsLaidReady,
} from '../../src/line/urgent.js'
import type { Move } from '../../src/line/moves.js'
import { configWith, lineAt, writtenOf } from '../helpers/line-draft.js'

/* The OFF beside the queue: what it says and to whom, what it makes void, and how long it goes on. */

const config = configWith({ remote: null, select: '{n}' })
const [plate, bias] = ['BENCH.plate', 'BENCH.bias']
const offs = ({ outputs }: Draft): readonly string[] =>
  outputs.flatMap((output) => (output.kind === 'write' && output.urgent ? [output.text] : []))
const request = (body: Partial<Request>, id = 1): Request =>
  ({ kind: 'request', t_us: 0, id, channel: plate, do: 'set', volts: 60, ...body }) as Request
const working = (on: Partial<Work>): Work => ({
  ...{ why: 'request', request: null, moves: [], at: 0, said: false, missed: 0, again: 0 },
  ...on,
})
const asking = (want: Extract<Move, { kind: 'ask' }>['want']): Flight => ({
  ...{ asked_us: 99.9e6, deadline_us: 100.1e6 },
  move: { kind: 'ask', text: '?', channel: 0, want, slow_us: 0, around: null },
})
const failed = ({ outputs }: Draft) =>
  outputs.flatMap((output) =>
    output.kind === 'event' && output.event.kind === 'failed'
      ? [[output.event.id, output.event.outcome] as const]
      : [],
  )

describe('the words of an OFF', () => {
  it('are those of every channel that is named, and nothing where none of them is on this port', () => {
    expect(wordsLaidReady(config, [plate, bias])).toBe('\n1:OUTP OFF\n2:OUTP OFF\n')
    expect(wordsLaidReady(config, [bias, 'OTHER.1'])).toBe('\n2:OUTP OFF\n')
    expect(wordsLaidReady(config, ['OTHER.1'])).toBe('')
  })

  it('name what was owed before, too; none are said where there is no connection', () => {
    const line = { ...openLine(config), link: 'ready' as const }
    expect(urgentWords(line, [plate])).toBe('\n1:OUTP OFF\n')
    const owing = { ...line, urgent: { targets: [1], burst_us: [], repeat_us: 0 } }
    expect(urgentWords(owing, [plate])).toBe('\n2:OUTP OFF\n1:OUTP OFF\n')
    expect(urgentWords(owing, [])).toBe('\n2:OUTP OFF\n')
    expect(urgentWords(line, ['OTHER.1'])).toBe('')
    expect(urgentWords({ ...owing, link: 'closed' }, [plate])).toBe('')
  })
})

describe('an urgent OFF', () => {
  it('makes unknown what it is sent for, and leaves what is known of the rest', () => {
    const d = lineAt(config, {}, { output: true, set_V: 50 }, { output: true })
    urgentOff(d, [plate])
    expect(d.channels).toMatchObject([{ output: null, set_V: 50 }, { output: true }])
    const off = lineAt(config, {}, { output: false })
    urgentOff(off, [plate])
    // Read back before it was given, it is no answer to it.
    expect([off.channels[0]?.output, owed(off)]).toEqual([null, [0]])
    expect(offs(off)).toEqual(['\n1:OUTP OFF\n'])
  })

  it('says nothing where none of its channels is on this port, and the line only switches off from then on', () => {
    const d = lineAt(config)
    urgentOff(d, ['OTHER.1'])
    expect([writtenOf(d), offs(d), owed(d), d.made_safe]).toEqual([[], [], [], true])
  })

  it('is owed and not said where there is no connection', () => {
    const d = lineAt(config, { link: 'closed' })
    urgentOff(d, [plate])
    expect([writtenOf(d), owed(d), d.made_safe]).toEqual([[], [0], true])
  })

  it('ends the silence in which a dead-man was to be seen to fire, and the round of readings under way', () => {
    const move = asking({ is: 'reading', quantity: 'V' }).move
    const d = lineAt(config, { starved_until_us: 150e6, round: [move, move], round_at: 1 })
    urgentOff(d, [plate])
    expect(d).toMatchObject({ starved_until_us: 0, round: [], round_at: 0 })
  })

  it('lets nothing else out that waited, and tells what may have happened of it', () => {
    const work = working({ request: request({}, 1), said: true })
    const d = lineAt(config, { work, waiting: [request({}, 2), request({ do: 'off' }, 3)] })
    urgentOff(d, [plate])
    expect(failed(d)).toEqual([
      [1, 'unknown'],
      [2, 'not done'],
    ])
    expect([d.work, d.waiting.map(({ id }) => id)]).toEqual([null, [3]])
    expect(d).toMatchObject({ made_safe: true, unproved: true })
  })

  it.each([['off'], ['zero']] as const)(
    'lets an orderly %s that is under way begin anew behind it',
    (what) => {
      const first = request({ do: what }, 1)
      const work = working({ request: first, at: 2, said: true })
      const d = lineAt(config, { work, waiting: [request({ do: 'zero' }, 2)] })
      urgentOff(d, [plate])
      expect(d.work).toBeNull()
      expect(d.waiting.map(({ id }) => id)).toEqual([1, 2])
      expect(failed(d)).toEqual([])
    },
  )

  it('gives up a question that was to be asked again, and goes on with the opening of a connection', () => {
    const reading = lineAt(config, { work: working({ why: 'reading', missed: 1 }) })
    urgentOff(reading, [plate])
    expect(reading.work).toBeNull()
    const opening = lineAt(config, { work: working({ why: 'opening' }), link: 'opening' })
    urgentOff(opening, [plate])
    expect(opening.work).toMatchObject({ why: 'opening' })
  })

  it('believes no answer to a question of before, except what was measured', () => {
    const wants = (link: Draft['link'], want: Extract<Move, { kind: 'ask' }>['want']) => {
      const d = lineAt(config, { link, flight: asking(want) })
      urgentOff(d, [plate])
      const { move } = d.flight ?? {}
      return move?.kind === 'ask' ? move.want : null
    }
    const output = { is: 'output', on: null } as const
    const reading = { is: 'reading', quantity: 'A' } as const
    expect(wants('ready', output)).toEqual({ is: 'anything' })
    expect(wants('ready', reading)).toEqual(reading)
    // Who is there is asked for as the connection opens: that is waited for.
    expect(wants('identify', { is: 'identity' })).toEqual({ is: 'identity' })
  })

  it('asks nothing before its burst is over: a strict supply would drop the answer', () => {
    const d = lineAt(config)
    urgentOff(d, [plate])
    expect(d.urgent).toMatchObject({ burst_us: [100.05e6, 100.15e6], repeat_us: 100.25e6 })
    expect(d.hold_us).toBe(100.15e6)
  })

  it('leaves a supply that is slow to switch its time for each OFF before it is asked or told again', () => {
    const d = lineAt(configWith({ ...config.dialect, slow_s: { off: 0.4 } }))
    urgentOff(d, [plate, bias])
    expect(d.hold_us).toBe(100.95e6)
    expect(d.urgent?.repeat_us).toBe(101.2e6)
  })
})

describe('an OFF that is owed', () => {
  const owing = (more: Partial<Draft> = {}, output: boolean | null = null): Draft =>
    lineAt(config, { urgent: { targets: [0], burst_us: [], repeat_us: 100e6 }, ...more }, { output })

  it('is said again when it is due, between questions; in its burst whatever is in flight', () => {
    const said = (d: Draft): number => {
      repeatUrgent(d)
      return offs(d).length
    }
    expect([said(owing()), said(owing({}, true)), said(owing({}, false))]).toEqual([1, 1, 0])
    expect(said(owing({ t_us: 99.99e6 }))).toBe(0)
    const flight = asking({ is: 'reading', quantity: 'A' })
    expect(said(owing({ flight }))).toBe(0)
    const burst = { targets: [0], burst_us: [100e6, 100.1e6], repeat_us: 100e6 }
    const d = owing({ flight, urgent: burst })
    expect([said(d), d.urgent?.burst_us]).toEqual([1, [100.1e6]])
    expect(said(owing({ urgent: { ...burst, burst_us: [100.05e6] } }))).toBe(0)
    expect(said(lineAt(config))).toBe(0)
  })

  it('that was confirmed goes out again in the moment in which that output is found on', () => {
    const d = owing({}, false)
    repeatUrgent(d)
    expect(offs(d)).toEqual([])
    setChannel(d, 0, { output: true })
    repeatUrgent(d)
    expect(offs(d)).toEqual(['\n1:OUTP OFF\n'])
  })

  it('goes out in the very moment for which the line asks to be woken', () => {
    let line = lineStep(
      { ...openLine(config), link: 'ready', hold_us: 5e6 },
      {
        ...{ kind: 'urgent off', t_us: 1e6, channels: [plate] },
      },
    ).state
    const out: number[] = []
    for (let turn = 0; turn < 4; turn++) {
      const t_us = lineWakeAt(line) ?? 0
      const step = lineStep(line, { kind: 'time', t_us })
      line = step.state
      if (step.outputs.some((output) => output.kind === 'write' && output.urgent)) out.push(t_us)
    }
    expect(out).toEqual([1.05e6, 1.15e6, 1.4e6, 1.65e6])
  })

  it('is the first thing said on a fresh connection, in a burst; a line that owes none says nothing', () => {
    const d = owing({ link: 'quiet' })
    urgentOnOpen(d)
    expect(writtenOf(d)).toEqual(['1:OUTP OFF'])
    expect(d.urgent?.burst_us).toEqual([100.05e6, 100.15e6])
    const free = lineAt(config, { link: 'quiet' })
    urgentOnOpen(free)
    expect([writtenOf(free), free.urgent]).toEqual([[], null])
  })
})

describe('an output that is found on against orders', () => {
  it('is owed an OFF at once, with those that were owed one before, and their burst goes on', () => {
    const d = lineAt(config, {}, { output: true })
    owe(d, 0)
    expect(d.urgent).toEqual({ targets: [0], burst_us: [], repeat_us: 100e6 })
    const more = lineAt(config, { urgent: { targets: [1], burst_us: [100.1e6], repeat_us: 105e6 } })
    owe(more, 0)
    owe(more, 1)
    expect(more.urgent).toEqual({ targets: [1, 0], burst_us: [100.1e6], repeat_us: 100e6 })
    expect(owed(more)).toEqual([1, 0])
  })
})
