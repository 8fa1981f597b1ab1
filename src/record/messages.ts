import { z } from 'zod'
import { entryShape } from './shapes.js'
import type { RunEntry } from './types.js'

/**
 * What clients and the recorder say to each other: JSON, one message a line, over a socket in a private folder.
 * A client numbers its batches 1, 2, 3 …; `confirmed` names the last one that is on disk, readings and
 * all, `recorded` an intent that is. `closed` answers `close`; for the last client the file is final then.
 */
export type ToRecorder =
  | { readonly kind: 'hello'; readonly from: string }
  | { readonly kind: 'entries'; readonly seq: number; readonly entries: readonly RunEntry[] }
  | { readonly kind: 'close' }
export type FromRecorder =
  | { readonly kind: 'recorded'; readonly intent: number }
  | { readonly kind: 'confirmed'; readonly seq: number }
  | { readonly kind: 'trouble'; readonly text: string }
  | { readonly kind: 'closed' }

export const toRecorderShape: z.ZodType<ToRecorder> = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('hello'), from: z.string().min(1).max(40) }),
  z.object({ kind: z.literal('entries'), seq: z.number().int().min(1), entries: z.array(entryShape) }),
  z.object({ kind: z.literal('close') }),
])
export const fromRecorderShape: z.ZodType<FromRecorder> = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('recorded'), intent: z.number().int() }),
  z.object({ kind: z.literal('confirmed'), seq: z.number().int() }),
  z.object({ kind: z.literal('trouble'), text: z.string() }),
  z.object({ kind: z.literal('closed') }),
])

export function framed(message: ToRecorder | FromRecorder): string {
  return `${JSON.stringify(message)}\n`
}

/** Entries as JSON, one a line: the form of every fallback file. */
export function jsonLines(entries: readonly RunEntry[]): string {
  return entries.map((entry) => `${JSON.stringify(entry)}\n`).join('')
}

/** Cuts a stream of text into messages. What is not a message is given to `garbled` in words, and the rest goes on. */
export function unframer<T>(
  shape: z.ZodType<T>,
  message: (message: T) => void,
  garbled: (text: string) => void,
): (chunk: string) => void {
  let rest: string[] = []
  return (chunk) => {
    const lines = chunk.split('\n')
    const last = lines.pop() ?? ''
    for (const line of lines) {
      const whole = rest.length === 0 ? line : rest.join('') + line
      rest = []
      const result = shape.safeParse(json(whole))
      if (result.success) message(result.data)
      else
        garbled(
          `${result.error.issues[0]?.path.join('.') ?? ''}: ${result.error.issues[0]?.message ?? 'not JSON'}`,
        )
    }
    if (last !== '') rest.push(last)
  }
}

function json(text: string): unknown {
  try {
    return JSON.parse(text) as unknown
  } catch {
    return undefined
  }
}
