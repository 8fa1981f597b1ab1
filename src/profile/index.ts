export type * from './types.js'
export { profileShape } from './shape.js'
export { readProfile } from './read.js'
export { checkProfile } from './check.js'
