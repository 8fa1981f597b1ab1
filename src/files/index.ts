export type { Problem } from '../quantities/index.js'
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
