/** The entries of a run are told in the pure room `story`; here they are kept. */
export type * from '../story/index.js'
