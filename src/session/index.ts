export { type Answer, answerOf, noMeans } from './answer.js'
export { configAtSpeed, offAtSpeed, planAtSpeed } from './at-speed.js'
export { type FromBench, toBenchShape } from './bench-messages.js'
export { coldObjection } from './cold-checks.js'
export { byHand, closingText, endingSentence, lineFaultLines } from './closing.js'
export { type Cleared, clearFormerRun } from './former-run.js'
export { hookedUpAsIn } from './hooked-up.js'
export { besideLines, interruptedLines } from './interrupted.js'
export {
  chargeLines,
  chargeOf,
  handsOpen,
  measuredLine,
  offSaid,
  type OffSaid,
  openHandLines,
  outputsOpen,
  railLines,
} from './off-words.js'
export { type OpenBench, openBench } from './opening.js'
export { placesOf, virtualAs } from './places.js'
export { inUnit, reasonFigures } from './reason-words.js'
export type { BenchProcess } from './start-bench.js'
export { Stops } from './stops.js'
export { type Acknowledged, superviseRun } from './supervised.js'
export { givenUp, type NotBegun, type Ran, type Ready, type Start } from './types.js'
export { type Awake, inhibitSleep } from './inhibit.js'
export { objected, placesTold, sleeps, unattendedObjections } from './unattended.js'
export { VirtualHands } from './virtual-hands.js'
