// Mutation testing: would the tests notice? One room at a time (`ROOM=limits npm run mutation`), or part of one with some of its tests:
// SLOWGLOW_MUTATION_TESTS=tests/unit/supervise.test.ts npm run mutation -- --mutate src/controller/supervise.ts
// No room has been run to its end yet.
const rooms = {
  sequencer: {
    mutate: ['src/sequencer/**/*.ts'],
    tests: ['tests/unit/sequencer*.test.ts', 'tests/unit/rule-marks.test.ts', 'tests/unit/hands.test.ts', 'tests/unit/driven.test.ts', 'tests/unit/driven-rails.test.ts', 'tests/unit/watched-inputs.test.ts', 'tests/unit/dead-man.test.ts', 'tests/unit/mercury.test.ts', 'tests/unit/qualify.test.ts', 'tests/properties/sequencer*.test.ts'],
  },
  limits: {
    mutate: ['src/limits/**/*.ts'],
    tests: ['tests/unit/limits.test.ts', 'tests/unit/limit-by-hand.test.ts', 'tests/unit/plan.test.ts', 'tests/unit/shorted-capacitors.test.ts', 'tests/unit/let-through.test.ts'],
  },
  line: {
    mutate: ['src/line/**/*.ts'],
    tests: ['tests/unit/line*.test.ts', 'tests/unit/dialects.test.ts', 'tests/unit/dead-man.test.ts', 'tests/unit/poll-time.test.ts', 'tests/unit/watched-inputs.test.ts', 'tests/properties/line*.test.ts'],
  },
  // From a reply to the OFF, and what stands behind it when the controller is lost: all of it runs in one process.
  trip: {
    mutate: ['src/loop/**/*.ts', 'src/off/**/*.ts', 'src/controller/supervise.ts', 'src/controller/safe-off.ts', 'src/controller/off-at-once.ts'],
    tests: ['tests/unit/loop.test.ts', 'tests/unit/off.test.ts', 'tests/unit/going-off.test.ts', 'tests/unit/supervise.test.ts', 'tests/unit/safe-off.test.ts', 'tests/unit/trip-map.test.ts', 'tests/faults/simulator.test.ts'],
  },
}
const room = rooms[process.env.ROOM ?? 'trip']
if (room === undefined) throw new Error(`ROOM is one of ${Object.keys(rooms).join(', ')}`)
// vitest.mutation.config.ts reads which tests there are.
process.env.SLOWGLOW_MUTATION_TESTS ??= room.tests.join(',')

export default {
  testRunner: 'vitest',
  plugins: ['@stryker-mutator/vitest-runner'],
  vitest: { configFile: 'vitest.mutation.config.ts', related: false },
  mutate: room.mutate,
  coverageAnalysis: 'perTest',
  incremental: true,
  incrementalFile: `.stryker/${process.env.ROOM ?? 'trip'}.json`,
  tempDirName: '.stryker/tmp',
  concurrency: 1,
  timeoutMS: 60_000,
  reporters: ['clear-text', 'progress-append-only'],
  clearTextReporter: { logTests: false, allowColor: false },
  ignorePatterns: ['dist', '.bench', '.bench2', '.planted-*', '*.tsbuildinfo'],
  disableTypeChecks: false,
  thresholds: { high: 90, low: 90, break: null },
}
