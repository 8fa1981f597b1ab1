import { describe, expect, it } from 'vitest'
import {
  type SuperviseAct,
  superviseBegin,
  type SuperviseInput,
  superviseStep,
} from '../../src/controller/supervise.js'
import type { RunEnding } from '../../src/story/index.js'

const ending: RunEnding = {
  outcome: 'completed',
  reason: null,
  outputs_off: 'confirmed',
  stored_charge: {},
  hand_rails: {},
  warnings: [],
  steps_done: 3,
  duration_s: 12,
  details: {},
}

type Untimed<I> = I extends SuperviseInput ? Omit<I, 't_us'> : never
type At = readonly [number, Untimed<SuperviseInput>]

/** Feeds inputs in order; times in ms. Ticks every 20 ms are put between them. */
function play(inputs: readonly At[]) {
  let state = superviseBegin(0)
  const acts: { ms: number; act: SuperviseAct }[] = []
  const feed = (ms: number, input: Untimed<SuperviseInput>): void => {
    const turn = superviseStep(state, { ...input, t_us: ms * 1000 })
    state = turn.state
    for (const act of turn.acts) acts.push({ ms, act })
  }
  let now = 0
  for (const [ms, input] of inputs) {
    for (; now + 20 <= ms; now += 20) feed(now + 20, { kind: 'tick' })
    feed(ms, input)
  }
  return { state, acts, what: acts.map(({ act }) => act.do).filter((act) => act !== 'beat') }
}
const until = (ms: number, from = 0): At[] => {
  const beats: At[] = []
  for (let at = from + 100; at <= ms; at += 100) beats.push([at, { kind: 'beat' }])
  return beats
}
const begun: readonly At[] = [
  [0, { kind: 'ready' }],
  [0, { kind: 'begun' }],
]

