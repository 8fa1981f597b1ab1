import { closeSync, constants, openSync, write } from 'node:fs'
import { setTimeout as sleep } from 'node:timers/promises'
import { StringDecoder } from 'node:string_decoder'
import { wrapText } from '../wrap.js'

/**
 * A person's terminal during a run. Two rules shape it: nothing here may ever hold up the process that supervises a run (a
 * paused terminal makes ordinary writes wait), and no key may be lost. So output goes through a descriptor of its own that
 * never waits, one write in flight; live frames that do not fit are dropped, lines are kept up to a bound.
 */
export interface Terminal {
  /** A line that stays. */
  line(text: string): void
  /** The live part under the lines, redrawn in place. */
  frame(lines: readonly string[]): void
  bell(): void
  /** What a frame may fill. */
  readonly size: { readonly columns: number; readonly rows: number }
  /** Frames given up because the terminal took nothing, and whether it is gone. */
  readonly dropped: number
  readonly gone: boolean
  /** Writes what is still to be said (a paused terminal is not waited for long) and gives the terminal back as it was found. */
  close(): Promise<void>
}

export type Key =
  | { readonly kind: 'text'; readonly text: string }
  | { readonly kind: 'enter' | 'erase' | 'interrupt' | 'suspend' | 'quit' | 'end' }

const lines_kept = 500
const flush_ms = 1000
const flush_step_ms = 10

/** Opens the terminal behind standard input; null where there is none (then nothing may be energised). */
export function openTerminal(keys: (key: Key) => void, hungUp: () => void): Terminal | null {
  const input = process.stdin
  if (!input.isTTY) return null
  const descriptor = openOwn()
  if (descriptor === null) return null

  const state = {
    pending: [] as string[],
    frame: [] as readonly string[],
    drawn: 0,
    frameChanged: false,
    busy: false,
    gone: false,
    dropped: 0,
    closed: false,
  }

  const decoder = new StringDecoder('utf8')
  const onData = (bytes: Buffer): void => {
    for (const key of keysOf(decoder.write(bytes))) keys(key)
  }
  const onGone = (): void => {
    if (state.closed) return
    state.gone = true
    hungUp()
  }
  input.setRawMode(true)
  input.on('data', onData)
  input.on('end', onGone)
  input.on('error', onGone)
  input.resume()

  const size = (): Terminal['size'] => ({
    columns: Math.max(20, process.stdout.columns > 0 ? process.stdout.columns : 100) - 1,
    rows: process.stdout.rows > 0 ? process.stdout.rows : 24,
  })
  const pump = (): void => {
    if (state.busy || state.gone || state.closed) return
    if (state.pending.length === 0 && !state.frameChanged) return
    const { columns } = size()
    const frame = state.frame.map((text) => clip(text, columns))
    const erase = state.drawn > 0 ? `\r\u001b[${state.drawn}A\u001b[J` : '\r\u001b[J'
    const text = `${erase}${state.pending.map((line) => `${line}\r\n`).join('')}${frame.map((line) => `${line}\r\n`).join('')}`
    state.pending = []
    state.frameChanged = false
    state.drawn = frame.length
    state.busy = true
    send(Buffer.from(text, 'utf8'))
  }
  const send = (bytes: Buffer): void => {
    write(descriptor, bytes, 0, bytes.length, null, (error, written) => {
      if (error === null && written === bytes.length) {
        state.busy = false
        pump()
      } else if (error === null || error.code === 'EAGAIN') {
        setTimeout(() => {
          if (!state.closed) send(bytes.subarray(error === null ? written : 0))
        }, 50).unref()
      } else {
        onGone()
      }
    })
  }

  const closedBefore = (): boolean => state.closed
  return {
    line(text) {
      for (const part of wrapText(text, size().columns).split('\n')) state.pending.push(part)
      if (state.pending.length > lines_kept) state.pending.splice(0, state.pending.length - lines_kept)
      pump()
    },
    frame(lines) {
      if (state.busy && state.frameChanged) state.dropped++
      state.frame = lines
      state.frameChanged = true
      pump()
    },
    bell() {
      write(descriptor, '\u0007', () => undefined)
    },
    get size() {
      return size()
    },
    get dropped() {
      return state.dropped
    },
    get gone() {
      return state.gone
    },
    async close() {
      if (state.closed) return
      for (let spent = 0; spent < flush_ms && !state.gone; spent += flush_step_ms) {
        if (!state.busy && state.pending.length === 0 && !state.frameChanged) break
        await sleep(flush_step_ms)
      }
      if (closedBefore()) return
      state.closed = true
      input.off('data', onData)
      input.pause()
      try {
        input.setRawMode(false)
      } catch {
        // A hung-up terminal has no mode to give back.
      }
      closeSync(descriptor)
    },
  }
}

/** A descriptor that never waits, on the terminal of standard input: its flags are not shared with anyone's. */
function openOwn(): number | null {
  for (const path of ['/dev/tty', '/proc/self/fd/0']) {
    try {
      return openSync(path, constants.O_WRONLY | constants.O_NONBLOCK | constants.O_NOCTTY)
    } catch {
      // Without a controlling terminal the first is not there.
    }
  }
  return null
}

function* keysOf(text: string): Generator<Key> {
  let run = ''
  for (const character of text) {
    const special = specials[character]
    if (special === undefined && character >= ' ') {
      run += character
      continue
    }
    if (run !== '') yield { kind: 'text', text: run }
    run = ''
    if (special !== undefined) yield { kind: special }
  }
  if (run !== '') yield { kind: 'text', text: run }
}

const specials: Readonly<Record<string, Exclude<Key['kind'], 'text'>>> = {
  '\r': 'enter',
  '\n': 'enter',
  '\u007f': 'erase',
  '\b': 'erase',
  '\u0003': 'interrupt',
  '\u001a': 'suspend',
  '\u001c': 'quit',
  '\u0004': 'end',
}

function clip(text: string, width: number): string {
  const characters = Array.from(text)
  return characters.length <= width ? text : `${characters.slice(0, width - 1).join('')}…`
}
