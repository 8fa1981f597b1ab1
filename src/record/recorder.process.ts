import { rmdirSync, writeSync } from 'node:fs'
import { createServer, type Socket } from 'node:net'
import { dirname } from 'node:path'
import { parseArgs } from 'node:util'
import { type Fallback, openFallback } from './fallback.js'
import { type KeepInput, type KeepOutput, keepBegin, keepStep } from './keep.js'
import { framed, jsonLines, toRecorderShape, unframer } from './messages.js'
import { RecordTrouble } from './trouble.js'
import { createRunFile, type RunWriter } from './writer.js'

/**
 * The recorder: a process of its own and the only writer of the run file, so that a frozen disk holds up nobody and the
 * last words of a lost controller are kept. Started by the supervisor (`startRecorder`); says `ready` or why not on
 * stdout, then is spoken to over its socket only.
 */
const { values } = parseArgs({
  options: {
    file: { type: 'string' },
    socket: { type: 'string' },
    'linger-s': { type: 'string', default: '5' },
    'max-bytes': { type: 'string' },
    'fallback-folder': { type: 'string' },
  },
})
const { file, socket } = values
// A shared terminal must not end or stop it with the rails on.
for (const signal of ['SIGINT', 'SIGHUP', 'SIGTSTP'] as const) process.on(signal, () => undefined)

if (file === undefined || socket === undefined)
  announce({ trouble: 'the recorder needs --file and --socket' }, 2)
else {
  const maxBytes = values['max-bytes']
  const writer = tryCreate(file, maxBytes === undefined ? {} : { max_bytes: Number(maxBytes) })
  if (writer !== null) keep(writer, file, socket, Number(values['linger-s']) * 1e6, values['fallback-folder'])
}

function tryCreate(path: string, options: { max_bytes?: number }): RunWriter | null {
  try {
    return createRunFile(path, options)
  } catch (error) {
    announce({ trouble: error instanceof Error ? error.message : String(error) }, 6)
    return null
  }
}

function announce(word: { ready: true } | { trouble: string }, exit?: number): void {
  try {
    writeSync(1, `${JSON.stringify(word)}\n`)
  } catch {
    // Whoever started it is gone; the linger time ends it.
  }
  if (exit !== undefined) process.exit(exit)
}

function keep(
  writer: RunWriter,
  path: string,
  socketPath: string,
  linger_us: number,
  folder: string | undefined,
): void {
  const now_us = (): number => Math.round(performance.now() * 1000)
  const sockets = new Map<string, Socket>()
  let state = keepBegin(now_us())
  let fallback: Fallback | null = null
  let clients = 0

  const say = (input: DistributedOmit<KeepInput, 'now_us'>): void => {
    const result = keepStep(state, { ...input, now_us: now_us() }, linger_us)
    state = result.state
    for (const output of result.outputs) act(output)
  }
  const orFail = (work: () => void): boolean => {
    try {
      work()
      return true
    } catch (error) {
      fallback ??= openFallback(path, 'rest', { folder })
      const why = error instanceof RecordTrouble ? error.message : `The recorder failed: ${String(error)}`
      say({ kind: 'failed', text: `${why} What follows is kept in ${fallback.where}.` })
      return false
    }
  }
  const act = (output: KeepOutput): void => {
    switch (output.do) {
      case 'append':
        // After a failure inside this batch the whole of it is in `unwritten` and is diverted with what waited before it.
        orFail(() => {
          writer.append(output.entries)
        })
        break
      case 'commit':
        if (
          state.failed === null &&
          orFail(() => {
            writer.flush()
          })
        )
          say({ kind: 'committed' })
        break
      case 'divert':
        fallback ??= openFallback(path, 'rest', { folder })
        fallback.put(jsonLines(output.entries.length === 0 ? writer.unwritten() : output.entries))
        break
      case 'send':
        sockets.get(output.client)?.write(framed(output.message))
        if (output.message.kind === 'closed') sockets.get(output.client)?.end()
        break
      case 'finish':
        try {
          writer.close()
        } catch (error) {
          if (fallback === null) {
            fallback = openFallback(path, 'rest', { folder })
            fallback.put(jsonLines(writer.unwritten()))
          }
          process.exitCode = 6
          console.error(
            `slowglow recorder: ${error instanceof Error ? error.message : String(error)} The rest is in ${fallback.where}.`,
          )
        }
        fallback?.close()
        clearInterval(ticking)
        server.close()
        removeFolder(dirname(socketPath))
        for (const each of sockets.values()) each.end(framed({ kind: 'closed' }))
        // A client that never reads must not hold it for ever.
        setTimeout(() => process.exit(), 2000).unref()
        break
    }
  }

  const server = createServer((connection) => {
    const client = String(++clients)
    sockets.set(client, connection)
    connection.setEncoding('utf8')
    connection.on(
      'data',
      unframer(
        toRecorderShape,
        (message) => {
          say({ ...message, client })
        },
        (text) => {
          say({ kind: 'garbled', client, text })
        },
      ),
    )
    connection.on('error', () => undefined)
    connection.on('close', () => {
      sockets.delete(client)
      say({ kind: 'gone', client })
    })
  })
  server.on('error', (error) => {
    announce({ trouble: `the recorder cannot listen on ${socketPath}: ${error.message}` }, 6)
  })
  server.listen(socketPath, () => {
    announce({ ready: true })
  })
  const ticking = setInterval(() => {
    say({ kind: 'tick' })
  }, 100)
  process.on('SIGTERM', () => {
    say({ kind: 'told to end' })
  })
}

/** The socket's private folder, when nothing else lies in it. */
function removeFolder(folder: string): void {
  try {
    rmdirSync(folder)
  } catch {
    // Left for the system to tidy.
  }
}

type DistributedOmit<T, K extends PropertyKey> = T extends unknown ? Omit<T, K> : never
