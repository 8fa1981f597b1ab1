import { defineConfig } from 'vitest/config'

/** `.ci/run` wants the counts in a file as well. */
const report = process.env['SLOWGLOW_TEST_REPORT']
const real = ['tests/wire/**/*.test.ts', 'tests/browser/**/*.test.ts']

export default defineConfig({
  test: {
    reporters: report === undefined ? ['default'] : ['default', ['json', { outputFile: report }]],
    projects: [
      // Real processes and lines wait more than they compute: three at once fill two cores. They come first and by themselves,
      // since what computes would hold them up.
      {
        test: {
          ...common('real'),
          include: real,
          maxWorkers: 3,
          sequence: { groupOrder: 0 },
        },
      },
      // Everything else computes: one at a time on each of two cores, what is imported being loaded (and made fast by the
      // engine) once for all files of a process. So no test leaves anything behind in a module.
      {
        test: {
          ...common('pure'),
          include: ['tests/**/*.test.ts'],
          exclude: [...real, 'tests/fixtures/**'],
          isolate: false,
          maxWorkers: 2,
          sequence: { groupOrder: 1 },
        },
      },
    ],
  },
})

function common(name: string) {
  const setupFiles = ['tests/setup.ts']
  return { name, setupFiles, testTimeout: 180_000, hookTimeout: 120_000, pool: 'forks' } as const
}
