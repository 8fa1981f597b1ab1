export {
  agrees,
  type Checkable,
  type Difference,
  differencesOf,
  figuresOf,
  inForce,
  isRatingSystem,
  type OwnerCheck,
  withChecks,
} from './checks.js'
export {
  type Driven,
  drivenAdd,
  type DrivenBy,
  type DrivenFigures,
  drivenOf,
  type DrivenSlopes,
  drivenSlopes,
  ratingOf,
  servicesOf,
  typicalOf,
} from './driven.js'
export { defineTube } from './define.js'
export { allTypes, findTube, sameName } from './find.js'
export { diodeCurrent, diodeWithSlope, regulatorVolts } from './diodes.js'
export {
  type ColdRatio,
  coldRatio,
  coldResistance,
  heaterCurrent,
  heaterWithSlope,
  lampLife,
} from './heaters.js'
export {
  astrayPlate,
  bandAmps,
  screenBand,
  screenBandOfKind,
  type ScreenTubeSlopes,
  screenTubeCurrents,
  screenTubeWithSlopes,
  type TriodeSlopes,
  triodeConnectedCurrents,
  triodeCurrents,
  triodeWithSlopes,
} from './models.js'
export { ratingsOf } from './ratings.js'
export { rectified, rectified_V, type RectifiedSource } from './rectified.js'
export { emissionAt, emissionReserve } from './starved.js'
export { tungstenKelvin, tungstenResistivity } from './tungsten.js'
export { ambient_K, heatContent_s, heatingRate_K_per_s, type ThermalHeater, warmOhm } from './warming.js'
export type * from './types.js'
