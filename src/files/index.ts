export type { Problem } from '../quantities/index.js'
export {
  qualificationFile,
  qualificationPath,
  readQualification,
  writeQualification,
} from './qualification.js'
export { isWithin, type Texts, textsWithin } from './texts.js'
export {
  fromText,
  glance,
  kindOf,
  loadAll,
  loadBench,
  loadEquipment,
  loadMeasuredBench,
  loadProfile,
  loadTubeTypes,
  type Kind,
  type Loaded,
  type LoadedAll,
} from './load.js'
