export type { OffAct, OffInput, OffResult, OffStart, OffState } from './types.js'
export { handsMissing, handToAsk, offBegin, offStep, urgentChannels } from './engine.js'
export { biasStays } from './end.js'
export { off_V } from './rails.js'
