export {
  createLoop,
  firstLook,
  type Given,
  laidReady,
  loopStep,
  type Loop,
  type LoopInput,
  type LoopOutput,
  type Looped,
} from './loop.js'
