export { startAlerts, type Alerts } from './alerting.js'
export { type Alert, dueBegin, dueStep, notAwake, type Subject } from './due.js'
export { missingOf, placeOf } from './places.js'
export { takes } from './queue.js'
