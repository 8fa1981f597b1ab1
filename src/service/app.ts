import { existsSync } from 'node:fs'
import cookie from '@fastify/cookie'
import helmet from '@fastify/helmet'
import rateLimit from '@fastify/rate-limit'
import files from '@fastify/static'
import swagger from '@fastify/swagger'
import Fastify, { type FastifyInstance, type FastifyRequest } from 'fastify'
import { createJsonSchemaTransform, serializerCompiler, validatorCompiler } from 'fastify-type-provider-zod'
import { answerError, asJson } from './answers.js'
import { Refused } from './api/index.js'
import type { AppParts } from './app-parts.js'
import { forbids, type Who, whoAsks } from './guard.js'
import { openApi } from './openapi.js'
import { cookieName, most_body_bytes, ways } from './ways.js'

const pictures = ['image/jpeg', 'image/png', 'image/webp'] as const
const per_minute_here = 6000
const per_minute_away = 900

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
  app.setErrorHandler((error, _request, reply) => answerError(error, reply, parts.fault))
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
