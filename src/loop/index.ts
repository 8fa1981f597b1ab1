export {
  createLoop,
  laidReady,
  loopStep,
  type Loop,
  type LoopInput,
  type LoopOutput,
  type Looped,
} from './loop.js'
