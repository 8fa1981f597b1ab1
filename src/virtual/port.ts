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
/** Bytes of noise in place of a reply. */
const noise_bytes = 24
/** A bit flips in this share of the characters of a garbled reply. */
const flipped = 0.06

export interface PortWords {
  readonly terminator: string
  readonly reply_terminator: string
  /** How long acting on a message takes where that is not the usual time, µs. */
  takes_us(message: string): number | null
}

export function createPort(line: Line, words: PortWords, chance: Chance, act: Act): Port {
  const { terminator } = words
  const byte_us = wire_s(line, 1) * 1e6
  const abuses: string[] = []
  let buffer = ''
  let dropping = false
  let faults: LineFaults = {}
  let busy_us = 0
  let waiting: { message: string; query: boolean; at_us: number }[] = []
  let replies: { text: string; at_us: number; due_us: number }[] = []
  let kept: string | null = null

  const isQuery = (message: string): boolean => /\?(\s|;|$)/.test(message)
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
    replies.push({ text, due_us, at_us: due_us + Math.round((faults.late_s ?? 0) * 1e6) })
  }
  const settle = (t_us: number): void => {
    while (waiting[0] !== undefined && waiting[0].at_us <= t_us) {
      const { message, at_us } = waiting[0]
      waiting = waiting.slice(1)
      const reply = act(message, at_us)
      if (reply === null) continue
      const said = spoiled(reply)
      if (said !== null) send(said, at_us)
      // Nobody hears it, but saying it takes its time.
      else busy_us = Math.max(busy_us, at_us + Math.round((reply.length + 1) * byte_us))
    }
  }
  const message = (text: string, arrived_us: number): void => {
    if (faults.echo === true && faults.silent !== true) send(text + words.reply_terminator, arrived_us)
    if (text.trim() === '') return
    const query = isQuery(text)
    // A question while an answer is still owed: a strict instrument drops the answer.
    const owing = waiting.some((one) => one.query) || replies.some((reply) => reply.due_us > arrived_us)
    if (query && owing) abuses.push(`"${text}" was asked before the answer to the question before it`)
    const status = query && /:ERR|ESR|STB|COND/i.test(text)
    busy_us = Math.max(busy_us, arrived_us) + (words.takes_us(text) ?? (status ? status_us : act_us))
    waiting.push({ message: text, query, at_us: Math.round(busy_us) })
  }
  return {
    abuses,
    receive(text, t_us) {
      settle(t_us)
      let arrived_us = t_us
      for (const c of text) {
        arrived_us += byte_us
        if (c === terminator.slice(-1)) {
          if (!dropping) message(buffer, Math.round(arrived_us))
          buffer = ''
          dropping = false
        } else if (!dropping) {
          buffer += c
          if (buffer.length > longest) {
            abuses.push(`a message of more than ${longest} characters: "${buffer.slice(0, 40)}…"`)
            dropping = true
          }
        }
      }
      settle(t_us)
    },
    take(t_us) {
      settle(t_us)
      let out = ''
      while (replies[0] !== undefined && replies[0].at_us <= t_us) {
        out += replies[0].text
        replies = replies.slice(1)
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
