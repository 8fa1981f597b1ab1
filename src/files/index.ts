export type { Problem } from '../quantities/index.js'
export { qualificationFile, qualificationPath, readQualification } from './qualification.js'
export {
  fromText,
  kindOf,
  loadAll,
  loadBench,
  loadEquipment,
  loadProfile,
  type Kind,
  type Loaded,
  type LoadedAll,
} from './load.js'
