export { formingBench, formingNode, liftedSet, returnNode } from './setup.js'
export { reformPlan, type Earlier, type Experience, type ReformOptions } from './plan.js'
export { follow, openWatch, see, type ReformWatch, type Seen, type Standing } from './watch.js'
