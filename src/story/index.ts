export type * from './types.js'
export { happened, streamIds, streamsOf, toldOfEvent, toldOfRecord, type StreamIds } from './tell.js'
export { lastTyped, runEnding, storedCharge } from './ending.js'
