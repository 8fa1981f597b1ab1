export type * from './types.js'
export {
  bleederFor_ohm,
  charge_C,
  dischargeTime_s,
  parallel_ohm,
  storedEnergy_J,
  voltsAfter_V,
} from './discharge.js'
