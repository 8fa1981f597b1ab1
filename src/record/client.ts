import { connect } from 'node:net'
import { momentOf } from './keep.js'
import { framed, fromRecorderShape, type ToRecorder, unframer } from './messages.js'
import { happened } from '../story/index.js'
import type { RunEntry, RunEvent } from './types.js'

export { jsonLines } from './messages.js'

/** Called from the socket; none may block. */
export interface RecorderHandlers {
  /** The intent with this number is on disk. */
  recorded(intent: number): void
  /** The recorder is lost, full, silent, or the queue to it is: said once. The run makes safe with this reason. */
  trouble(text: string): void
}
export interface RecorderClient {
  /**
   * Hands entries on and returns at once. False: some will not reach the run file (queue full: readings and ticks are dropped and
   * counted; recorder lost: all is kept in `unconfirmed`).
   */
  append(entries: readonly RunEntry[]): boolean
  /** What the recorder has not confirmed, in order: for a fallback when it is lost. */
  unconfirmed(): readonly RunEntry[]
  /** Sends what is left and says goodbye; settles when the recorder has let go, or after `within_ms`. */
  close(within_ms?: number): Promise<void>
}
export interface RecorderClientOptions {
  /**
   * Most entries that may wait for a confirmation; one more is trouble. Readings and ticks are dropped then; an eighth as many
   * again is kept free for what happened: trip, OFF and ending must not be crowded out by them.
   */
  readonly most?: number
  /** Trouble when the oldest unconfirmed batch is older than this, ms. */
  readonly silent_after_ms?: number
}

/** Entries that are not urgent are gathered this long, so that a poll is one message and not five. */
const gather_ms = 20

/** Entries in one message at most: neither side holds more of it as text at once, and the recorder hears between two. */
const inMessage = 512

/** What comes many times a second, and of which the newest says most. */
const isPlenty = ({ entry }: RunEntry): boolean => entry === 'reading' || entry === 'tick'

/**
 * A line to the recorder process for those who must never wait for a disk. `from` names the client in the record.
 * Imports neither disk nor database.
 */
export function connectRecorder(
  path: string,
  from: RunEvent['from'],
  handlers: RecorderHandlers,
  options: RecorderClientOptions = {},
): RecorderClient {
  const most = options.most ?? 65_536
  const reserve = Math.ceil(most / 8)
  const silent_after_ms = options.silent_after_ms ?? 10_000
  let batches: { readonly seq: number; readonly entries: readonly RunEntry[]; readonly sent_ms: number }[] =
    []
  let gathered: RunEntry[] = []
  let waiting = 0
  let dropped = 0
  let dropped_us = 0
  let seq = 0
  let gathering: NodeJS.Timeout | null = null
  let troubled = false
  let closing: (() => void) | null = null
  let gone = false

  const trouble = (text: string): void => {
    if (troubled || closing !== null) return
    troubled = true
    handlers.trouble(text)
  }
  const socket = connect(path)
  const send = (message: ToRecorder): void => {
    if (!gone) socket.write(framed(message))
  }
  const sendGathered = (): void => {
    if (gathering !== null) clearTimeout(gathering)
    gathering = null
    for (let from = 0; from < gathered.length; from += inMessage) {
      const entries = gathered.slice(from, from + inMessage)
      batches.push({ seq: ++seq, entries, sent_ms: performance.now() })
      send({ kind: 'entries', seq, entries })
    }
    gathered = []
  }

  socket.setEncoding('utf8')
  socket.on(
    'data',
    unframer(
      fromRecorderShape,
      (message) => {
        switch (message.kind) {
          case 'recorded':
            handlers.recorded(message.intent)
            break
          case 'confirmed':
            for (const batch of batches) if (batch.seq <= message.seq) waiting -= batch.entries.length
            batches = batches.filter((batch) => batch.seq > message.seq)
            break
          case 'trouble':
            trouble(message.text)
            break
          case 'closed':
            break
        }
      },
      (text) => {
        trouble(`The recorder said something unknown: ${text}`)
      },
    ),
  )
  let why = 'it closed the connection'
  socket.on('error', (error) => {
    why = error.message
  })
  socket.on('close', () => {
    gone = true
    clearInterval(listening)
    trouble(`The recorder is lost (${why}).`)
    closing?.()
  })
  const listening = setInterval(() => {
    const oldest = batches[0]
    if (oldest !== undefined && performance.now() - oldest.sent_ms > silent_after_ms)
      trouble(`The recorder has not confirmed for ${silent_after_ms / 1000} s; its disk may be stalled.`)
  }, 250).unref()
  send({ kind: 'hello', from })

  const put = (entry: RunEntry): void => {
    waiting++
    gathered.push(entry)
  }
  /** In the record, before the first thing that is kept again: a gap that nobody tells is a lie. */
  const tellDropped = (): void => {
    if (dropped === 0) return
    const text = `${dropped} entries up to this moment are not in the record: the queue to the recorder was full.`
    dropped = 0
    put(happened(dropped_us, from, 'dropped', text))
  }

  return {
    append(entries) {
      if (closing !== null) return false
      if (waiting + entries.length > most)
        trouble(`The queue to the recorder is full: ${waiting} entries are not confirmed.`)
      let whole = true
      for (const entry of entries) {
        if (waiting >= (isPlenty(entry) ? most : most + reserve)) {
          whole = false
          dropped++
          dropped_us = momentOf(entry)
          continue
        }
        tellDropped()
        put(entry)
      }
      if (gone) return false
      if (gathered.length >= 256 || !gathered.every(isPlenty)) sendGathered()
      else if (gathered.length > 0) gathering ??= setTimeout(sendGathered, gather_ms)
      return whole
    },
    unconfirmed: () => [...batches.flatMap(({ entries }) => entries), ...gathered],
    close(within_ms = 5000) {
      tellDropped()
      return new Promise((resolve) => {
        if (gone) {
          resolve()
          return
        }
        sendGathered()
        send({ kind: 'close' })
        const given = setTimeout(() => socket.destroy(), within_ms)
        closing = () => {
          clearTimeout(given)
          resolve()
        }
      })
    },
  }
}
