export { parseQuantity, quantityPattern, type Parsed } from './parse.js'
export { formatQuantity, formatNumber } from './format.js'
export { unitWords, type Unit } from './units.js'
