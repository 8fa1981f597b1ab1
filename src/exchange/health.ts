import { z } from 'zod'

/**
 * The health of a line, for people and for the record: it decides nothing, and the sequencer is never fed it.
 * Every kind of fault a line can have, in the order in which they are told: one, and several.
 */
export const lineFaultWords = {
  no_reply: ['missed reply', 'missed replies'],
  /** After its deadline, while the line waited for silence: thrown away. */
  late_reply: ['late reply thrown away', 'late replies thrown away'],
  /** Before the identity that ends a resynchronisation, or an identity too many: an answer to a question of before. */
  stale_reply: ['stale reply thrown away', 'stale replies thrown away'],
  unasked_reply: ['reply that nothing asked for', 'replies that nothing asked for'],
  /** Not of the form that was asked for. */
  unparsable: ['reply that cannot be read', 'replies that cannot be read'],
  /** A number, and beyond what the channel or the meter can show. */
  out_of_range: ['number out of range', 'numbers out of range'],
  /** Bytes that no instrument sends, or part of a line as the connection ended. */
  line_noise: ['reply with line noise', 'replies with line noise'],
  overlong_line: ['overlong line', 'overlong lines'],
  echo: ['echo of our own words', 'echoes of our own words'],
  /** Entries of the supply's error queue, and refusals it says of its own accord. */
  supply_error: ['error told by the supply', 'errors told by the supply'],
  read_back_differs: ['read-back that differs', 'read-backs that differ'],
  identity_changed: ['another identity', 'other identities'],
  /** Text that the system did not take in time. */
  write_failed: ['write not taken', 'writes not taken'],
  connection_lost: ['connection lost', 'connections lost'],
  asked_again: ['question asked again', 'questions asked again'],
  resynchronised: ['resynchronisation', 'resynchronisations'],
  reopened: ['reopening', 'reopenings'],
  given_up: ['time given up as lost', 'times given up as lost'],
} as const satisfies Readonly<Record<string, readonly [string, string]>>
export type LineFault = keyof typeof lineFaultWords
export const lineFaults = Object.keys(lineFaultWords) as readonly LineFault[]

/** Rungs of the ladder of recovery, lowest first, and the word for a line that is well again. */
export const rungs = ['ask again', 'resynchronise', 'reopen', 'give up', 'answers again'] as const
export type Rung = (typeof rungs)[number]

export const lineHealthShape = z.object({
  /** Only what is not zero. */
  faults: z.partialRecord(z.enum(lineFaults), z.number()),
  discarded_bytes: z.number(),
  /** Good replies so far, and the longest time from a question to one, s; null = none yet. */
  replies: z.number(),
  worst_reply_s: z.number().nullable(),
  /** How often each reading of this line came round, as measured; null = not twice yet. */
  polled_Hz: z.number().nullable(),
})
export type LineHealth = Readonly<z.infer<typeof lineHealthShape>>

/** Only its troubles, in one short line; null when there are none. */
export function faultsInWords({ faults, discarded_bytes }: LineHealth): string | null {
  const told = lineFaults.flatMap((fault) => {
    const times = faults[fault] ?? 0
    return times === 0 ? [] : [`${times} ${lineFaultWords[fault][times === 1 ? 0 : 1]}`]
  })
  if (discarded_bytes > 0) told.push(`${discarded_bytes} bytes thrown away`)
  return told.length === 0 ? null : told.join(', ')
}

/** All of it in one line. */
export function healthInWords(health: LineHealth): string {
  const { worst_reply_s, polled_Hz } = health
  return [
    ...(polled_Hz === null ? [] : [`each reading ${figure(polled_Hz)} × a second`]),
    ...(worst_reply_s === null ? [] : [`worst reply ${figure(worst_reply_s * 1000)} ms`]),
    faultsInWords(health) ?? 'no fault',
  ].join('; ')
}

const figure = (value: number): string =>
  value >= 100 ? value.toFixed(0) : String(Number(value.toPrecision(2)))
