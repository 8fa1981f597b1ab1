// Mutation testing: would the tests notice? `npm run mutation` takes what is not done yet, file by file, and writes the result down
// (scripts/mutation.mjs). By hand: ROOM=line npx stryker run stryker.conf.mjs --mutate src/line/judge.ts
import { testsOf } from './tests/mutation/rooms.mjs'

process.env.SLOWGLOW_MUTATION_TESTS ??= testsOf(process.env.ROOM ?? 'line').join(',')

export default {
  // RUNNER=vitest is a second opinion of our own runner, and costs seconds a mutant.
  testRunner: process.env.RUNNER ?? 'together',
  plugins: ['./tests/mutation/runner.mjs', './tests/mutation/words.mjs', '@stryker-mutator/vitest-runner'],
  vitest: { configFile: 'vitest.mutation.config.ts', related: false },
  mutate: [],
  coverageAnalysis: 'perTest',
  ignoreStatic: true,
  ignorers: ['words'],
  tempDirName: '.stryker/tmp',
  concurrency: 1,
  timeoutMS: 60_000,
  dryRunTimeoutMinutes: 20,
  reporters: ['json', 'progress-append-only'],
  jsonReporter: { fileName: '.stryker/report.json' },
  ignorePatterns: ['dist', 'docs', '.bench', '.planted-*', '*.tsbuildinfo'],
  disableTypeChecks: false,
  thresholds: { high: 90, low: 90, break: null },
}
