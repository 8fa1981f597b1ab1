export type { OffAct, OffInput, OffResult, OffStart, OffState } from './types.js'
export { handsMissing, handToAsk, offBegin, offStep } from './engine.js'
export { off_V } from './rails.js'
