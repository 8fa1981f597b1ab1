import type { RunEnding } from '../story/index.js'

/**
 * What a supervisor decides, as a pure function: it watches one controller by its heartbeat and its exit, passes on stops, and
 * takes over when the controller is lost. Time is given (µs, monotonic); nothing here waits, writes or throws.
 */
export interface SuperviseState {
  readonly phase: 'starting' | 'running' | 'ended by controller' | 'taking over' | 'making safe' | 'finished'
  /** When `phase` was entered. */
  readonly phase_us: number
  readonly now_us: number
  readonly beat_us: number
  readonly sent_beat_us: number
  readonly warned: boolean
  readonly stops: number
  /** Energising was permitted: from here on the outputs count as live until confirmed off. */
  readonly begun: boolean
  readonly exited: boolean
  readonly ending: RunEnding | null
  readonly lost: string | null
}

export type SuperviseInput = { readonly t_us: number } & (
  | { readonly kind: 'tick' }
  /** Every port is open and identified; nothing is energised. */
  | { readonly kind: 'ready' }
  | { readonly kind: 'not reachable'; readonly text: string }
  | { readonly kind: 'begun' }
  | { readonly kind: 'beat' }
  /** `now`: outputs off at once; otherwise the first stop runs down and every later one is "off now". */
  | { readonly kind: 'stop'; readonly by: string; readonly now: boolean }
  | { readonly kind: 'ended'; readonly ending: RunEnding }
  | { readonly kind: 'exited'; readonly how: string }
  | { readonly kind: 'recorder exited'; readonly how: string }
  | { readonly kind: 'made safe'; readonly confirmed: boolean; readonly text: string }
)

export type SuperviseAct =
  | { readonly do: 'beat' }
  | { readonly do: 'send stop'; readonly how: 'run down' | 'off now'; readonly by: string }
  /** Terminator and OFF to drive, screen and HT on every spare connection, before anything else. */
  | { readonly do: 'off on spare' }
  | { readonly do: 'kill' }
  | { readonly do: 'make safe' }
  | { readonly do: 'record'; readonly what: string; readonly text: string }
  | { readonly do: 'alarm'; readonly text: string }
  | { readonly do: 'notice'; readonly text: string }
  | { readonly do: 'finish'; readonly result: SuperviseResult }

export type SuperviseResult =
  | { readonly kind: 'ended'; readonly ending: RunEnding }
  | { readonly kind: 'not reachable'; readonly text: string }
  /** The controller was lost before anything was permitted to energise. */
  | { readonly kind: 'never began'; readonly text: string }
  | { readonly kind: 'taken over'; readonly lost: string; readonly confirmed: boolean; readonly text: string }

/** Heartbeats go both ways at this period; an older one warns, then counts as loss. Our choice (architecture.md). */
export const beat_us = 100_000
export const beat_warn_us = 250_000
export const beat_lost_us = 500_000
/** A controller that has not opened its ports by then is given up; supplies may need seconds after their port opens. */
const start_limit_us = 15_000_000
/** Between SIGKILL and its exit: only a process stuck in the kernel takes longer, and then we go on without it. */
const kill_wait_us = 2_000_000
const leave_limit_us = 3_000_000

export function superviseBegin(t_us: number): SuperviseState {
  return {
    phase: 'starting',
    phase_us: t_us,
    now_us: t_us,
    beat_us: t_us,
    sent_beat_us: t_us,
    warned: false,
    stops: 0,
    begun: false,
    exited: false,
    ending: null,
    lost: null,
  }
}

interface Turn {
  readonly state: SuperviseState
  readonly acts: readonly SuperviseAct[]
}

export function superviseStep(before: SuperviseState, input: SuperviseInput): Turn {
  const state = { ...before, now_us: Math.max(before.now_us, input.t_us) }
  if (state.phase === 'finished') return { state, acts: [] }
  switch (input.kind) {
    case 'tick':
      return ticked(before, state)
    case 'beat':
      return { state: { ...state, beat_us: state.now_us, warned: false }, acts: [] }
    case 'ready':
      if (state.phase !== 'starting') return { state, acts: [] }
      return { state: entered(state, 'running'), acts: [] }
    case 'begun':
      return { state: { ...state, begun: true }, acts: [] }
    case 'not reachable':
      return finish(state, { kind: 'not reachable', text: input.text }, [{ do: 'kill' }])
    case 'stop':
      return stopped(state, input.by, input.now)
    case 'ended':
      return { state: { ...entered(state, 'ended by controller'), ending: input.ending }, acts: [] }
    case 'exited':
      return exited({ ...state, exited: true }, input.how)
    case 'recorder exited':
      return {
        state,
        acts: [
          {
            do: 'alarm',
            text: `The recorder process ended (${input.how}): what follows may not be in the run file.`,
          },
        ],
      }
    case 'made safe':
      return finish(state, {
        kind: 'taken over',
        lost: state.lost ?? 'the controller was lost',
        confirmed: input.confirmed,
        text: input.text,
      })
  }
}

