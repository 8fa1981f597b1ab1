import { createReadStream, existsSync, rmSync } from 'node:fs'
import type { OutgoingHttpHeaders } from 'node:http'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import cookie from '@fastify/cookie'
import helmet from '@fastify/helmet'
import rateLimit from '@fastify/rate-limit'
import files from '@fastify/static'
import swagger from '@fastify/swagger'
import Fastify, { type FastifyInstance, type FastifyReply, type FastifyRequest } from 'fastify'
import {
  createJsonSchemaTransform,
  hasZodFastifySchemaValidationErrors,
  serializerCompiler,
  validatorCompiler,
} from 'fastify-type-provider-zod'
import type * as z from 'zod'
import {
  type Act,
  bookShape,
  may,
  most_picture_bytes,
  paths,
  Refused,
  type Reply,
  type RouteName,
  routes,
  type RouteShape,
} from './api/index.js'
import type { Patience } from './connections.js'
import type { Desk } from './desk.js'
import type { DeskQuestions } from './desk-questions.js'
import { forbids, type Who, whoAsks } from './guard.js'
import { type Live, seesWord } from './live.js'
import { openApi, schemaFor } from './openapi.js'
import { type Device, paired_for_s, type Pairing } from './pairing.js'
import { beginStream, type Streams } from './streams.js'

export interface AppParts {
  readonly desk: Desk
  readonly live: Live
  readonly streams: Streams
  readonly pairing: Pairing | null
  /** Every name and address, with the port, by which this service may be called. Filled once the port is known. */
  readonly hosts: ReadonlySet<string>
  readonly epoch: string
  readonly version: string
  readonly up_s: () => number
  readonly unwatched_s: number
  /** How long a request may take to come. */
  readonly patience: Patience
  /** Folder of the built page; null: there is none. */
  readonly page: string | null
  /** A device gave the code. */
  readonly paired: (device: Device) => void
  /** A fault of our own, told in the terminal. */
  readonly fault: (text: string) => void
}

declare module 'fastify' {
  interface FastifyRequest {
    who: Who | null
  }
  interface FastifyContextConfig {
    act?: Act
  }
}

const cookieName = 'slowglow_device'
/** Texts of files are half a million characters at most; two of them and their JSON fit. */
const most_body_bytes = 2_000_000
const pictures = ['image/jpeg', 'image/png', 'image/webp'] as const
const per_minute_here = 6000
const per_minute_away = 900
const pairs_per_minute = 10
/** Each is held whole for a moment. */
const pictures_per_minute = 20

