export type * from './types.js'
export type { State } from './state.js'
export { begin, step, type Stepped } from './sequencer.js'
export { view } from './view.js'
