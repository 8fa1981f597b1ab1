// Compiles sources and a tool among the tests beside each other, then runs it. Processes it starts run `dist`.
import { execFileSync } from 'node:child_process'
import { rmSync } from 'node:fs'

const [tool, ...args] = process.argv.slice(2)
const node = process.execPath
rmSync('.bench', { recursive: true, force: true })
execFileSync(node, ['node_modules/typescript/bin/tsc', '-p', 'tsconfig.bench.json'], {
  stdio: ['ignore', 2, 2],
})
try {
  execFileSync(node, [`.bench/tests/${tool}/main.js`, ...args], { stdio: 'inherit' })
} catch (error) {
  process.exitCode = error.status ?? 70
}
