export { parseQuantity, quantityPattern, type Parsed } from './parse.js'
export { formatQuantity, formatShort, formatNumber } from './format.js'
export { unitWords, type Unit } from './units.js'
export {
  createReport,
  listed,
  nearest,
  own,
  type Path,
  type Position,
  type Problem,
  type Report,
  type Where,
} from './problem.js'
export {
  choice,
  count,
  flag,
  group,
  list,
  name,
  nodes,
  quantity,
  ratio,
  readRough,
  table,
  text,
  type Rough,
} from './shape.js'
