import type { Chance } from '../chance/index.js'
import { type Line, wire_s } from '../bench/index.js'
import type { LineFaults, VirtualInstrument } from './supplies-types.js'

/**
 * The port of a virtual instrument: gathers bytes into messages, has them acted on one after another in the instrument's own
 * time, and sends replies back no faster than the line carries them.
 */
export interface Port {
  receive(text: string, t_us: number): void
  take(t_us: number): string
  next_us(): number | null
  faults(faults: LineFaults): void
  readonly abuses: string[]
}

/** Acts on one message; the reply, or null where none is given. */
export type Act = (message: string, t_us: number) => string | null

/** Set and measure: 8 ms; error and status queries: 60 ms (one published set of figures, wire timing of the protocol). */
const act_us = 8_000
const status_us = 60_000
/** Longest message an instrument takes. */
const longest = 256
/** How often an endless reply is said over, so that it is longer than any line may be. */
const over_and_over = 100
/** Messages remembered at most: set-points are ever new. */
const known_most = 500
/** Bytes of noise in place of a reply. */
const noise_bytes = 24
/** A bit flips in this share of the characters of a garbled reply. */
const flipped = 0.06

/** What a message is, and how long acting on it takes. */
interface Kind {
  /** The message itself as it came first: looked up by whoever acts on it, and the same text is found sooner than one that is equal. */
  readonly message: string
  readonly blank: boolean
  readonly query: boolean
  readonly takes_us: number
}

export interface PortWords {
  readonly terminator: string
  readonly reply_terminator: string
  /** How long acting on a message takes where that is not the usual time, µs. */
  takes_us(message: string): number | null
}

export function createPort(line: Line, words: PortWords, chance: Chance, act: Act): Port {
  /** The last character of what ends a message. */
  const end = words.terminator.charCodeAt(words.terminator.length - 1)
  const byte_us = wire_s(line, 1) * 1e6
  const abuses: string[] = []
  let buffer = ''
  let dropping = false
  let faults: LineFaults = {}
  let busy_us = 0
  // One at a time as a rule: an empty list would take room for many with its first.
  let waiting: { message: string; query: boolean; at_us: number }[] = []
  let replies: { text: string; at_us: number; due_us: number }[] = []
  let kept: string | null = null

  /** The same few messages come thousands of times, and what each of them is does not change. */
  const known = new Map<string, Kind>()
  const kindOf = (text: string): Kind => {
    const before = known.get(text)
    if (before !== undefined) return before
    const query = /\?(\s|;|$)/.test(text)
    const status = query && /:ERR|ESR|STB|COND/i.test(text)
    const takes_us = words.takes_us(text) ?? (status ? status_us : act_us)
    const kind = { message: text, blank: text.trim() === '', query, takes_us }
    if (known.size >= known_most) known.clear()
    known.set(text, kind)
    return kind
  }
  const garble = (text: string): string => {
    if (faults.garbled !== true) return text
    return Array.from(text, (c) => {
      if (chance.next() >= flipped) return c
      const bit = Math.min(7, Math.floor(chance.next() * 8))
      return String.fromCharCode((c.charCodeAt(0) ^ (1 << bit)) & 0xff)
    }).join('')
  }
  const anyByte = (): string => String.fromCharCode(Math.floor(chance.next() * 256))
  /** What comes back in place of this reply; null = nothing. */
  const spoiled = (reply: string): string | null => {
    let said: string | null = reply
    if (faults.behind === true) {
      said = kept
      kept = reply
    }
    if (said === null || faults.silent === true) return null
    if (faults.endless === true) return said.repeat(over_and_over)
    if (faults.noise === true)
      return Array.from({ length: noise_bytes }, anyByte).join('') + words.reply_terminator
    return garble(said + words.reply_terminator)
  }
  const send = (text: string, from_us: number): void => {
    const due_us = Math.max(from_us, replies.at(-1)?.due_us ?? 0) + Math.round(text.length * byte_us)
    busy_us = Math.max(busy_us, due_us)
    const reply = { text, due_us, at_us: due_us + Math.round((faults.late_s ?? 0) * 1e6) }
    if (replies.length === 0) replies = [reply]
    else replies.push(reply)
  }
  const settle = (t_us: number): void => {
    while (waiting[0] !== undefined && waiting[0].at_us <= t_us) {
      const { message, at_us } = waiting[0]
      waiting.shift()
      const reply = act(message, at_us)
      if (reply === null) continue
      const said = spoiled(reply)
      if (said !== null) send(said, at_us)
      // Nobody hears it, but saying it takes its time.
      else busy_us = Math.max(busy_us, at_us + Math.round((reply.length + 1) * byte_us))
    }
  }
  /** Whether an answer to a question before it has not gone out yet. */
  const owes = (t_us: number): boolean => {
    for (const one of waiting) if (one.query) return true
    for (const reply of replies) if (reply.due_us > t_us) return true
    return false
  }
  const arrived = (text: string, arrived_us: number): void => {
    if (faults.echo === true && faults.silent !== true) send(text + words.reply_terminator, arrived_us)
    const { message, blank, query, takes_us } = kindOf(text)
    if (blank) return
    // A question while an answer is still owed: a strict instrument drops the answer.
    if (query && owes(arrived_us))
      abuses.push(`"${text}" was asked before the answer to the question before it`)
    busy_us = Math.max(busy_us, arrived_us) + takes_us
    const next = { message, query, at_us: Math.round(busy_us) }
    if (waiting.length === 0) waiting = [next]
    else waiting.push(next)
  }
  return {
    abuses,
    receive(text, t_us) {
      settle(t_us)
      let arrived_us = t_us
      let from = 0
      for (let at = 0; at < text.length; at++) {
        arrived_us += byte_us
        if (text.charCodeAt(at) === end) {
          if (!dropping) arrived(buffer + text.slice(from, at), Math.round(arrived_us))
          buffer = ''
          dropping = false
          from = at + 1
        } else if (!dropping && buffer.length + at + 1 - from > longest) {
          const begin = (buffer + text.slice(from, at)).slice(0, 40)
          abuses.push(`a message of more than ${longest} characters: "${begin}…"`)
          dropping = true
        }
      }
      if (!dropping) buffer += text.slice(from)
      settle(t_us)
    },
    take(t_us) {
      settle(t_us)
      let out = ''
      while (replies[0] !== undefined && replies[0].at_us <= t_us) {
        out += replies[0].text
        replies.shift()
      }
      return out
    },
    next_us() {
      const acts_us = waiting[0]?.at_us ?? Infinity
      const reply_us = replies[0]?.at_us ?? Infinity
      const first_us = Math.min(acts_us, reply_us)
      return first_us === Infinity ? null : first_us
    },
    faults(now) {
      faults = now
    },
  }
}

/** What an instrument answers to the identity question where the bench names none. */
export const standardIdentity = (name: string): string => `VIRTUAL BENCH,${name},0,1.0`
export const otherIdentity = 'VIRTUAL BENCH,ANOTHER SUPPLY,0,1.0'

/** A port with an instrument behind it: `protect` is what it does by itself as time passes. */
export function instrument(
  port: Port,
  protect: (t_us: number) => void,
  faults: (now: LineFaults) => void,
): VirtualInstrument {
  return {
    receive(text, t_us) {
      protect(t_us)
      port.receive(text, t_us)
    },
    take(t_us) {
      protect(t_us)
      return port.take(t_us)
    },
    next_us: () => port.next_us(),
    faults(now) {
      faults(now)
      port.faults(now)
    },
    abuses: () => port.abuses,
  }
}
