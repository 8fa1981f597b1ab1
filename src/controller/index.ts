export { placeShape } from './messages.js'
export type { Place } from './messages.js'
