import type { ChildProcess } from 'node:child_process'
import { join } from 'node:path'
import type { FromFarEnd, FromRunner, FromWatched } from './messages.js'

export const program = (name: string): string => join(import.meta.dirname, `${name}.js`)

type Word = FromFarEnd | FromRunner | FromWatched

/** A child's next word of this kind. */
export function heard<K extends Word['kind']>(
  far: ChildProcess,
  kind: K,
): Promise<Extract<Word, { kind: K }>> {
  return new Promise((resolve, reject) => {
    const done = (): void => {
      far.off('message', word)
      far.off('exit', early)
    }
    const word = (message: Word): void => {
      if (message.kind !== kind) return
      done()
      resolve(message as Extract<Word, { kind: K }>)
    }
    const early = (code: number | null): void => {
      done()
      reject(new Error(`A program of the measurement ended early (${code ?? 'killed'}).`))
    }
    far.on('message', word)
    far.on('exit', early)
  })
}
