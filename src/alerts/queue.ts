import type { Severity } from '../bench/index.js'
import type { Alert } from './due.js'

/*
 * When an alert is sent, tried again and given up, for each place by itself: pure, times in real milliseconds. One is under way
 * to a place at a time, the gravest first. What waits is bounded: where it is full the oldest of the least grave goes, and is
 * counted. Nothing here holds anything of the run up.
 */

export interface Place {
  /** As it is told: never with a secret in it. */
  readonly name: string
  readonly least: Severity
  readonly still_there_ms: number | null
}
interface Waiting {
  readonly alert: Alert
  readonly since_ms: number
}
export interface PlaceState {
  readonly waiting: readonly Waiting[]
  readonly sending: Waiting | null
  readonly next_ms: number
  /** Attempts in a row that failed. */
  readonly failures: number
  readonly told_ms: number
  readonly delivered: number
  readonly lost: number
}
export interface QueueState {
  readonly places: readonly PlaceState[]
}
export type QueueInput = { readonly t_ms: number } & (
  | { readonly kind: 'alert'; readonly alert: Alert }
  /** `still`: that the run goes on, for those who are told so from time to time; null = it does not. */
  | { readonly kind: 'time'; readonly still: Alert | null }
  | { readonly kind: 'sent'; readonly place: number }
  /** `hopeless`: the other end will never take it. */
  | { readonly kind: 'failed'; readonly place: number; readonly why: string; readonly hopeless: boolean }
  /** Nothing is sent any more: what waits is lost, and told. */
  | { readonly kind: 'end' }
)
export type QueueAct =
  | { readonly do: 'send'; readonly place: number; readonly alert: Alert }
  /** Into the run's record and onto the screen. */
  | { readonly do: 'tell'; readonly text: string; readonly data: Readonly<Record<string, unknown>> }

/** Alerts that may wait for one place (our choice). */
export const most = 32
/** First pause after a failure, doubled up to the longest, ms (our choice). */
const pause_ms = 2000
const longestPause_ms = 60_000
/** Not news any more, ms (our choice); an alarm is tried as long as the run is attended to. */
const stale_ms: Readonly<Record<Severity, number>> = {
  news: 5 * 60_000,
  attention: 60 * 60_000,
  alarm: Number.POSITIVE_INFINITY,
}
const rank: Readonly<Record<Severity, number>> = { news: 0, attention: 1, alarm: 2 }

export function queueBegin(places: readonly Place[], t_ms: number): QueueState {
  return {
    places: places.map(() => ({
      waiting: [],
      sending: null,
      next_ms: t_ms,
      failures: 0,
      told_ms: t_ms,
      delivered: 0,
      lost: 0,
    })),
  }
}

/** Nothing waits and nothing is under way. */
export const isIdle = ({ places }: QueueState): boolean =>
  places.every(({ waiting, sending }) => waiting.length === 0 && sending === null)

export const takes = (place: Place, alert: Alert): boolean =>
  alert.kind === 'still there' ? place.still_there_ms !== null : rank[alert.severity] >= rank[place.least]

export function queueStep(
  places: readonly Place[],
  before: QueueState,
  input: QueueInput,
): { readonly state: QueueState; readonly acts: readonly QueueAct[] } {
  const acts: QueueAct[] = []
  const next = before.places.map((state, i) => {
    const place = places[i]
    if (place === undefined) return state
    const turned = turn(place, i, state, input, acts)
    return input.kind === 'end' ? turned : sendNext(i, turned, input.t_ms, acts)
  })
  return { state: { places: next }, acts }
}

