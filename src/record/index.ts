export type * from './types.js'
export type { Seal } from './chain.js'
export { type Exported, exportRun, type Format } from './export.js'
export { type ComparedRail, type ComparedStep, type Comparison, compareRuns } from './compare.js'
export { formedOf as formedIn, type FormedStory } from './formed.js'
export { type FormingTime, formingTimeOf } from './forming-time.js'
export { type Series, type SetTrend, type Trend, trendLines, trendOf, type Work } from './trend.js'
export { addNote, type Note } from './note.js'
export { dataFolder } from './data-folder.js'
export { type Fallback, openFallback } from './fallback.js'
export { type Rest, restPlaces } from './rest.js'
export { runFileName, runNameOf } from './names.js'
export { openRunFile, type Readings, type RunReader } from './reader.js'
export {
  type Band,
  bandsOf,
  type EachColumn,
  type EachReading,
  eventsIn,
  lookAt,
  readRun,
  type TraceWish,
  type Window,
} from './look.js'
export type { Standing } from './open.js'
export type { Overview, OverviewColumn } from './thin.js'
export { type RecorderStart, type StartedRecorder, startRecorder } from './start.js'
export { RecordTrouble } from './trouble.js'
export { createRunFile, type RunFileOptions, type RunWriter } from './writer.js'
export { type Archived, archiveRuns } from './archive.js'
export {
  findRun,
  holdsRuns,
  lastRunOf,
  listRuns,
  type RunLine,
  runsOfSet,
  unlistedIn,
  whereIsRun,
} from './find.js'
export {
  type Because,
  type OffWord,
  type RailStory,
  type RuleWord,
  type StepStory,
  type Story,
  storyOf,
} from './story.js'
