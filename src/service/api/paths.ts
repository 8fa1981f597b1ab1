/**
 * Every way into the service, without any library, so that a page carries them at no cost. What goes in and what comes back
 * stands in `routes.ts` under the same names; `:run` is the name of a run as the list has it.
 */
export const paths = {
  me: ['GET', '/api/me'],
  pair: ['POST', '/api/pair'],
  unpair: ['POST', '/api/unpair'],
  status: ['GET', '/api/status'],

  files: ['GET', '/api/files'],
  readFile: ['GET', '/api/files/text'],
  writeFile: ['PUT', '/api/files/text'],
  check: ['POST', '/api/check'],
  newSet: ['POST', '/api/new'],
  schema: ['GET', '/api/schemas/:kind'],

  plan: ['POST', '/api/plan'],
  supplies: ['POST', '/api/supplies'],

  worksheet: ['GET', '/api/worksheet'],
  keepReadings: ['POST', '/api/worksheet'],
  book: ['GET', '/api/book'],
  writeBook: ['POST', '/api/book'],
  proofs: ['GET', '/api/book/proofs'],
  prove: ['POST', '/api/book/proofs'],
  addPhotograph: ['POST', '/api/book/photographs'],
  photograph: ['GET', '/api/book/photographs'],
  setPage: ['GET', '/api/book/page'],
  archive: ['GET', '/api/book/archive'],
  coverage: ['POST', '/api/coverage'],

  runs: ['GET', '/api/runs'],
  run: ['GET', '/api/runs/:run'],
  seal: ['GET', '/api/runs/:run/seal'],
  runPlan: ['GET', '/api/runs/:run/plan'],
  traces: ['GET', '/api/runs/:run/traces'],
  inForce: ['GET', '/api/runs/:run/in-force'],
  addNote: ['POST', '/api/runs/:run/notes'],
  report: ['GET', '/api/runs/:run/report'],
  export: ['GET', '/api/runs/:run/export'],
  replay: ['GET', '/api/runs/:run/replay'],
  diagnosis: ['POST', '/api/runs/:run/diagnosis'],
  compare: ['GET', '/api/compare'],
  trend: ['GET', '/api/trend'],

  live: ['GET', '/api/live'],
  livePlan: ['GET', '/api/live/plan'],
  liveHeld: ['GET', '/api/live/held'],
  events: ['GET', '/api/live/events'],
  here: ['POST', '/api/live/here'],
  start: ['POST', '/api/live/start'],
  acknowledge: ['POST', '/api/live/acknowledge'],
  answer: ['POST', '/api/live/answer'],
  hands: ['POST', '/api/live/hands'],
  runDown: ['POST', '/api/live/run-down'],
  stop: ['POST', '/api/live/stop'],
} as const

export type RouteName = keyof typeof paths
