import { defineConfig } from 'vitest/config'

/** The tests that mutants are tried against, by room (stryker.conf.mjs); only what runs in one process. */
export default defineConfig({
  test: {
    include: (process.env['SLOWGLOW_MUTATION_TESTS'] ?? 'tests/unit/off.test.ts').split(','),
    setupFiles: ['tests/setup.ts'],
    testTimeout: 120_000,
    pool: 'forks',
    maxWorkers: 1,
  },
})
