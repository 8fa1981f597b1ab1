export { cautionsFor } from './run.js'
export { standingText } from './standing.js'
export { unattendedCautions } from './unattended.js'
export { drawWord, words } from './words.js'
