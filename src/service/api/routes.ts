import * as z from 'zod'
import { meShape, pairBody, statusShape } from './access.js'
import { errorShape } from './common.js'
import {
  checkBody,
  checkShape,
  filesShape,
  newSetBody,
  newSetShape,
  readFileQuery,
  schemaParams,
  textShape,
  writeFileBody,
  writtenShape,
} from './files.js'
import {
  acknowledgeBody,
  answerBody,
  eventsQuery,
  handsBody,
  hereShape,
  liveHeldShape,
  snapshotShape,
  startBody,
  stopBody,
} from './live.js'
import { type RouteName, paths } from './paths.js'
import { planBody, planDocumentShape, plannedShape, suppliesBody, suppliesShape } from './plans.js'
import { gone, planning, type RouteShape } from './route.js'
import { runRoutes } from './run-routes.js'
import { setRoutes } from './set-routes.js'

const acting = { 409: ['nothing under way', 'busy'] } as const

export const routes = {
  me: { act: 'introduce', tag: 'access', summary: 'Who am I here, and what may I do', reply: meShape },
  pair: {
    act: 'introduce',
    tag: 'access',
    summary: 'Pair this device with the code printed in the terminal; sets a cookie',
    body: pairBody,
    reply: meShape,
    errors: { 409: ['wrong code'] },
  },
  unpair: { act: 'introduce', tag: 'access', summary: 'Forget this device', reply: meShape },
  status: { act: 'see', tag: 'access', summary: 'How the service does', reply: statusShape },

  files: {
    act: 'see',
    tag: 'files',
    summary: 'The equipment, bench and profile files of the folder',
    reply: filesShape,
    errors: { 503: ['busy'] },
  },
  readFile: {
    act: 'see',
    tag: 'files',
    summary: 'The text of a file',
    query: readFileQuery,
    reply: textShape,
    errors: { ...gone, 503: ['busy'] },
  },
  writeFile: {
    act: 'write',
    tag: 'files',
    summary: 'Write a text into the folder; nothing is written over unless its hash is given',
    body: writeFileBody,
    reply: writtenShape,
    errors: { ...gone, 409: ['exists', 'changed meanwhile'], 503: ['busy'] },
  },
  check: {
    act: 'see',
    tag: 'files',
    summary: 'All that is wrong with a text or a file and what it names, each with line and column',
    body: checkBody,
    reply: checkShape,
    errors: { ...gone, 503: ['busy'] },
  },
  newSet: {
    act: 'see',
    tag: 'files',
    summary: 'The questions of `slowglow new`, one after another; writes nothing',
    body: newSetBody,
    reply: newSetShape,
    errors: { 503: ['busy'] },
  },
  schema: {
    act: 'see',
    tag: 'files',
    summary: 'JSON Schema of a kind of file, for editors',
    params: schemaParams,
    reply: z.looseObject({}).describe('a JSON Schema, draft 2020-12'),
  },

  plan: {
    act: 'see',
    tag: 'plans',
    summary: 'The plan of a profile on a bench, with what is worth drawing; energises nothing',
    body: planBody,
    reply: plannedShape,
    errors: planning,
  },
  supplies: {
    act: 'ask supplies',
    tag: 'plans',
    summary: 'What is connected: identity, settings, state; changes nothing. Not while a run is under way',
    body: suppliesBody,
    reply: suppliesShape,
    errors: { ...planning, 409: ['busy'] },
  },

  ...setRoutes,
  ...runRoutes,

  live: {
    act: 'see',
    tag: 'live',
    summary: 'The run under way, or the last one shown',
    reply: snapshotShape,
  },
  livePlan: {
    act: 'see',
    tag: 'live',
    summary: 'The plan of the run under way as it is obeyed, with its figures and limits',
    reply: planDocumentShape,
    errors: { 409: ['nothing under way'] },
  },
  liveHeld: {
    act: 'see',
    tag: 'live',
    summary: 'What each rail’s current was held against in the last minutes of the run under way',
    reply: liveHeldShape,
  },
  events: {
    act: 'see',
    tag: 'live',
    summary: 'The run as it goes: server-sent events, named and shaped as in the schema `LiveEvents`',
    query: eventsQuery,
    reply: z.string(),
    media: 'text/event-stream',
    errors: { 503: ['too many'] },
  },
  here: {
    act: 'see',
    tag: 'live',
    summary: 'A page says that it is still there: a run that none watches is run down',
    reply: hereShape,
  },
  start: {
    act: 'start',
    tag: 'live',
    summary: 'Make a run ready up to its cautions. Energises nothing',
    body: startBody,
    reply: snapshotShape,
    errors: { ...planning, 409: ['busy', 'changed meanwhile'] },
  },
  acknowledge: {
    act: 'start',
    tag: 'live',
    summary: 'The cautions were read: the drawn word, typed. From here on outputs may be energised',
    body: acknowledgeBody,
    reply: snapshotShape,
    errors: { 409: ['nothing under way', 'wrong word'] },
  },
  answer: {
    act: 'answer a reading',
    tag: 'live',
    summary: 'Answer the question of a run; anything but a reading only on the bench machine',
    body: answerBody,
    reply: snapshotShape,
    errors: { 409: ['nothing under way', 'no such question'], 422: ['bad answer'] },
  },
  hands: {
    act: 'hands clear',
    tag: 'live',
    summary: 'Give or withhold "hands clear"',
    body: handsBody,
    reply: snapshotShape,
    errors: { 409: ['nothing under way', 'no such question'] },
  },
  runDown: {
    act: 'stop',
    tag: 'live',
    summary: 'Stop in order: HT down, then the rest',
    body: stopBody,
    reply: snapshotShape,
    errors: acting,
  },
  stop: {
    act: 'stop',
    tag: 'live',
    summary: 'Outputs off now: drive, screen and HT at once. Needs no body, waits for nothing',
    body: stopBody,
    reply: snapshotShape,
    errors: acting,
  },
} as const satisfies Readonly<Record<RouteName, RouteShape>>

type Routes = typeof routes
type Of<K extends RouteName, Part extends string> =
  Routes[K] extends Readonly<Record<Part, infer S extends z.ZodType>> ? S : never
/** What the caller writes; fields with a default may be left out. */
export type Params<K extends RouteName> = z.input<Of<K, 'params'>>
export type Query<K extends RouteName> = z.input<Of<K, 'query'>>
export type Body<K extends RouteName> = z.input<Of<K, 'body'>>
/** What comes back with 200. */
export type Reply<K extends RouteName> = z.output<Routes[K]['reply']>

export { errorShape, paths }