describe('the supervisor', () => {
  it('beats every 100 ms', () => {
    const { acts } = play([...begun, ...until(1000)])
    expect(acts.filter(({ act }) => act.do === 'beat').length).toBeGreaterThanOrEqual(9)
  })

  it('warns when the controller has been silent for 250 ms and acts at 500 ms: OFF on the spare before the kill', () => {
    const { acts } = play([...begun, ...until(1000), [1600, { kind: 'tick' }]])
    const ordered = acts.filter(({ act }) => act.do !== 'beat')
    expect(ordered.map(({ act }) => act.do)).toEqual(['notice', 'off on spare', 'kill', 'record', 'alarm'])
    expect(ordered[0]?.ms).toBe(1260)
    expect(ordered[1]?.ms).toBe(1500)
  })

  it('makes safe once the killed controller is gone, or after a bounded wait when it is not', () => {
    const lost: At = [600, { kind: 'tick' }]
    const gone = play([...begun, lost, [700, { kind: 'exited', how: 'SIGKILL' }]])
    expect(gone.what.at(-1)).toBe('make safe')
    const stuck = play([...begun, lost, [2700, { kind: 'tick' }]])
    expect(stuck.acts.at(-1)).toMatchObject({ act: { do: 'make safe' } })
  })

  it('sends OFF and makes safe at once when the controller dies', () => {
    const { acts } = play([...begun, ...until(300), [310, { kind: 'exited', how: 'SIGKILL' }]])
    const late = acts.filter(({ ms, act }) => ms >= 310 && act.do !== 'beat')
    expect(late.map(({ act }) => act.do)).toEqual(['off on spare', 'record', 'alarm', 'make safe'])
  })

  it('does not take its own being held up for silence of the controller', () => {
    let state = superviseBegin(0)
    for (const input of [{ kind: 'ready' }, { kind: 'begun' }, { kind: 'beat' }] as const) {
      state = superviseStep(state, { ...input, t_us: 0 }).state
    }
    const held = superviseStep(state, { kind: 'tick', t_us: 3_000_000 })
    expect(held.acts.map((act) => act.do)).toEqual(['beat'])
    const after = superviseStep(held.state, { kind: 'beat', t_us: 3_001_000 })
    expect(superviseStep(after.state, { kind: 'tick', t_us: 3_020_000 }).acts).toEqual([])
  })

  it('runs down at the first stop and puts outputs off at the second; there is no third way', () => {
    const stop: At[1] = { kind: 'stop', by: 'Ctrl-C', now: false }
    const { acts } = play([...begun, ...until(200), [210, stop], [220, stop], [230, stop]])
    const stops = acts.flatMap(({ act }) => (act.do === 'send stop' ? [act.how] : []))
    expect(stops).toEqual(['run down', 'off now', 'off now'])
  })

  it('ends with the controller’s own ending when that came before it left', () => {
    const end: At[1] = { kind: 'ended', ending }
    const { acts } = play([...begun, ...until(200), [210, end], [240, { kind: 'exited', how: 'exit 0' }]])
    expect(acts.at(-1)?.act).toEqual({ do: 'finish', result: { kind: 'ended', ending } })
  })

  it('tells once that the record is waited for where a controller that has ended stays for it, and does not wait for ever', () => {
    const end: At[1] = { kind: 'ended', ending }
    const ticks = Array.from({ length: 80 }, (_, i): At => [300 + i * 200, { kind: 'tick' }])
    const { acts } = play([...begun, ...until(200), [210, end], ...ticks])
    const after = acts.map(({ act }) => act).filter((act) => act.do !== 'beat')
    expect(after.map((act) => act.do)).toEqual(['notice', 'kill', 'finish'])
    expect(after[0]).toMatchObject({ text: expect.stringMatching(/its disk is waited for/) as string })
  })

  it('goes on making safe when the ending of a controller given up comes late', () => {
    const { acts, state } = play([
      ...begun,
      [10, { kind: 'exited', how: 'SIGKILL' }],
      [20, { kind: 'ended', ending }],
      [5000, { kind: 'tick' }],
      [5010, { kind: 'made safe', confirmed: true, text: 'off' }],
    ])
    expect(state.phase).toBe('finished')
    expect(acts.at(-1)?.act).toMatchObject({ do: 'finish', result: { kind: 'taken over', confirmed: true } })
  })

  it('makes safe where an output was found on and its supply is then lost, although nothing was begun', () => {
    const lost = { kind: 'not reachable', text: 'no reply' } as const
    const on = play([[10, { ...lost, on: ['high.out'] }]])
    expect(on.what).toEqual(['off on spare', 'kill', 'record', 'alarm'])
    expect(on.acts.at(-1)?.act).toMatchObject({ text: expect.stringContaining('high.out') as string })
    const off = play([[10, { ...lost, on: [] }]])
    expect(off.acts.at(-1)?.act).toMatchObject({ do: 'finish', result: { kind: 'not reachable' } })
  })

  it('takes over where an output was found on and the controller is lost before the start was acknowledged', () => {
    const on: At = [10, { kind: 'found on' }]
    const ready: At = [20, { kind: 'ready' }]
    const gone: At = [40, { kind: 'exited', how: 'SIGKILL' }]
    const safe = ['off on spare', 'record', 'alarm', 'make safe']
    expect(play([on, ready, gone]).what).toEqual(safe)
    // One that comes on while it is not begun yet, and one that is seen before every port is open.
    expect(play([ready, [30, { kind: 'found on' }], gone]).what).toEqual(safe)
    expect(play([on, gone]).what).toEqual(safe)
    const silent = play([on, ready, [600, { kind: 'tick' }]])
    expect(silent.what).toEqual(['notice', 'off on spare', 'kill', 'record', 'alarm'])
    expect(play([on, [600, { kind: 'tick' }]]).what).toEqual(silent.what)
  })

  it('energised nothing when the controller is lost before the start was acknowledged, and says so', () => {
    const { acts } = play([
      [0, { kind: 'ready' }],
      [600, { kind: 'tick' }],
    ])
    expect(acts.at(-1)?.act).toMatchObject({ do: 'finish', result: { kind: 'never began' } })
  })

  it('reports what the safe-off found after a take-over', () => {
    const { acts } = play([
      ...begun,
      [10, { kind: 'exited', how: 'SIGSEGV' }],
      [900, { kind: 'made safe', confirmed: false, text: 'HT stays' }],
    ])
    expect(acts.at(-1)?.act).toMatchObject({ do: 'finish', result: { kind: 'taken over', confirmed: false } })
  })
})

