export type * from './types.js'
export { equipmentShape } from './shape.js'
export { otherControls } from './charts.js'
export {
  biasRailOf,
  type DrivenDraw,
  drivenDraw,
  drivenRating,
  drivenStages,
  figuresOf,
  gridPart,
  knownServices,
  type KnownFigures,
  type KnownRating,
  modulatorRails,
  type ModulatorRail,
  modulatorsOf,
  plateRailOf,
  type RatedFigure,
  saidFromMemory,
  type StageInMode,
} from './driven.js'
export { readEquipment } from './read.js'
export { type OwnTypes, readOwnTypes } from './own-types.js'
export { ownerDifferences, recordOf, withOwnerChecks } from './known.js'
export { chainAmps, filamentOf, heaterEnds, type FilamentBias } from './filaments.js'
export { heaterRating } from './heaters.js'
export { middleAtChassis, nodesOf } from './meaning.js'
export { ownMainsRail, ownRectified } from './own-mains.js'
export { isScreenStandIn, isStandIn, type Uncharted, unchartedSections } from './stand-in.js'
export {
  jumperOf,
  sectionName,
  toNetwork,
  type ClippedMeter,
  type Feed,
  type NetworkOptions,
} from './network.js'
