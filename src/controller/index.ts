export { placeShape } from './messages.js'