/** The whole HTTP side. Nothing in it decides about a run: it asks the desk, and passes acts on to `live`. */
export async function makeApp(parts: AppParts): Promise<FastifyInstance> {
  const app = Fastify({
    bodyLimit: most_body_bytes,
    requestTimeout: parts.patience.requestTimeout,
    http: parts.patience,
    forceCloseConnections: true,
    routerOptions: { maxParamLength: 300 },
  })
  app.setValidatorCompiler(validatorCompiler)
  app.setSerializerCompiler(serializerCompiler)
  app.decorateRequest('who', null)
  app.setErrorHandler((error, _request, reply) => answerError(error, reply, parts))
  await app.register(helmet, {
    // Plain HTTP on purpose: it is reached on loopback, or on a network that its owner opened it to.
    strictTransportSecurity: false,
    contentSecurityPolicy: {
      useDefaults: false,
      directives: {
        defaultSrc: ["'none'"],
        scriptSrc: ["'self'"],
        workerSrc: ["'self'"],
        styleSrc: ["'self'"],
        imgSrc: ["'self'", 'data:', 'blob:'],
        fontSrc: ["'self'"],
        connectSrc: ["'self'"],
        manifestSrc: ["'self'"],
        baseUri: ["'none'"],
        formAction: ["'none'"],
        frameAncestors: ["'none'"],
      },
    },
    crossOriginEmbedderPolicy: false,
    referrerPolicy: { policy: 'no-referrer' },
  })
  await app.register(cookie)
  app.addHook('onRequest', (request, _reply, done) => {
    const who = identified(request, parts)
    if (who instanceof Refused) {
      done(who)
      return
    }
    request.who = who
    const { act } = request.routeOptions.config
    done((act === undefined ? null : forbids(who, act)) ?? undefined)
  })
  await app.register(rateLimit, {
    timeWindow: 60_000,
    max: (request) => (request.who?.role === 'bench' ? per_minute_here : per_minute_away),
    // A stop is never one too many.
    allowList: (request) => request.routeOptions.config.act === 'stop',
    errorResponseBuilder: (_request, { after }) =>
      new Refused(429, 'too many', `Too many requests from here; the next is answered in ${after}.`, {
        remedy: 'A stop is never held back by this.',
      }),
  })
  // A stop carries what its sender likes; nobody's header keeps it out.
  app.addContentTypeParser('*', { parseAs: 'string' }, (request, _body, done) => {
    if (request.routeOptions.config.act === 'stop') done(null, undefined)
    else done(new Refused(400, 'bad request', 'The body is not JSON.', { remedy: 'Send application/json.' }))
  })
  app.addContentTypeParser([...pictures], { parseAs: 'buffer' }, (_request, body, done) => {
    done(null, body)
  })
  await app.register(swagger, {
    openapi: openApi(parts.version),
    transform: createJsonSchemaTransform({ zodToJsonConfig: { unrepresentable: 'any' } }),
  })
  let document = ''
  await app.register((scope, _options, done) => {
    ways(scope, parts)
    scope.get(
      '/api/openapi.json',
      { schema: { hide: true }, config: { act: 'introduce' } },
      (_request, reply) => asJson(reply, document),
    )
    done()
  })
  if (parts.page !== null && existsSync(parts.page))
    await app.register(files, {
      root: parts.page,
      cacheControl: true,
      // Built files carry a mark of their contents in their names; the page itself is asked for each time.
      setHeaders: (reply, path) => {
        reply.setHeader(
          'cache-control',
          /-[\w-]{8,}\.\w+$/.test(path) ? 'public, max-age=31536000, immutable' : 'no-cache',
        )
      },
    })
  app.setNotFoundHandler((request, reply) => {
    const path = request.url.split('?')[0] ?? ''
    const { page } = parts
    if (request.method === 'GET' && !path.startsWith('/api/') && !/\.\w+$/.test(path)) {
      if (page !== null && existsSync(page)) return reply.sendFile('index.html')
      return reply.type('text/plain; charset=utf-8').send(`${noPage}\n`)
    }
    throw new Refused(404, 'not found', `There is nothing at ${path}.`, {
      remedy: 'GET /api/openapi.json tells what there is.',
    })
  })
  await app.ready()
  // Made now: while a run is under way nothing here may take long.
  document = JSON.stringify(app.swagger())
  return app
}

const noPage =
  'The page of slowglow is not built here. `npm run build` builds it; the API is there all the same: /api/openapi.json'

function identified(request: FastifyRequest, { hosts, pairing }: AppParts): Who | Refused {
  const one = (name: string): string | undefined => {
    const value = request.headers[name]
    return Array.isArray(value) ? value.join(',') : value
  }
  return whoAsks(
    {
      remote: request.socket.remoteAddress ?? '',
      host: one('host'),
      origin: one('origin'),
      site: one('sec-fetch-site'),
      opens_page:
        request.method === 'GET' && one('sec-fetch-mode') === 'navigate' && !request.url.startsWith('/api'),
      forwarded: ['forwarded', 'via', 'x-forwarded-for', 'x-real-ip'].some((name) => one(name) !== undefined),
      device: pairing?.device(request.cookies[cookieName]) ?? null,
    },
    hosts,
  )
}

