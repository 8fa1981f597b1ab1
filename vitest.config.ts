import { defineConfig } from 'vitest/config'

/** `.ci/run` wants the counts in a file as well. */
const report = process.env['SLOWGLOW_TEST_REPORT']

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    exclude: ['tests/fixtures/**'],
    setupFiles: ['tests/setup.ts'],
    reporters: report === undefined ? ['default'] : ['default', ['json', { outputFile: report }]],
    testTimeout: 180_000,
    hookTimeout: 120_000,
    pool: 'forks',
    maxWorkers: 2,
  },
})
