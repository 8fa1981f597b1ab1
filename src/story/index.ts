export type * from './types.js'
export {
  happened,
  streamIds,
  streamsOf,
  toldOfEvent,
  toldOfLine,
  toldOfRecord,
  toldOfRequest,
  type StreamIds,
} from './tell.js'
export { fedOf, judgementOf } from './reread.js'
export { lastTyped, runEnding, storedCharge } from './ending.js'
