import type { LineHealth, Rung } from '../exchange/index.js'
import { faultsInWords } from '../exchange/index.js'
import type { Plan } from '../plan/index.js'
import type { Command, Event, RecordedEvent } from '../sequencer/index.js'
import type { RunEntry, RunEvent, Stream } from './types.js'

/** The streams of a plan: volts and amps of every channel, and every meter on a line, with the same numbers everywhere. */
export function streamsOf(plan: Plan): Stream[] {
  const streams: Stream[] = []
  for (const rail of Object.values(plan.rails)) {
    for (const part of rail.channels) {
      streams.push(
        {
          id: streams.length + 1,
          name: `${part.channel}.V`,
          unit: 'V',
          rail: rail.name,
          resolution: part.resolution_V,
        },
        {
          id: streams.length + 2,
          name: `${part.channel}.A`,
          unit: 'A',
          rail: rail.name,
          resolution: part.resolution_A,
        },
      )
    }
  }
  for (const meter of Object.values(plan.meters)) {
    if (meter.port === null) continue
    streams.push({
      id: streams.length + 1,
      name: `meter.${meter.name}`,
      unit: meter.measures,
      rail: meter.rail,
      resolution: meter.resolution,
    })
  }
  return streams
}

/** Numbers of streams by what an event names, a channel or a meter: no stream's name is put together for a reading. */
export interface StreamIds {
  readonly V: ReadonlyMap<string, number>
  readonly A: ReadonlyMap<string, number>
  readonly meters: ReadonlyMap<string, number>
}
export function streamIds(streams: readonly Stream[]): StreamIds {
  const [V, A, meters] = [new Map<string, number>(), new Map<string, number>(), new Map<string, number>()]
  for (const { name, id } of streams) {
    if (name.endsWith('.V')) V.set(name.slice(0, -2), id)
    if (name.endsWith('.A')) A.set(name.slice(0, -2), id)
    if (name.startsWith('meter.')) meters.set(name.slice('meter.'.length), id)
  }
  return { V, A, meters }
}

/** What the sequencer was fed, as the record keeps it: enough to feed it again, in the same order. */
export function toldOfEvent(event: Event, ids: StreamIds, from: RunEvent['from']): RunEntry {
  switch (event.kind) {
    case 'reading':
      return {
        entry: 'reading',
        stream: ids[event.quantity].get(event.channel) ?? 0,
        t_us: event.t_us,
        n: event.value.n,
        k: event.value.k,
      }
    case 'meter':
      return {
        entry: 'reading',
        stream: ids.meters.get(event.meter) ?? 0,
        t_us: event.t_us,
        n: event.value.n,
        k: event.value.k,
      }
    case 'tick':
      return { entry: 'tick', t_us: event.t_us, late_us: event.late_us, slept_us: event.slept_us }
    case 'begin':
    case 'regulation':
    case 'done':
    case 'failed':
    case 'output':
    case 'protection':
    case 'line trouble':
    case 'line lost':
    case 'answer':
    case 'stop':
    case 'recorded':
    case 'recorder lost':
    case 'parent lost':
    case 'off unfounded':
    case 'judged':
      return {
        entry: 'event',
        event: {
          t_us: event.t_us,
          from,
          what: 'fed',
          text: event.kind,
          rail: null,
          step: null,
          intent: null,
          data: { ...event },
          durable: event.kind === 'answer' || event.kind === 'begin' || event.kind === 'stop',
        },
      }
  }
}

/** What the sequencer wants kept. Intents, answers, trips, offs and endings are on disk before they count; the rest may wait. */
export function toldOfRecord(entry: RecordedEvent, t_us: number, from: RunEvent['from']): RunEntry {
  const durable = entry.what !== 'judgement' && entry.what !== 'step' && entry.what !== 'command'
  return { entry: 'event', event: { ...entry, t_us, from, durable } }
}

/** What the sequencer asked of a line, for the record: with the next batch, since the intent behind it is on disk already. */
export function toldOfRequest(
  command: Extract<Command, { kind: 'line' | 'urgent off' }>,
  t_us: number,
  from: RunEvent['from'],
): RunEntry {
  const text =
    command.kind === 'line' ? `${command.do} ${command.channel}` : `urgent off ${command.channels.join(', ')}`
  return {
    entry: 'event',
    event: {
      t_us,
      from,
      what: 'asked',
      text,
      rail: null,
      step: null,
      intent: null,
      data: { ...command },
      durable: false,
    },
  }
}

/**
 * What a line tells of its health. It comes from the line and not from who decides: a replay passes over it, since no
 * decision rests on it.
 */
export function toldOfLine(
  told:
    | { readonly kind: 'health'; readonly port: string; readonly health: LineHealth }
    | { readonly kind: 'rung'; readonly port: string; readonly rung: Rung; readonly text: string },
  t_us: number,
): RunEntry {
  const what = told.kind === 'health' ? 'line health' : 'line'
  const text =
    told.kind === 'health' ? `${told.port}: ${faultsInWords(told.health) ?? 'no fault'}` : told.text
  const { port } = told
  const data = told.kind === 'health' ? { port, health: told.health } : { port, rung: told.rung }
  return { entry: 'event', event: { ...happenedAt(t_us, 'line', what, text), data, durable: false } }
}

/** A single thing that happened, in words. */
export function happened(
  t_us: number,
  from: RunEvent['from'],
  what: string,
  text: string,
  data: Readonly<Record<string, unknown>> = {},
): RunEntry {
  return { entry: 'event', event: { ...happenedAt(t_us, from, what, text), data, durable: true } }
}

const happenedAt = (
  t_us: number,
  from: RunEvent['from'],
  what: string,
  text: string,
): Omit<RunEvent, 'data' | 'durable'> => ({ t_us, from, what, text, rail: null, step: null, intent: null })