type Given<K extends RouteName, Part extends string> =
  (typeof routes)[K] extends Readonly<Record<Part, infer S extends z.ZodType>> ? z.output<S> : undefined
interface Call<K extends RouteName> {
  readonly params: Given<K, 'params'>
  readonly query: Given<K, 'query'>
  readonly body: Given<K, 'body'>
  readonly who: Who
  readonly request: FastifyRequest
  readonly reply: FastifyReply
}
type Ways = { readonly [K in RouteName]: (call: Call<K>) => unknown }

function ways(app: FastifyInstance, parts: AppParts): void {
  const { desk, live, streams, pairing } = parts
  const me = (who: Who): Reply<'me'> => ({
    role: who.role,
    may: [...may[who.role]],
    name: who.device?.name ?? null,
    open_to: pairing === null ? 'this machine' : 'network',
    unwatched_s: parts.unwatched_s,
    version: parts.version,
    epoch: parts.epoch,
  })
  const told =
    <K extends keyof DeskQuestions>(what: K) =>
    async (ask: Parameters<DeskQuestions[K]>[0], reply: FastifyReply): Promise<FastifyReply> =>
      asJson(reply, await desk.ask(what, ask))
  const shown = (who: Who, reply: FastifyReply): FastifyReply =>
    asJson(reply, JSON.stringify(live.snapshot(who)))

  const all: Ways = {
    me: ({ who }) => me(who),
    pair: ({ body, who, reply }) => {
      const given = pairing?.pair(body.code, body.name) ?? null
      if (given === null)
        throw new Refused(409, 'wrong code', 'That is not the code.', {
          remedy: 'Look at the terminal of `slowglow serve` for the one that stands there last.',
        })
      parts.paired(given.device)
      reply.setCookie(cookieName, given.token, {
        path: '/',
        httpOnly: true,
        sameSite: 'strict',
        maxAge: paired_for_s,
      })
      return me(who.role === 'bench' ? who : { ...who, role: 'paired', device: given.device })
    },
    unpair: ({ who, reply }) => {
      reply.clearCookie(cookieName, { path: '/' })
      return me(who.role === 'bench' ? who : { ...who, role: 'none', device: null })
    },
    status: () => ({
      epoch: parts.epoch,
      up_s: parts.up_s(),
      viewers: streams.count,
      viewers_most: streams.most,
      refused_viewers: streams.refused,
      dropped_slow: streams.dropped,
      frames_skipped: streams.skipped,
      desk: desk.counts,
    }),

    files: ({ reply }) => told('files')({}, reply),
    readFile: ({ query, reply }) => told('readFile')(query, reply),
    writeFile: ({ body, reply }) => told('writeFile')(body, reply),
    check: ({ body, reply }) => told('check')(body, reply),
    newSet: ({ body, reply }) => told('newSet')(body, reply),
    schema: ({ params, reply }) => told('schema')(params, reply),

    plan: ({ body, reply }) => told('plan')(body, reply),
    supplies: ({ body, reply }) => {
      if (live.underWay)
        throw new Refused(409, 'busy', 'A run is under way here.', {
          remedy: 'Its own figures are shown with it; ask the supplies when it has ended.',
        })
      return told('supplies')(body, reply)
    },

    worksheet: ({ query, reply }) => told('worksheet')(query, reply),
    keepReadings: ({ body, who, reply }) =>
      told('keepReadings')({ ...body, by: signed(body.by, who), at_bench: who.role === 'bench' }, reply),
    book: ({ query, reply }) => told('book')(query, reply),
    writeBook: ({ body, who, reply }) => told('writeBook')({ ...body, by: signed(body.by, who) }, reply),
    proofs: ({ query, reply }) => told('proofs')(query, reply),
    prove: ({ body, who, reply }) => told('prove')({ ...body, by: signed(body.by, who) }, reply),
    addPhotograph: async ({ query, who, request, reply }) => {
      if (!Buffer.isBuffer(request.body) || request.body.length === 0)
        throw new Refused(400, 'bad request', 'There is no picture in this request.', {
          remedy: 'Send a JPEG, PNG or WebP file as the body, with its own content-type.',
        })
      const folder = await mkdtemp(join(tmpdir(), 'slowglow-picture-'))
      try {
        const picture = join(folder, 'picture')
        await writeFile(picture, request.body)
        const text = await desk.ask('addPhotograph', { ...query, picture, by: signed(query.by, who) })
        live.attached(bookShape.parse(JSON.parse(text)), who)
        return await asJson(reply, text)
      } finally {
        await rm(folder, { recursive: true, force: true })
      }
    },
    photograph: async ({ query, reply }) => {
      const { file, type } = await desk.told('photograph', query)
      return sentOn(file, reply.type(type))
    },
    setPage: async ({ query, reply }) => printed((await desk.told('setPage', query)).html, reply),
    archive: async ({ query, reply }) => {
      const { file, name } = await desk.told('archive', query)
      return sentOn(file, attached(name, reply))
    },
    coverage: ({ body, reply }) => told('coverage')(body, reply),
    diagnosis: ({ params, body, reply }) => told('diagnosis')({ ...params, ...body }, reply),

    runs: ({ query, reply }) => told('runs')(query, reply),
    run: ({ params, reply }) => told('run')(params, reply),
    seal: ({ params, reply }) => told('seal')(params, reply),
    runPlan: ({ params, reply }) => told('runPlan')(params, reply),
    traces: ({ params, query, reply }) => told('traces')({ ...params, ...query }, reply),
    inForce: ({ params, query, reply }) => told('inForce')({ ...params, ...query }, reply),
    addNote: ({ params, body, who, reply }) =>
      told('addNote')({ ...params, text: body.text, by: signed(body.by, who) }, reply),
    report: async ({ params, reply }) => {
      const { html } = await desk.told('report', params)
      return printed(html, reply)
    },
    export: async ({ params, query, reply }) => {
      const { file, name } = await desk.told('export', { ...params, ...query })
      return sentOn(file, attached(name, reply))
    },
    replay: ({ params, query, reply }) => told('replay')({ ...params, ...query }, reply),
    compare: ({ query, reply }) => told('compare')(query, reply),
    trend: ({ query, reply }) =>
      told('trend')({ set: query.set, rehearsals: query.rehearsals === 'yes' }, reply),

    live: ({ who, reply }) => shown(who, reply),
    livePlan: ({ reply }) => asJson(reply, live.plan()),
    here: ({ who }) => {
      // A program that holds the stream open is nobody who watches.
      if (who.from_page) streams.watched()
      return { watched: who.from_page }
    },
    events: ({ query, who, reply }) => {
      const here = who.role === 'bench'
      if (!streams.hasRoom(here))
        throw new Refused(503, 'too many', 'Too many are watching already.', {
          remedy: 'Close a page elsewhere. A stop from here works without watching.',
        })
      reply.hijack()
      beginStream(reply.raw, reply.getHeaders() as OutgoingHttpHeaders)
      const viewer = { raw: reply.raw, here, word: seesWord(who), browser: query.browser ?? null }
      streams.add(viewer, live.snapshot(who))
      return reply
    },
    start: async ({ body, who, reply }) => {
      await live.start(body, who)
      return shown(who, reply)
    },
    acknowledge: ({ body, who, reply }) => {
      live.acknowledge(body, who)
      return shown(who, reply)
    },
    answer: ({ body, who, reply }) => {
      live.answer(body, who)
      return shown(who, reply)
    },
    hands: ({ body, who, reply }) => {
      live.hands(body, who)
      return shown(who, reply)
    },
    runDown: ({ body, who, reply }) => {
      live.stop(false, who, body?.by)
      return shown(who, reply)
    },
    stop: ({ body, who, reply }) => {
      live.stop(true, who, body?.by)
      return shown(who, reply)
    },
  }
  for (const name of Object.keys(paths) as RouteName[]) {
    const [method, url] = paths[name]
    const shape: RouteShape = routes[name]
    const work = all[name] as (call: object) => unknown
    app.route({
      method,
      url,
      schema: schemaFor(name, shape),
      bodyLimit: name === 'addPhotograph' ? most_picture_bytes : most_body_bytes,
      config: {
        act: shape.act,
        ...(name === 'pair' && { rateLimit: { max: pairs_per_minute, timeWindow: 60_000 } }),
        ...(name === 'addPhotograph' && { rateLimit: { max: pictures_per_minute, timeWindow: 60_000 } }),
      },
      handler: async (request, reply) => {
        const { params, query, body, who } = request
        if (who === null) throw new Refused(401, 'not paired', 'Nobody knows who asks.')
        return work({ params, query, body, who, request, reply })
      },
    })
  }
}

