// Compiles src to dist from scratch, so that nothing stale is ever run.
import { execFileSync } from 'node:child_process'
import { chmodSync, existsSync, rmSync } from 'node:fs'
import { createRequire } from 'node:module'

rmSync('dist', { recursive: true, force: true })
const tsc = createRequire(import.meta.url).resolve('typescript/bin/tsc')
execFileSync(process.execPath, [tsc, '-p', 'tsconfig.json'], { stdio: 'inherit' })
if (existsSync('dist/cli/main.js')) chmodSync('dist/cli/main.js', 0o755)
