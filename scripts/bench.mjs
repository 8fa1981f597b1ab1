// Compiles sources and benchmarks beside each other, then measures. Processes under measurement run `dist`, so that is built too.
import { execFileSync } from 'node:child_process'
import { rmSync } from 'node:fs'

const node = process.execPath
rmSync('.bench', { recursive: true, force: true })
execFileSync(node, ['node_modules/typescript/bin/tsc', '-p', 'tsconfig.bench.json'], {
  stdio: ['ignore', 2, 2],
})
try {
  execFileSync(node, ['.bench/tests/benchmarks/main.js', ...process.argv.slice(2)], { stdio: 'inherit' })
} catch (error) {
  process.exitCode = error.status ?? 70
}