/** One input after another at their times, in ms, with nothing between them: for what happens just before a bound and on it. */
function exactly(inputs: readonly At[]) {
  let state = superviseBegin(0)
  let acts: readonly SuperviseAct[] = []
  for (const [ms, input] of inputs) {
    const turn = superviseStep(state, { ...input, t_us: ms * 1000 })
    state = turn.state
    acts = turn.acts.filter((act) => act.do !== 'beat')
  }
  return { state, acts, what: acts.map((act) => act.do) }
}
const tick = (ms: number): At => [ms, { kind: 'tick' }]
/** Ticks so close that the supervisor itself was never held up. */
const ticking = (from_ms: number, to_ms: number): At[] => {
  const ticks: At[] = []
  for (let ms = from_ms; ms < to_ms; ms += 50) ticks.push(tick(ms))
  return ticks
}
const gone = (how = 'SIGKILL'): At[1] => ({ kind: 'exited', how })
const end: At[1] = { kind: 'ended', ending }

describe('the bounds of the supervisor', () => {
  it.each([
    ['it warns', begun, 250, ['notice']],
    ['it takes over', begun, 500, ['off on spare', 'kill', 'record', 'alarm']],
    ['it gives up a controller that opens no ports', [], 15_000, ['kill', 'finish']],
    [
      'it goes on without one that is not gone',
      [...begun, ...ticking(0, 500), tick(500)],
      2500,
      ['make safe'],
    ],
    ['it tells that the record is waited for', [...begun, [0, end] as At], 2000, ['notice']],
    ['it leaves one that stays for its record', [...begun, [0, end] as At], 14_000, ['kill', 'finish']],
  ] as const)('%s in that moment and not before', (_, before, at_ms, acts) => {
    const from_ms = before.at(-1)?.[0] ?? 0
    const up_to = [...before, ...ticking(from_ms, at_ms)]
    expect(exactly([...up_to, tick(at_ms - 1)]).what).toEqual([])
    expect(exactly([...up_to, tick(at_ms)]).what).toEqual(acts)
    // And once: what was said in that moment is not said again in the next.
    expect(exactly([...up_to, tick(at_ms), tick(at_ms + 1)]).what).toEqual([])
  })

  it('says how old the heartbeat is, and what is confirmed of a run whose record is waited for', () => {
    const waits = exactly([...begun, [0, end], ...ticking(0, 2000), tick(2000)])
    expect(waits.acts).toEqual([
      {
        do: 'notice',
        text: 'The run has ended, outputs off confirmed. What it told last is not in the record yet: its disk is waited for.',
      },
    ])
    // Held up over both bounds it leaves, and says nothing of waiting.
    expect(exactly([...begun, [0, end], tick(14_000)]).what).toEqual(['kill', 'finish'])
    const late = exactly([[20, { kind: 'ready' }], ...ticking(20, 15_000), tick(15_001)])
    expect(late.what).not.toContain('kill')
  })
})