function entered(state: SuperviseState, phase: SuperviseState['phase']): SuperviseState {
  return { ...state, phase, phase_us: state.now_us }
}

function finish(state: SuperviseState, result: SuperviseResult, first: readonly SuperviseAct[] = []): Turn {
  return { state: entered(state, 'finished'), acts: [...first, { do: 'finish', result }] }
}

function ticked(before: SuperviseState, state: SuperviseState): Turn {
  const acts: SuperviseAct[] = []
  // Were we ourselves held up, the controller's beats wait unread behind this very tick: that time is not its silence.
  const held_us = Math.max(0, state.now_us - before.now_us - beat_us)
  const now: SuperviseState = { ...state, beat_us: Math.min(state.now_us, state.beat_us + held_us) }
  const beating = now.phase === 'starting' || now.phase === 'running'
  if (beating && now.now_us - now.sent_beat_us >= beat_us) {
    return withActs(watched({ ...now, sent_beat_us: now.now_us }), [{ do: 'beat' }])
  }
  return withActs(watched(now), acts)
}

function withActs(turn: Turn, first: readonly SuperviseAct[]): Turn {
  return { state: turn.state, acts: [...first, ...turn.acts] }
}

function watched(state: SuperviseState): Turn {
  const age_us = state.now_us - state.beat_us
  const spent_us = state.now_us - state.phase_us
  switch (state.phase) {
    case 'starting':
      if (spent_us < start_limit_us) return { state, acts: [] }
      return finish(state, { kind: 'never began', text: 'the controller did not open its ports in time' }, [
        { do: 'kill' },
      ])
    case 'running':
      if (age_us >= beat_lost_us) {
        return takeOver(state, `the controller has been silent for ${Math.round(age_us / 1000)} ms`)
      }
      if (age_us >= beat_warn_us && !state.warned) {
        const text = `The controller's heartbeat is ${Math.round(age_us / 1000)} ms old.`
        return { state: { ...state, warned: true }, acts: [{ do: 'notice', text }] }
      }
      return { state, acts: [] }
    case 'ended by controller':
      if (spent_us < leave_limit_us || state.ending === null) return { state, acts: [] }
      return finish(state, { kind: 'ended', ending: state.ending }, [{ do: 'kill' }])
    case 'taking over':
      if (spent_us < kill_wait_us) return { state, acts: [] }
      return { state: entered(state, 'making safe'), acts: [{ do: 'make safe' }] }
    case 'making safe':
    case 'finished':
      return { state, acts: [] }
  }
}

function stopped(state: SuperviseState, by: string, now: boolean): Turn {
  const next = { ...state, stops: state.stops + 1 }
  if (state.phase !== 'running' && state.phase !== 'starting') {
    return {
      state: next,
      acts: [{ do: 'notice', text: 'Stop seen: the outputs are already being put off.' }],
    }
  }
  const how = now || state.stops > 0 ? 'off now' : 'run down'
  return { state: next, acts: [{ do: 'send stop', how, by }] }
}

function exited(state: SuperviseState, how: string): Turn {
  switch (state.phase) {
    case 'ended by controller':
      return state.ending === null
        ? takeOver(state, `the controller ended (${how})`)
        : finish(state, { kind: 'ended', ending: state.ending })
    case 'starting':
    case 'running':
      return takeOver(state, `the controller ended (${how})`)
    case 'taking over':
      return { state: entered(state, 'making safe'), acts: [{ do: 'make safe' }] }
    case 'making safe':
    case 'finished':
      return { state, acts: [] }
  }
}

/** OFF on the spare first, then the kill, then everything else. */
function takeOver(state: SuperviseState, lost: string): Turn {
  if (!state.begun) {
    return finish(state, { kind: 'never began', text: lost }, state.exited ? [] : [{ do: 'kill' }])
  }
  const text = `The supervisor takes over: ${lost}. OFF sent to drive, screen and HT on the spare connections.`
  const first: SuperviseAct[] = [
    { do: 'off on spare' },
    ...(state.exited ? [] : [{ do: 'kill' } as const]),
    { do: 'record', what: 'take-over', text },
    { do: 'alarm', text },
  ]
  const next = { ...state, lost }
  if (state.exited) return { state: entered(next, 'making safe'), acts: [...first, { do: 'make safe' }] }
  return { state: entered(next, 'taking over'), acts: first }
}
