export { type Answer, type AtTheBench, type Operator, willing } from './operator.js'
export { rehearse, type Rehearsal, type RehearseOptions } from './rehearse.js'
