import type { FromRecorder } from './messages.js'
import type { RunEntry } from './types.js'

/** Decisions of the recorder process as a pure function: what to write when, what to confirm to whom, when to finish. */
export interface KeepState {
  readonly clients: Readonly<Record<string, KeepClient>>
  /** Taken but not yet committed. */
  readonly waiting: boolean
  readonly committed_us: number
  /** Whether anyone ever came: whoever started the recorder may be slow to. */
  readonly greeted: boolean
  /** Since when no client is there; null while one is. */
  readonly alone_since_us: number | null
  /** Latest moment of the run that an entry spoke of, for what the recorder itself has to add. */
  readonly run_us: number
  readonly ended: boolean
  /** Why the file takes no more; entries go elsewhere then and nothing is confirmed. */
  readonly failed: string | null
  /** A signal asked it to end: it does as soon as no client is there, since last words may still come. */
  readonly told: boolean
  readonly finished: boolean
}
export interface KeepClient {
  readonly from: string
  readonly received: number
  readonly confirmed: number
  /** It said goodbye and waits for the last of what it told to be on disk: then it is let go. */
  readonly leaving?: true
  /** Intents received and not yet confirmed as recorded. */
  readonly intents: readonly number[]
}

export type KeepInput = { readonly now_us: number } & (
  | { readonly kind: 'hello'; readonly client: string; readonly from: string }
  | {
      readonly kind: 'entries'
      readonly client: string
      readonly seq: number
      readonly entries: readonly RunEntry[]
    }
  | { readonly kind: 'close'; readonly client: string }
  | { readonly kind: 'gone'; readonly client: string }
  | { readonly kind: 'garbled'; readonly client: string; readonly text: string }
  | { readonly kind: 'committed' }
  | { readonly kind: 'failed'; readonly text: string }
  | { readonly kind: 'told to end' }
  | { readonly kind: 'tick' }
)

export type KeepOutput =
  | { readonly do: 'append'; readonly entries: readonly RunEntry[] }
  | { readonly do: 'commit' }
  /** To the fallback file: what the run file did not take, then every entry from here on. */
  | { readonly do: 'divert'; readonly entries: readonly RunEntry[] }
  | { readonly do: 'send'; readonly client: string; readonly message: FromRecorder }
  /** Give the file its final form, tell whoever is still there that it is closed, then leave. */
  | { readonly do: 'finish' }

/** Confirmations come at least this often while there is something to confirm, µs. */
export const confirmEvery_us = 800_000
/** How long the recorder waits for its first client, µs. */
const firstClient_us = 30e6

export function keepBegin(now_us: number): KeepState {
  return {
    clients: {},
    waiting: false,
    committed_us: now_us,
    greeted: false,
    alone_since_us: now_us,
    run_us: 0,
    ended: false,
    failed: null,
    told: false,
    finished: false,
  }
}

/** `linger_us`: how long without any client before the recorder finishes by itself. */
export function keepStep(
  state: KeepState,
  input: KeepInput,
  linger_us: number,
): { readonly state: KeepState; readonly outputs: readonly KeepOutput[] } {
  if (state.finished) return { state, outputs: [] }
  switch (input.kind) {
    case 'hello': {
      const client = { from: input.from, received: 0, confirmed: 0, intents: [] }
      return {
        state: {
          ...state,
          clients: { ...state.clients, [input.client]: client },
          alone_since_us: null,
          greeted: true,
        },
        outputs: state.failed === null ? [] : [trouble(input.client, state.failed)],
      }
    }
    case 'entries':
      return entries(state, input.client, input.seq, input.entries)
    case 'garbled':
      return {
        state,
        outputs: [trouble(input.client, `The recorder did not understand a message: ${input.text}`)],
      }
    case 'close': {
      const client = state.clients[input.client]
      if (client === undefined || client.received === client.confirmed || state.failed !== null)
        return letGo(state, [input.client], input.now_us)
      // What is not confirmed to it, it would keep elsewhere and sound an alarm for.
      const clients = { ...state.clients, [input.client]: { ...client, leaving: true as const } }
      return { state: { ...state, clients }, outputs: [{ do: 'commit' }] }
    }
    case 'gone': {
      const client = state.clients[input.client]
      if (client === undefined) return { state, outputs: [] }
      const left = without(state, input.client, input.now_us)
      return own(
        left,
        'client lost',
        `The connection of the ${client.from} to the recorder ended without a word.`,
      )
    }
    case 'committed': {
      const outputs = Object.entries(state.clients).flatMap(
        ([client, { received, confirmed, intents }]): KeepOutput[] => [
          ...intents.map(
            (intent): KeepOutput => ({ do: 'send', client, message: { kind: 'recorded', intent } }),
          ),
          ...(received > confirmed
            ? [{ do: 'send', client, message: { kind: 'confirmed', seq: received } } as const]
            : []),
        ],
      )
      const clients = Object.fromEntries(
        Object.entries(state.clients).map(([id, c]) => [id, { ...c, confirmed: c.received, intents: [] }]),
      )
      const committed = { ...state, clients, waiting: false, committed_us: input.now_us }
      const left = letGo(committed, leaving(state), input.now_us)
      return { state: left.state, outputs: [...outputs, ...left.outputs] }
    }
    case 'failed': {
      if (state.failed !== null) return { state, outputs: [] }
      const left = letGo({ ...state, failed: input.text, waiting: false }, leaving(state), input.now_us)
      return {
        state: left.state,
        outputs: [
          { do: 'divert', entries: [] },
          ...Object.keys(state.clients).map((client) => trouble(client, input.text)),
          ...left.outputs,
        ],
      }
    }
    case 'told to end': {
      const told = { ...state, told: true }
      return state.alone_since_us === null ? { state: told, outputs: [] } : finish(told)
    }
    case 'tick': {
      const patience_us = state.told ? 0 : state.greeted ? linger_us : Math.max(linger_us, firstClient_us)
      if (state.alone_since_us !== null && input.now_us - state.alone_since_us >= patience_us)
        return finish(state)
      if (state.waiting && input.now_us - state.committed_us >= confirmEvery_us)
        return { state, outputs: [{ do: 'commit' }] }
      return { state, outputs: [] }
    }
  }
}

