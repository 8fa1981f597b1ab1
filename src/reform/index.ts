export { formingBench, formingNode, liftedSet, returnNode } from './setup.js'
export { reformPlan, type Earlier } from './plan.js'
export { follow, openWatch, see, type ReformWatch, type Standing } from './watch.js'
