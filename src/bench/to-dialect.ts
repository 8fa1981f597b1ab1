import { plainScpi } from './dialect.js'
import type { WrittenDialect } from './dialect-shape.js'
import type { Dialect } from './types.js'

const ends = { LF: '\n', CR: '\r', 'CR LF': '\r\n' } as const

/** The dialect of the bench file: plain SCPI with what the file changes. */
export function toDialect(written: WrittenDialect): Dialect {
  if (typeof written === 'string') return plainScpi
  const { terminator, reply_terminator, dead_man, answers, slow, ...words } = written
  const end = terminator === undefined ? plainScpi.terminator : ends[terminator]
  return {
    ...plainScpi,
    ...given(words),
    terminator: end,
    reply_terminator: reply_terminator === undefined ? end : ends[reply_terminator],
    answers: given(answers ?? {}),
    slow_s: given(slow ?? {}),
    dead_man: dead_man
      ? {
          arm: typeof dead_man.arm === 'string' ? [dead_man.arm] : dead_man.arm,
          feed: dead_man.feed,
          after_s: dead_man.after,
          per: dead_man.per,
          disarm: typeof dead_man.disarm === 'string' ? [dead_man.disarm] : dead_man.disarm,
          ask_time: dead_man.ask_time,
          ask_armed: dead_man.ask_armed,
          ask_expired: dead_man.ask_expired,
        }
      : null,
  }
}

type Given<T> = { [K in keyof T]: Exclude<T[K], undefined> }

/** What a dialect holds of it: without the keys that the file left out, and without its base. */
function given<T extends object>(record: T): Partial<Given<T>> {
  return Object.fromEntries(
    Object.entries(record).filter(([key, value]) => key !== 'based_on' && value !== undefined),
  ) as Partial<Given<T>>
}
