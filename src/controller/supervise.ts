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
  /** Energising was permitted, or an output was found on: from here on the outputs count as live until confirmed off. */
  readonly live: boolean
  readonly exited: boolean
  readonly ending: RunEnding | null
  readonly lost: string | null
}

export type SuperviseInput = { readonly t_us: number } & (
  | { readonly kind: 'tick' }
  /** Every port is open and identified; nothing is energised. */
  | { readonly kind: 'ready' }
  /** An output reads back as on that this run has not switched, before `ready` or after it: the controller puts everything off. */
  | { readonly kind: 'found on' }
  /** `on`: channels that read back as on when they were last heard. */
  | { readonly kind: 'not reachable'; readonly text: string; readonly on: readonly string[] }
  | { readonly kind: 'begun' }
  | { readonly kind: 'beat' }
  /** `now`: outputs off at once; otherwise the first stop runs down and every later one is "off now". */
  | { readonly kind: 'stop'; readonly by: string; readonly now: boolean }
  | { readonly kind: 'ended'; readonly ending: RunEnding }
  | { readonly kind: 'exited'; readonly how: string }
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
  /** The controller was lost before anything was permitted to energise, and nothing was found on. */
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
/** Longer than the controller gives its last words to the record and to us (`leave` in controller.process.ts). */
const leave_limit_us = 14_000_000
/** A controller that has ended and is not gone by then waits for the record; a person is told. */
const leave_told_us = 2_000_000

export function superviseBegin(t_us: number): SuperviseState {
  return {
    phase: 'starting',
    phase_us: t_us,
    now_us: t_us,
    beat_us: t_us,
    sent_beat_us: t_us,
    warned: false,
    stops: 0,
    live: false,
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
    case 'found on':
      if (!inCharge(state)) return { state, acts: [] }
      // What it puts off goes off without it as well: from here on its silence counts, however little of it is up.
      return {
        state: { ...(state.phase === 'starting' ? entered(state, 'running') : state), live: true },
        acts: [],
      }
    case 'begun':
      return { state: { ...state, live: true }, acts: [] }
    case 'not reachable':
      return unreachable(state, input.text, input.on)
    case 'stop':
      return stopped(state, input.by, input.now)
    case 'ended':
      // The last word of a controller already given up changes nothing: what it says was before OFF was taken out of its hands.
      if (!inCharge(state)) return { state, acts: [] }
      return { state: { ...entered(state, 'ended by controller'), ending: input.ending }, acts: [] }
    case 'exited':
      return exited({ ...state, exited: true }, input.how)
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

/** The controller drives the outputs, as far as we know. */
function inCharge(state: SuperviseState): boolean {
  return state.phase === 'starting' || state.phase === 'running'
}

/** A supply that cannot be reached energises nothing, unless it was heard with an output on. */
function unreachable(state: SuperviseState, text: string, on: readonly string[]): Turn {
  if (!inCharge(state)) return { state, acts: [] }
  if (on.length === 0) return finish(state, { kind: 'not reachable', text }, [{ do: 'kill' }])
  return takeOver(
    { ...state, live: true },
    `${on.join(', ')} read back as on at the start, and then: ${text}`,
  )
}

function ticked(before: SuperviseState, state: SuperviseState): Turn {
  // Were we ourselves held up, the controller's beats wait unread behind this very tick: that time is not its silence.
  const held_us = Math.max(0, state.now_us - before.now_us - beat_us)
  const now: SuperviseState = { ...state, beat_us: Math.min(state.now_us, state.beat_us + held_us) }
  if (now.phase === 'ended by controller') return leaving(before, now)
  if (!inCharge(now) || now.now_us - now.sent_beat_us < beat_us) return watched(now)
  const turn = watched({ ...now, sent_beat_us: now.now_us })
  return { state: turn.state, acts: [{ do: 'beat' }, ...turn.acts] }
}

function leaving(before: SuperviseState, state: SuperviseState): Turn {
  const turn = watched(state)
  const told_us = state.phase_us + leave_told_us
  if (before.now_us >= told_us || state.now_us < told_us || turn.acts.length > 0) return turn
  const off = state.ending?.outputs_off ?? 'not confirmed'
  const text = `The run has ended, outputs off ${off}. What it told last is not in the record yet: its disk is waited for.`
  return { state: turn.state, acts: [{ do: 'notice', text }] }
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
  if (!inCharge(state)) {
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
  if (!state.live) {
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
