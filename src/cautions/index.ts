export { cautionsFor } from './run.js'
export { standingText } from './standing.js'
export { drawWord, words } from './words.js'
