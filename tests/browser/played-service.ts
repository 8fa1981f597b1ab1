import { readFileSync } from 'node:fs'
import { createServer, type IncomingMessage, type ServerResponse } from 'node:http'
import type { AddressInfo } from 'node:net'
import { extname, join, normalize } from 'node:path'
import { performance } from 'node:perf_hooks'
import type { Plan } from '../../src/plan/index.js'
import { beginStream, Streams, type Viewer } from '../../src/service/streams.js'
import { type EventData, type EventName, may, type Role, type Snapshot } from '../../src/service/api/index.js'

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
  /** Who the page is here. A device that is not paired becomes one by giving a code. */
  is(role: Role): void
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

export async function playService(first: Omit<Snapshot, 'now_ms'>, plan: Plan): Promise<PlayedService> {
  const done: PlayedService['done'] = []
  const documents: PlayedService['documents'] = {}
  let snapshot = first
  let quiet = false
  let role: Role = 'bench'
  const me = () => ({
    role,
    may: may[role],
    name: role === 'paired' ? 'phone' : null,
    open_to: role === 'bench' ? 'this machine' : 'network',
    unwatched_s: 120,
    version: '0',
    epoch: snapshot.epoch,
  })
  const unpaired = {
    error: {
      code: 'not paired',
      what: 'This device is not paired.',
      remedy: null,
      where: null,
      problems: [],
    },
  }
  let answer: (path: string, body: unknown) => number | 'nothing' = () => 200
  const now_ms = (): number => performance.now()
  const streams: Streams = new Streams(() => ({
    now_ms: now_ms(),
    phase: snapshot.phase,
    viewers: streams.count,
  }))
  /** As the service writes it, while there is anything to be heard. */
  const heard = (to: ServerResponse): Viewer['raw'] =>
    Object.assign(Object.create(to) as ServerResponse, {
      write: (bytes: Uint8Array) => quiet || to.write(bytes),
      socket: null,
    })
  const server = createServer((request, response) => {
    void serve(request, response)
  })
  async function serve(request: IncomingMessage, response: ServerResponse): Promise<void> {
    const path = (request.url ?? '/').split('?')[0] ?? '/'
    const json = (value: unknown, status = 200): void => {
      response.writeHead(status, { 'content-type': 'application/json' }).end(JSON.stringify(value))
    }
    if (role === 'none' && path.startsWith('/api/') && !['/api/me', '/api/pair'].includes(path))
      json(unpaired, 401)
    else if (path === '/api/live/events') {
      beginStream(response)
      streams.add(
        { raw: heard(response), here: true, word: true, browser: null },
        { ...snapshot, now_ms: now_ms(), viewers: streams.count + 1 },
      )
    } else if (path === '/api/live/here') json({ watched: true })
    else if (path === '/api/me') json(me())
    else if (path === '/api/pair') {
      done.push({ path, body: await bodyOf(request) })
      role = 'paired'
      json(me())
    } else if (path === '/api/live/plan') json(plan)
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
  return {
    address: `http://127.0.0.1:${(server.address() as AddressInfo).port}/`,
    done,
    documents,
    now_ms,
    send(kind, data) {
      if (kind === 'snapshot') snapshot = data as Omit<Snapshot, 'now_ms'>
      streams.send(kind, { now_ms: now_ms(), ...data } as EventData<typeof kind>)
    },
    hush(now) {
      quiet = now
    },
    answers(with_) {
      answer = with_
    },
    viewers: () => streams.count,
    is(next) {
      role = next
    },
    async close() {
      streams.end('over')
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
