import type { Key } from './terminal.js'

/** What is being typed, and whether outputs may be live (then s and r stop the run). */
export interface Typing {
  readonly buffer: string
  readonly live: boolean
  readonly asking: boolean
}

/** Characters of an answer, and of one that names a photograph. */
const most = { answer: 60, path: 300 } as const

export type Typed =
  | { readonly kind: 'stop'; readonly by: string; readonly now: boolean }
  | { readonly kind: 'entered'; readonly text: string }
  /** Given up before anything was energised. */
  | { readonly kind: 'abandoned'; readonly by: string }

/**
 * Keys into what they mean. A stop never needs Enter and never hides behind a question: no answer begins with s or r, so at
 * the beginning of a line both always stop.
 */
export function typeKey(
  typing: Typing,
  key: Key,
): { readonly typing: Typing; readonly typed: readonly Typed[] } {
  const typed: Typed[] = []
  let { buffer } = typing
  const stop = (by: string, now: boolean): void => {
    typed.push(typing.live ? { kind: 'stop', by, now } : { kind: 'abandoned', by })
  }
  switch (key.kind) {
    case 'interrupt':
      stop('Ctrl-C', false)
      break
    case 'suspend':
      stop('Ctrl-Z', false)
      break
    case 'quit':
      stop('Ctrl-\\', true)
      break
    case 'end':
      if (!typing.live) stop('Ctrl-D', false)
      break
    case 'erase':
      buffer = Array.from(buffer).slice(0, -1).join('')
      break
    case 'enter':
      if (typing.asking) typed.push({ kind: 'entered', text: buffer.trim() })
      buffer = ''
      break
    case 'text':
      for (const character of key.text) {
        if (typing.live && buffer === '' && character === 's') stop('key s', true)
        else if (typing.live && buffer === '' && character === 'r') stop('key r', false)
        else if (typing.asking && buffer.length < (buffer.includes('photo=') ? most.path : most.answer))
          buffer += character
      }
      break
  }
  return { typing: { ...typing, buffer }, typed }
}