/** A page of its own, with its styles in it and no script: nothing in it may ever run here. */
const printed = (html: string, reply: FastifyReply): FastifyReply =>
  reply
    .type('text/html; charset=utf-8')
    .header(
      'content-security-policy',
      "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:",
    )
    .send(html)

const attached = (name: string, reply: FastifyReply): FastifyReply =>
  reply
    .type('application/octet-stream')
    .header('content-disposition', `attachment; filename*=UTF-8''${encodeURIComponent(name)}`)

/** A file that was made for this answer, and its folder, are gone once it is sent. */
function sentOn(file: string, reply: FastifyReply): FastifyReply {
  const stream = createReadStream(file)
  stream.on('close', () => {
    rmSync(dirname(file), { recursive: true, force: true })
  })
  return reply.header('cache-control', 'no-store').send(stream)
}

/** By whom a book says it was written: a name that was given stands beside what the service knows, never in place of it. */
const signed = (by: string | undefined, who: Who): string =>
  by === undefined ? who.called : `${by} (${who.called})`

/** Text that is JSON already goes out as it is. */
const asJson = (reply: FastifyReply, text: string): FastifyReply =>
  reply.type('application/json; charset=utf-8').header('cache-control', 'no-store').send(text)

function answerError(error: unknown, reply: FastifyReply, { fault }: AppParts): FastifyReply {
  const refused = refusedOf(error, fault)
  return asJson(reply.code(refused.status), JSON.stringify({ error: refused.error }))
}

