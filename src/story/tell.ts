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

/** Numbers of streams by name. */
export type StreamIds = ReadonlyMap<string, number>
export const streamIds = (streams: readonly Stream[]): StreamIds =>
  new Map(streams.map((stream) => [stream.name, stream.id]))

/** What the sequencer was fed, as the record keeps it: enough to feed it again, in the same order. */
export function toldOfEvent(event: Event, ids: StreamIds, from: RunEvent['from']): RunEntry {
  switch (event.kind) {
    case 'reading':
      return {
        entry: 'reading',
        stream: ids.get(`${event.channel}.${event.quantity}`) ?? 0,
        t_us: event.t_us,
        n: event.value.n,
        k: event.value.k,
      }
    case 'meter':
      return {
        entry: 'reading',
        stream: ids.get(`meter.${event.meter}`) ?? 0,
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