describe('what comes too late for the supervisor', () => {
  it('changes nothing once it has finished', () => {
    const finished = exactly([
      ...begun,
      [10, gone()],
      [900, { kind: 'made safe', confirmed: true, text: 'off' }],
    ])
    expect(finished.state.phase).toBe('finished')
    for (const input of [
      { kind: 'made safe', confirmed: false, text: 'again' },
      { kind: 'stop', by: 'Ctrl-C', now: true },
      { kind: 'begun' },
      { kind: 'beat' },
      { kind: 'not reachable', text: 'no reply', on: [] },
      { kind: 'tick' },
    ] as const) {
      const after = superviseStep(finished.state, { ...input, t_us: 2_000_000 })
      expect(after.acts).toEqual([])
      expect(after.state).toEqual({ ...finished.state, now_us: 2_000_000 })
    }
  })

  it('leaves what it does when a controller given up speaks once more', () => {
    const lost: readonly At[] = [...begun, ...ticking(0, 500), tick(500)]
    const taking = exactly(lost).state
    expect(taking.phase).toBe('taking over')
    for (const input of [
      { kind: 'ready' },
      { kind: 'found on' },
      { kind: 'ended', ending },
      { kind: 'not reachable', text: 'no reply', on: [] },
      { kind: 'not reachable', text: 'no reply', on: ['high.out'] },
    ] as const) {
      const after = superviseStep(taking, { ...input, t_us: 600_000 })
      expect(after.acts).toEqual([])
      expect(after.state).toEqual({ ...taking, now_us: 600_000 })
    }
    // It is gone, and the outputs are made safe; a second word of it begins nothing again.
    const making = exactly([...lost, [600, gone()], [610, { kind: 'found on' }]])
    expect(making.state).toMatchObject({ phase: 'making safe', phase_us: 600_000 })
    expect(exactly([...lost, [600, gone()], [610, gone()], tick(5000)]).what).toEqual([])
  })

  it('does not begin a run anew: a second "ready", or an output found on in a run, puts no clock back', () => {
    const running = exactly([
      [10, { kind: 'ready' }],
      [20, { kind: 'begun' }],
    ]).state
    for (const kind of ['ready', 'found on'] as const)
      expect(superviseStep(running, { kind, t_us: 300_000 }).state).toMatchObject({
        ...{ phase: 'running', phase_us: 10_000, live: true },
      })
    const ended = exactly([...begun, [10, end]]).state
    expect(superviseStep(ended, { kind: 'ready', t_us: 300_000 }).state.phase).toBe('ended by controller')
    expect(superviseStep(ended, { kind: 'found on', t_us: 300_000 }).state.phase).toBe('ended by controller')
  })

  it('is a stop while the outputs are being put off already: it is told so, and nobody is sent one', () => {
    const stop: At = [700, { kind: 'stop', by: 'Ctrl-C', now: false }]
    const words = [{ do: 'notice', text: 'Stop seen: the outputs are already being put off.' }]
    expect(exactly([...begun, ...ticking(0, 500), tick(500), stop]).acts).toEqual(words)
    expect(exactly([...begun, [600, gone()], stop]).acts).toEqual(words)
    expect(exactly([...begun, [600, end], stop]).acts).toEqual(words)
  })
})

describe('a controller that is given up', () => {
  it('is killed where it may still live, and not where it is gone', () => {
    const lost = { kind: 'not reachable', text: 'no reply' } as const
    expect(exactly([[10, { ...lost, on: [] }]]).what).toEqual(['kill', 'finish'])
    const silent: readonly At[] = [[0, { kind: 'ready' }], ...ticking(0, 500), tick(500)]
    expect(exactly(silent).what).toEqual(['kill', 'finish'])
    expect(
      exactly([
        [0, { kind: 'ready' }],
        [10, gone()],
      ]).what,
    ).toEqual(['finish'])
  })

  it('is named in the record with how it was lost', () => {
    const text =
      'The supervisor takes over: the controller ended (SIGSEGV). OFF sent to drive, screen and HT on the spare connections.'
    expect(exactly([...begun, [10, gone('SIGSEGV')]]).acts).toEqual([
      { do: 'off on spare' },
      { do: 'record', what: 'take-over', text },
      { do: 'alarm', text },
      { do: 'make safe' },
    ])
    const lost = exactly([
      [0, { kind: 'ready' }],
      [10, gone('SIGSEGV')],
    ]).acts
    expect(lost).toEqual([
      { do: 'finish', result: { kind: 'never began', text: 'the controller ended (SIGSEGV)' } },
    ])
    // An ending that was announced and then never came with it.
    const early = exactly([...begun, ...until(200), [210, end], [220, gone('exit 0')]]).acts
    expect(early).toEqual([{ do: 'finish', result: { kind: 'ended', ending } }])
  })
})
