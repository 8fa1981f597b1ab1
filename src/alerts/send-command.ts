import { spawn } from 'node:child_process'
import type { Resolved } from './places.js'
import type { Message, Sender } from './senders.js'

/** Enough of what it said to know what went wrong. */
const said_most = 300

/** A local program, its words as written, no shell; the whole alert is given to it as JSON on its standard input. */
export function commandSender({ run }: Extract<Resolved, { kind: 'command' }>): Sender {
  return {
    send: (message, signal) =>
      new Promise((resolve, reject) => {
        const [program = '', ...words] = run.map((word) => filled(word, message))
        // A group of its own: what it has started goes with it, and a Ctrl-C meant for the run does not reach it.
        const child = spawn(program, words, { stdio: ['pipe', 'ignore', 'pipe'], detached: true })
        let said = ''
        child.stderr.setEncoding('utf8')
        child.stderr.on('data', (text: string) => {
          if (said.length < said_most) said += text
        })
        // It need not read.
        child.stdin.on('error', () => undefined)
        child.stdin.end(JSON.stringify(message))
        const end = (): void => {
          if (child.pid === undefined) return
          try {
            process.kill(-child.pid, 'SIGKILL')
          } catch {
            // It has gone by itself.
          }
        }
        signal.addEventListener('abort', end)
        child.on('error', (error) => {
          signal.removeEventListener('abort', end)
          reject(error)
        })
        child.on('exit', (code, killed) => {
          signal.removeEventListener('abort', end)
          if (code === 0) resolve()
          // Ended by us, for it took too long: that is why, and not the signal that it was ended by.
          else if (signal.aborted) reject(signal.reason as Error)
          else {
            const words_said = said.trim().slice(0, said_most)
            const how = killed === null ? `it ended with ${code ?? 'no code'}` : `it was ended by ${killed}`
            reject(new Error(words_said === '' ? how : `${how}: ${words_said}`))
          }
        })
      }),
    close: () => Promise.resolve(),
  }
}

function filled(word: string, { text, kind, severity }: Message): string {
  return word.replaceAll('{kind}', kind).replaceAll('{severity}', severity).replaceAll('{text}', text)
}