function turn(place: Place, i: number, state: PlaceState, input: QueueInput, acts: QueueAct[]): PlaceState {
  switch (input.kind) {
    case 'alert':
      return takes(place, input.alert) ? put(place, state, input.alert, input.t_ms, acts) : state
    case 'time': {
      const fresh = forget(place, state, input.t_ms, acts)
      if (place.still_there_ms === null || input.still === null) return fresh
      if (input.t_ms - fresh.told_ms < place.still_there_ms) return fresh
      return put(place, { ...fresh, told_ms: input.t_ms }, input.still, input.t_ms, acts)
    }
    case 'sent': {
      if (input.place !== i || state.sending === null) return state
      if (state.failures > 0)
        acts.push(tell(`Alerts reach ${place.name} again${lostSoFar(state.lost)}.`, place, state))
      return { ...state, sending: null, failures: 0, delivered: state.delivered + 1, next_ms: input.t_ms }
    }
    case 'failed':
      return input.place === i ? failed(place, state, input, acts) : state
    case 'end': {
      const left = state.waiting.length + (state.sending === null ? 0 : 1)
      const lost = state.lost + left
      if (lost > 0)
        acts.push(
          tell(
            `${lost} alert${lost === 1 ? '' : 's'} did not reach ${place.name}; ${state.delivered} did.`,
            place,
            { ...state, lost },
          ),
        )
      return { ...state, waiting: [], sending: null, lost }
    }
  }
}

function put(place: Place, state: PlaceState, alert: Alert, t_ms: number, acts: QueueAct[]): PlaceState {
  const waiting = [...state.waiting, { alert, since_ms: t_ms }]
  if (waiting.length <= most) return { ...state, waiting }
  const least = Math.min(...waiting.map(({ alert: each }) => rank[each.severity]))
  const gone = waiting.findIndex(({ alert: each }) => rank[each.severity] === least)
  const lost = state.lost + 1
  const next = { ...state, waiting: waiting.filter((_, at) => at !== gone), lost }
  const what = waiting[gone]?.alert
  acts.push(tell(`Too many alerts wait for ${place.name}: not sent: ${what?.text ?? ''}`, place, next))
  return next
}

/** What is no news any more goes unsent, and is told. */
function forget(place: Place, state: PlaceState, t_ms: number, acts: QueueAct[]): PlaceState {
  const old = state.waiting.filter(({ alert, since_ms }) => t_ms - since_ms > stale_ms[alert.severity])
  if (old.length === 0) return state
  const next = {
    ...state,
    waiting: state.waiting.filter((each) => !old.includes(each)),
    lost: state.lost + old.length,
  }
  for (const { alert } of old)
    acts.push(tell(`Given up: ${place.name} did not take in time: ${alert.text}`, place, next))
  return next
}

function failed(
  place: Place,
  state: PlaceState,
  { why, hopeless, t_ms }: Extract<QueueInput, { kind: 'failed' }>,
  acts: QueueAct[],
): PlaceState {
  const { sending } = state
  if (sending === null) return state
  const failures = state.failures + 1
  const wait_ms = Math.min(longestPause_ms, pause_ms * (1 << Math.min(failures - 1, 5)))
  const next: PlaceState = {
    ...state,
    sending: null,
    failures,
    next_ms: t_ms + wait_ms,
    ...(hopeless ? { lost: state.lost + 1 } : { waiting: [sending, ...state.waiting] }),
  }
  // The first of a row is told, and whatever will never be tried again.
  if (failures === 1 || hopeless)
    acts.push(
      tell(
        `An alert did not reach ${place.name}: ${why}. ${hopeless ? 'It is not tried again' : 'It is tried again'}: ${sending.alert.text}`,
        place,
        next,
      ),
    )
  return next
}

function sendNext(i: number, state: PlaceState, t_ms: number, acts: QueueAct[]): PlaceState {
  if (state.sending !== null || state.waiting.length === 0 || t_ms < state.next_ms) return state
  const gravest = Math.max(...state.waiting.map(({ alert }) => rank[alert.severity]))
  const next = state.waiting.find(({ alert }) => rank[alert.severity] === gravest)
  if (next === undefined) return state
  acts.push({ do: 'send', place: i, alert: next.alert })
  return { ...state, sending: next, waiting: state.waiting.filter((each) => each !== next) }
}

const lostSoFar = (lost: number): string => (lost === 0 ? '' : `; ${lost} were not sent`)

function tell(text: string, place: Place, state: PlaceState): QueueAct {
  const { delivered, lost, failures } = state
  return { do: 'tell', text, data: { place: place.name, delivered, lost, failures } }
}
