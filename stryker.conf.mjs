// Mutation testing: would the tests notice? `npm run mutation` takes what is not done yet, file by file, and writes the result down
// (scripts/mutation.mjs). By hand: ROOM=line npx stryker run stryker.conf.mjs --mutate src/line/judge.ts
import { readdirSync } from 'node:fs'

/*
 * The tests that each room's mutants are tried against: all that run in one process and come by much of it. Those that take long are passed
 * over by the runner itself; what starts processes or waits for a clock is not among them.
 */
const run = 'sequencer* rule-marks first-look off-first going-off stored-charge hands prompts in-place reach-in watched-inputs dead-man mercury properties/sequencer*'
const rooms = {
  sequencer: `${run} driven qualify unattended dead-man-takes cut-off outside-timer own-mains reform-alone reform-typed`,
  off: `off safe-off ${run} supervise cut-off`,
  line: 'line* dialects poll-time dead-man watched-inputs virtual-supply properties/line cut-off',
  loop: 'loop first-look off-first cut-off watched-inputs line-health unattended outside-timer going-off replay faults/bad-input faults/words',
  controller: 'supervise safe-off off left loop',
  limits: 'limits* limit-by-hand plan* shorted-capacitors let-through ceilings charts filaments gas-tubes heaters-and-strikes tube-kinds tube-types tube-without-curves driven* model-band promises learned contributors in-place mercury properties/limits properties/heaters outside/limits',
}
const room = rooms[process.env.ROOM ?? 'line']
if (room === undefined) throw new Error(`ROOM is one of ${Object.keys(rooms).join(', ')}`)

/** `name`, `name*` or `folder/name` of a test file; in `unit` where no folder is named. */
function filesOf(pattern) {
  const [folder, name] = pattern.includes('/') ? pattern.split('/') : ['unit', pattern]
  const matches = new RegExp(`^${name.replace('*', '[^.]*')}\\.test\\.ts$`)
  return readdirSync(new URL(`tests/${folder}`, import.meta.url))
    .filter((file) => matches.test(file))
    .map((file) => `tests/${folder}/${file}`)
}
process.env.SLOWGLOW_MUTATION_TESTS ??= [...new Set(room.split(' ').flatMap(filesOf))].join(',')

export default {
  // RUNNER=vitest is a second opinion of our own runner, and costs seconds a mutant.
  testRunner: process.env.RUNNER ?? 'together',
  plugins: ['./tests/mutation/runner.mjs', '@stryker-mutator/vitest-runner'],
  vitest: { configFile: 'vitest.mutation.config.ts', related: false },
  mutate: [],
  coverageAnalysis: 'perTest',
  ignoreStatic: true,
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
