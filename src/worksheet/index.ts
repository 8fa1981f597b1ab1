export type * from './types.js'
export { judgeReading, judgeValue, type Judged, type Unread, valueText } from './judge.js'
export { type ColdFact, coldChecksOf, type ItemStanding, standingOf } from './standing.js'
export { makeWorksheet } from './worksheet.js'
