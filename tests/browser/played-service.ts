import { readFileSync } from 'node:fs'
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { extname, join, normalize } from 'node:path'
import { performance } from 'node:perf_hooks'
import type { Plan } from '../../src/plan/index.js'
import { acts, type EventData, type EventName, type Snapshot } from '../../src/service/api/index.js'

/**
 * A service that says what a test wants said, where the real one cannot be brought to say it: a line that goes quiet, an output
 * that does not fall. The page it serves is the built one, under the strictest policy.
 */
export interface PlayedService {
  readonly address: string
  /** Everything the page asked to be done: path and body. */
  readonly done: { readonly path: string; readonly body: unknown }[]
  /** Sent to every viewer, and to those who come later as their first snapshot where it is one. */
  send<K extends EventName>(kind: K, data: Omit<EventData<K>, 'now_ms'>): void
  now_ms(): number
  /** Nothing more is said, and lines stay open: a laptop lid, a cable pulled. */
  hush(quiet: boolean): void
  /** Acts are answered with this, or not at all. */
  answers(with_: (path: string, body: unknown) => number | 'nothing'): void
  viewers(): number
  /** Documents that are asked for, by the begin of their path. */
  documents: Record<string, (query: URLSearchParams, body: unknown) => unknown>
  close(): Promise<void>
}

const types: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript',
  '.css': 'text/css',
  '.svg': 'image/svg+xml',
}
const policy =
  "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
const beat_ms = 250

export async function playService(first: Omit<Snapshot, 'now_ms'>, plan: Plan): Promise<PlayedService> {
  const open = new Set<ServerResponse>()
  const done: PlayedService['done'] = []
  const documents: PlayedService['documents'] = {}
  let snapshot = first
  let quiet = false
  let answer: (path: string, body: unknown) => number | 'nothing' = () => 200
  const now_ms = (): number => performance.now()
  const write = (to: ServerResponse, kind: EventName, data: object): void => {
    if (!quiet) to.write(`event: ${kind}\ndata: ${JSON.stringify({ now_ms: now_ms(), ...data })}\n\n`)
  }
  const server = createServer((request, response) => {
    void serve(request, response)
  })
  async function serve(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const path = (request.url ?? '/').split('?')[0] ?? '/'
    const json = (value: unknown, status = 200): void => {
      response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(value))
    }
    if (path === '/api/live/events') {
      response.writeHead(200, { 'content-type': 'text/event-stream', 'cache-control': 'no-store' })
      open.add(response)
      request.on('close', () => open.delete(response))
      write(response, 'snapshot', { ...snapshot, viewers: open.size })
    } else if (path === '/api/live/here') json({ watched: true })
    else if (path === '/api/me')
      json({
        role: 'bench',
        may: acts,
        name: null,
        open_to: 'this machine',
        version: '0',
        epoch: snapshot.epoch,
      })
    else if (path === '/api/live/plan') json(plan)
    else if (path === '/api/files' && documents[path] === undefined)
      json({ folder: 'played', files: [], left_out: 0 })
    else if (documents[path] !== undefined)
      json(documents[path](new URL(request.url ?? '/', 'http://played').searchParams, await bodyOf(request)))
    else if (request.method === 'POST') {
      const body = await bodyOf(request)
      done.push({ path, body })
      const status = answer(path, body)
      if (status === 'nothing') return
      json(
        status < 300
          ? {}
          : { error: { code: 'our fault', what: 'Played.', remedy: null, where: null, problems: [] } },
        status,
      )
    } else {
      const file = normalize(path === '/' ? '/index.html' : path)
      try {
        const text = readFileSync(join('dist/console', file))
        response
          .writeHead(200, {
            'content-type': types[extname(file)] ?? 'text/plain',
            'content-security-policy': policy,
          })
          .end(text)
      } catch {
        json(
          { error: { code: 'not found', what: 'Not here.', remedy: null, where: null, problems: [] } },
          404,
        )
      }
    }
  }
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const beats = setInterval(() => {
    for (const each of open) write(each, 'beat', { phase: snapshot.phase, viewers: open.size })
  }, beat_ms)
  return {
    address: `http://127.0.0.1:${(server.address() as AddressInfo).port}/`,
    done,
    documents,
    now_ms,
    send(kind, data) {
      if (kind === 'snapshot') snapshot = data as Omit<Snapshot, 'now_ms'>
      for (const each of open) write(each, kind, data)
    },
    hush(now) {
      quiet = now
    },
    answers(with_) {
      answer = with_
    },
    viewers: () => open.size,
    async close() {
      clearInterval(beats)
      server.closeAllConnections()
      await new Promise((resolve) => server.close(resolve))
    },
  }
}

async function bodyOf(request: IncomingMessage): Promise<unknown> {
  let text = ''
  for await (const chunk of request) text += String(chunk)
  return text === '' ? null : (JSON.parse(text) as unknown)
}
