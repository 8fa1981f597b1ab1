import { existsSync } from 'node:fs'
import { dirname, relative, resolve } from 'node:path'
import { defineConfig, type Plugin } from 'vitest/config'

/** `.ci/run` wants the counts in a file as well. */
const report = process.env['SLOWGLOW_TEST_REPORT']
const real = ['tests/wire/**/*.test.ts', 'tests/browser/**/*.test.ts']

export default defineConfig(({ mode }) => ({
  test: {
    reporters: report === undefined ? ['default'] : ['default', ['json', { outputFile: report }]],
    projects: [
      // Real processes and lines come first and by themselves, since what computes would hold them up; with three at once a
      // supply's dead-man, at the pace of a test, was fed too late on two cores.
      {
        plugins: pluginsOf(mode),
        test: {
          ...common('real'),
          include: real,
          maxWorkers: 2,
          sequence: { groupOrder: 0 },
        },
      },
      // Everything else computes: one at a time on each of two cores, what is imported being loaded (and made fast by the
      // engine) once for all files of a process. So no test leaves anything behind in a module.
      {
        plugins: pluginsOf(mode),
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
}))

function common(name: string) {
  const setupFiles = ['tests/setup.ts']
  const server = { deps: { external: [/\/dist\/.*\.js$/] } }
  return { name, setupFiles, server, testTimeout: 180_000, hookTimeout: 120_000, pool: 'forks' } as const
}

/** `npm test` has just built the program, and its tests run that: the engine makes it faster than what is transformed on the way. */
const pluginsOf = (mode: string): Plugin[] => (mode === 'compiled' ? [fromDist()] : [])

/** What is imported from `src` comes from `dist`; the page is bundled there and has no modules of its own. */
function fromDist(): Plugin {
  return {
    name: 'from dist',
    enforce: 'pre',
    resolveId(source, importer) {
      if (!source.startsWith('.') || importer === undefined) return null
      const inSrc = relative('src', resolve(dirname(importer), source))
      if (inSrc.startsWith('..') || inSrc.startsWith('console')) return null
      const built = resolve('dist', inSrc.replace(/\.ts$/, '.js'))
      return existsSync(built) ? built : null
    },
  }
}
