export * from './api/index.js'
export { deskPlaceShape, deskQuestionShape, deskStandsBehindShape } from './desk.js'
export type { DeskPlace, DeskQuestions, PreparedStart } from './desk-questions.js'
export { type Service, type ServiceJob, startService } from './serve.js'
