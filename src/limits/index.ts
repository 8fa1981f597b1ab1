export type * from './types.js'
export {
  charge_C,
  dischargeTime_s,
  parallel_ohm,
  storedEnergy_J,
  voltsAfter_V,
} from './discharge.js'
export {
  benchRails,
  channelsOf,
  settingStep,
  standingLoad_ohm,
  terminalBleeder_ohm,
  bleederTolerance,
  type NamedChannel,
} from './bench-rails.js'
export { chartCurrents, type ChartCurrents, type ChartShare, type Lack } from './chart-currents.js'
export {
  asRead_V,
  coldReadings,
  nodeMeter,
  railOhm,
  type ColdReading,
  type NodeMeter,
} from './chart-nodes.js'
export { linesIn, nodeOhm } from './chart-lines.js'
export { lostUntold } from './driven-rails.js'
export { lackingOf } from './lacking.js'
export { networkOhms, networkReadings, type NetworkReading } from './chart-network.js'
export { clippedOn, createLimits, type LimitsDesk, type PointLimits, type Raising } from './desk.js'
export {
  chainsOf,
  type HeaterElement,
  heaterElements,
  heatersOn,
  heaterWindow,
  heaterWindow_ohm,
  softStart,
  softStart_s,
} from './heaters.js'
export { type HeaterChange, heaterPoint } from './heater-chains.js'
export { type FilamentStage, filamentStages } from './filaments.js'
export { heaterWarming } from './heater-warming.js'
export { heaterSigns } from './heater-signs.js'
export type { GasStates } from './paths.js'
export { inWords, type SetPoints } from './guards.js'
export { letThrough } from './let-through.js'
export { ownerOf, sampleElements } from './sampling.js'
export { ratingFactor, stresses } from './ratings.js'
export type { Stress } from './stress.js'
export { floor_A, show } from './rail-limits.js'
export { fitLogNormal, logNormalPoint, quantile } from './spread.js'
