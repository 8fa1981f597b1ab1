import * as z from 'zod'
import { type Act, meShape, pairBody, statusShape } from './access.js'
import { type ErrorCode, errorShape } from './common.js'
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
  snapshotShape,
  startBody,
  stopBody,
} from './live.js'
import { type RouteName, paths } from './paths.js'
import { planBody, planDocumentShape, plannedShape, suppliesBody, suppliesShape } from './plans.js'
import {
  compareQuery,
  comparisonShape,
  exportQuery,
  inForceQuery,
  inForceShape,
  noteBody,
  noteShape,
  replayQuery,
  replayShape,
  runParams,
  runPlanShape,
  runsQuery,
  runsShape,
  sealShape,
  storyShape,
  tracesQuery,
  tracesShape,
  trendQuery,
  trendShape,
} from './runs.js'
import {
  bookShape,
  coverageBody,
  coverageShape,
  diagnosisBody,
  diagnosisShape,
  entryBody,
  photographQuery,
  pictureQuery,
  proofsShape,
  proveBody,
  provedShape,
  readingsBody,
  setPageQuery,
  setQuery,
  worksheetShape,
} from './sets.js'

/** One way in: who may use it, what goes in, what comes back. `media`: what comes back is no JSON. */
export interface RouteShape {
  readonly act: Act
  readonly summary: string
  readonly tag: 'access' | 'files' | 'plans' | 'sets' | 'runs' | 'live'
  readonly params?: z.ZodType
  readonly query?: z.ZodType
  readonly body?: z.ZodType
  readonly reply: z.ZodType
  readonly media?: string
  /** Errors of its own, beside those that any may give (`everywhere`). */
  readonly errors?: Readonly<Partial<Record<400 | 404 | 409 | 413 | 422 | 503, readonly ErrorCode[]>>>
}
/** Any way in may answer so; the body is `errorShape`. */
export const everywhere = {
  400: ['bad request'],
  401: ['not paired'],
  403: ['not allowed', 'wrong origin'],
  413: ['too large'],
  429: ['too many'],
  500: ['our fault'],
} as const satisfies Readonly<Record<number, readonly ErrorCode[]>>