function refusedOf(error: unknown, fault: (text: string) => void): Refused {
  if (error instanceof Refused) return error
  if (hasZodFastifySchemaValidationErrors(error)) {
    const said = error.validation.map(
      ({ instancePath, message }) =>
        `${instancePath.split('/').filter(Boolean).join('.') || (error.validationContext ?? 'request')}: ${message ?? ''}`,
    )
    return new Refused(400, 'bad request', `The request cannot be read: ${said.slice(0, 5).join('; ')}.`, {
      remedy: 'GET /api/openapi.json tells what is wanted.',
    })
  }
  const status = error instanceof Error && 'statusCode' in error ? error.statusCode : 500
  const text = error instanceof Error ? error.message : String(error)
  if (status === 413)
    return new Refused(413, 'too large', 'The request is larger than is taken here.', {
      remedy: 'A file of a set is some tens of kilobytes; a photograph may have 32 million bytes.',
    })
  if (typeof status === 'number' && status >= 400 && status < 500)
    return new Refused(400, 'bad request', `The request cannot be read: ${text}.`, {
      remedy: 'GET /api/openapi.json tells what is wanted.',
    })
  fault(error instanceof Error ? (error.stack ?? text) : text)
  return new Refused(500, 'our fault', 'The service failed at this, and says why in its terminal.', {
    remedy: 'A run under way is not touched by it. Tell us what the terminal says.',
  })
}
