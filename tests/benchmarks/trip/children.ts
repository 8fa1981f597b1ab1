import type { ChildProcess } from 'node:child_process'
import { join } from 'node:path'
import type { FromFarEnd } from './messages.js'

export const program = (name: string): string => join(import.meta.dirname, `${name}.js`)

/** The far end's next word of this kind. */
export function heard<K extends FromFarEnd['kind']>(
  far: ChildProcess,
  kind: K,
): Promise<Extract<FromFarEnd, { kind: K }>> {
  return new Promise((resolve, reject) => {
    const done = (): void => {
      far.off('message', word)
      far.off('exit', early)
    }
    const word = (message: FromFarEnd): void => {
      if (message.kind !== kind) return
      done()
      resolve(message as Extract<FromFarEnd, { kind: K }>)
    }
    const early = (code: number | null): void => {
      done()
      reject(new Error(`The far end ended early (${code ?? 'killed'}).`))
    }
    far.on('message', word)
    far.on('exit', early)
  })
}