const gone = { 404: ['not found'] } as const
const reading = { ...gone, 503: ['busy', 'record not available'] } as const
const planning = { ...gone, 422: ['findings', 'no bench', 'bad request'], 503: ['busy'] } as const
const ofSet = { ...gone, 422: ['findings', 'bad request'], 503: ['busy', 'record not available'] } as const
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

  worksheet: {
    act: 'see',
    tag: 'sets',
    summary: 'The cold checks of a set: what each should read, how and why, and how it stands',
    query: setQuery,
    reply: worksheetShape,
    errors: ofSet,
  },
  keepReadings: {
    act: 'add to the book',
    tag: 'sets',
    summary: 'Keep readings of the cold set, judged at once; all of them or none',
    body: readingsBody,
    reply: worksheetShape,
    errors: ofSet,
  },
  book: {
    act: 'see',
    tag: 'sets',
    summary: "The set's life: findings, repairs, readings, runs and proofs, in order",
    query: setQuery,
    reply: bookShape,
    errors: ofSet,
  },
  writeBook: {
    act: 'write',
    tag: 'sets',
    summary: "Write into the set's book. What stands in it stays",
    body: entryBody,
    reply: bookShape,
    errors: ofSet,
  },
  proofs: {
    act: 'see',
    tag: 'sets',
    summary: 'The proofs at radio frequency that can be kept: what is read for each, and with which cautions',
    query: setQuery,
    reply: proofsShape,
    errors: ofSet,
  },
  prove: {
    act: 'write',
    tag: 'sets',
    summary: "Readings at radio frequency, computed, judged and kept in the set's book",
    body: proveBody,
    reply: provedShape,
    errors: ofSet,
  },
  addPhotograph: {
    act: 'add to the book',
    tag: 'sets',
    summary: "Attach a photograph to the set's book; the body is the picture: JPEG, PNG or WebP",
    query: photographQuery,
    reply: bookShape,
    errors: ofSet,
  },
  photograph: {
    act: 'see',
    tag: 'sets',
    summary: 'A photograph of the book as it was attached',
    query: pictureQuery,
    reply: z.string(),
    media: 'image/*',
    errors: ofSet,
  },
  setPage: {
    act: 'see',
    tag: 'sets',
    summary: "The set's book, its cold-check sheet or its test record as one page to print",
    query: setPageQuery,
    reply: z.string(),
    media: 'text/html',
    errors: ofSet,
  },
  archive: {
    act: 'see',
    tag: 'sets',
    summary: 'Everything kept of the set as one tar file',
    query: setQuery,
    reply: z.string(),
    media: 'application/x-tar',
    errors: ofSet,
  },
  coverage: {
    act: 'see',
    tag: 'sets',
    summary:
      'Every single fault of the set tried against the plan: which it notices, when, and with what stress',
    body: coverageBody,
    reply: coverageShape,
    errors: planning,
  },

  runs: {
    act: 'see',
    tag: 'runs',
    summary: 'The runs that are kept, oldest first',
    query: runsQuery,
    reply: runsShape,
    errors: { 503: ['busy'] },
  },
  run: {
    act: 'see',
    tag: 'runs',
    summary: 'A run told',
    params: runParams,
    reply: storyShape,
    errors: reading,
  },
  seal: {
    act: 'see',
    tag: 'runs',
    summary: 'Whether the measured part of a run is as it was written',
    params: runParams,
    reply: sealShape,
    errors: reading,
  },
  runPlan: {
    act: 'see',
    tag: 'runs',
    summary: 'The plan as it was run',
    params: runParams,
    reply: runPlanShape,
    errors: reading,
  },
  traces: {
    act: 'see',
    tag: 'runs',
    summary: 'What was measured in a window of time, at the width of a plot',
    params: runParams,
    query: tracesQuery,
    reply: tracesShape,
    errors: reading,
  },
  inForce: {
    act: 'see',
    tag: 'runs',
    summary: 'What each rail’s current was held against at every moment: the record, fed again',
    params: runParams,
    query: inForceQuery,
    reply: inForceShape,
    errors: reading,
  },
  addNote: {
    act: 'write',
    tag: 'runs',
    summary: 'Write a note to a run that ended; the measured part stays as it is',
    params: runParams,
    body: noteBody,
    reply: noteShape,
    errors: { ...reading, 409: ['record not available'] },
  },
  report: {
    act: 'see',
    tag: 'runs',
    summary: 'The run as one printable page',
    params: runParams,
    reply: z.string(),
    media: 'text/html',
    errors: reading,
  },
  export: {
    act: 'see',
    tag: 'runs',
    summary: 'The run for other programs',
    params: runParams,
    query: exportQuery,
    reply: z.string(),
    media: 'application/octet-stream',
    errors: reading,
  },
  replay: {
    act: 'see',
    tag: 'runs',
    summary: 'The recorded run through today’s decisions, or judged by the plan of another profile',
    params: runParams,
    query: replayQuery,
    reply: replayShape,
    errors: { ...reading, 422: ['findings', 'no bench', 'bad request'] },
  },
  diagnosis: {
    act: 'see',
    tag: 'runs',
    summary: 'Ranked causes of what a run measured, and the next reading that parts them best',
    params: runParams,
    body: diagnosisBody,
    reply: diagnosisShape,
    errors: { ...reading, 422: ['bad request'] },
  },
  compare: {
    act: 'see',
    tag: 'runs',
    summary: 'Two runs step by step',
    query: compareQuery,
    reply: comparisonShape,
    errors: reading,
  },
  trend: {
    act: 'see',
    tag: 'runs',
    summary: 'A set over its runs',
    query: trendQuery,
    reply: trendShape,
    errors: reading,
  },

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