function entries(
  state: KeepState,
  id: string,
  seq: number,
  given: readonly RunEntry[],
): { readonly state: KeepState; readonly outputs: readonly KeepOutput[] } {
  const client = state.clients[id]
  if (client === undefined)
    return { state, outputs: [trouble(id, 'The recorder takes entries only after a hello.')] }
  const lost: KeepOutput[] =
    seq === client.received + 1
      ? []
      : [
          trouble(
            id,
            `The recorder expected batch ${client.received + 1} and received ${seq}; entries are missing.`,
          ),
        ]
  const intents = given.flatMap((entry) =>
    entry.entry === 'event' && entry.event.durable && entry.event.intent !== null ? [entry.event.intent] : [],
  )
  const next: KeepState = {
    ...state,
    clients: {
      ...state.clients,
      [id]: { ...client, received: seq, intents: [...client.intents, ...intents] },
    },
    run_us: given.reduce((latest, entry) => Math.max(latest, momentOf(entry)), state.run_us),
    ended: state.ended || given.some(({ entry }) => entry === 'ending'),
    waiting: state.failed === null,
  }
  if (state.failed !== null) return { state: next, outputs: [...lost, { do: 'divert', entries: given }] }
  const urgent = given.some((entry) => entry.entry !== 'reading' && entry.entry !== 'tick' && !isLazy(entry))
  return {
    state: next,
    outputs: [...lost, { do: 'append', entries: given }, ...(urgent ? [{ do: 'commit' } as const] : [])],
  }
}

const isLazy = (entry: RunEntry): boolean => entry.entry === 'event' && !entry.event.durable

/** The moment of the run an entry speaks of; 0 for what was known before. */
export function momentOf(entry: RunEntry): number {
  if (entry.entry === 'event') return entry.event.t_us
  return entry.entry === 'known' || entry.entry === 'stream' ? 0 : entry.t_us
}

function without(state: KeepState, id: string, now_us: number): KeepState {
  const clients = Object.fromEntries(Object.entries(state.clients).filter(([other]) => other !== id))
  return { ...state, clients, alone_since_us: Object.keys(clients).length === 0 ? now_us : null }
}

const leaving = ({ clients }: KeepState): string[] =>
  Object.keys(clients).filter((id) => clients[id]?.leaving === true)

/** Goodbye to these; the last one after an ending ends the recorder, which then tells everybody. */
function letGo(
  state: KeepState,
  ids: readonly string[],
  now_us: number,
): { readonly state: KeepState; readonly outputs: readonly KeepOutput[] } {
  if (ids.length === 0) return { state, outputs: [] }
  const left = ids.reduce((before, id) => without(before, id, now_us), state)
  if (left.alone_since_us !== null && left.ended)
    return { state: { ...left, finished: true }, outputs: [{ do: 'finish' }] }
  return {
    state: left,
    outputs: ids.map((client): KeepOutput => ({ do: 'send', client, message: { kind: 'closed' } })),
  }
}

/** The recorder's own word in the record. */
function own(
  state: KeepState,
  what: string,
  text: string,
): { readonly state: KeepState; readonly outputs: readonly KeepOutput[] } {
  const entry: RunEntry = {
    entry: 'event',
    event: {
      t_us: state.run_us,
      from: 'recorder',
      what,
      text,
      rail: null,
      step: null,
      intent: null,
      data: {},
      durable: true,
    },
  }
  return {
    state: { ...state, waiting: state.failed === null },
    outputs:
      state.failed === null
        ? [{ do: 'append', entries: [entry] }, { do: 'commit' }]
        : [{ do: 'divert', entries: [entry] }],
  }
}

function finish(state: KeepState): { readonly state: KeepState; readonly outputs: readonly KeepOutput[] } {
  const last = state.ended
    ? { state, outputs: [] }
    : own(
        state,
        'no ending',
        'The recorder finished without being told how the run ended: take every output as on until it is measured.',
      )
  return { state: { ...last.state, finished: true }, outputs: [...last.outputs, { do: 'finish' }] }
}

function trouble(client: string, text: string): KeepOutput {
  return { do: 'send', client, message: { kind: 'trouble', text } }
}
