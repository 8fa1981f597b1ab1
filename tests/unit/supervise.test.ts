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
