import type { OutgoingHttpHeaders } from 'node:http'
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { FastifyInstance, FastifyReply, FastifyRequest } from 'fastify'
import type * as z from 'zod'
import { asJson, attached, printed, sentOn } from './answers.js'
import {
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
import type { DeskQuestions } from './desk-questions.js'
import type { Who } from './guard.js'
import { seesWord } from './live.js'
import { schemaFor } from './openapi.js'
import { paired_for_s } from './pairing.js'
import type { AppParts } from './app-parts.js'
import { beginStream } from './streams.js'

export const cookieName = 'slowglow_device'
/** Texts of files are half a million characters at most; two of them and their JSON fit. */
export const most_body_bytes = 2_000_000
const pairs_per_minute = 10
/** Each is held whole for a moment. */
const pictures_per_minute = 20

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

/** Every way in, with its shapes and its bounds. What each does is here; what is heavy is asked of the desk. */
export function ways(app: FastifyInstance, parts: AppParts): void {
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
    liveHeld: () => live.held.told(),
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

/** By whom a book says it was written: a name that was given stands beside what the service knows, never in place of it. */
const signed = (by: string | undefined, who: Who): string =>
  by === undefined ? who.called : `${by} (${who.called})`
