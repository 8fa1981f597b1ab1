// Compiles src to dist from scratch, so that nothing stale is ever run. The page is bundled beside it, and only when something
// that it is made of has changed: most builds are of the rest.
import { execFileSync } from 'node:child_process'
import { chmodSync, existsSync, mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { createHash } from 'node:crypto'
import { createRequire } from 'node:module'
import { join } from 'node:path'

const page = 'dist/console'
const stamp = join('dist', 'console.made-of')

for (const name of existsSync('dist') ? readdirSync('dist') : [])
  if (name !== 'console' && name !== 'console.made-of')
    rmSync(join('dist', name), { recursive: true, force: true })
const tsc = createRequire(import.meta.url).resolve('typescript/bin/tsc')
execFileSync(process.execPath, [tsc, '-p', 'tsconfig.json'], { stdio: 'inherit' })
if (existsSync('dist/cli/main.js')) chmodSync('dist/cli/main.js', 0o755)

const madeOf = pageIsMadeOf()
const before = existsSync(stamp) && existsSync(join(page, 'index.html')) ? readFileSync(stamp, 'utf8') : ''
if (before !== madeOf) {
  rmSync(stamp, { force: true })
  const { buildConsole } = await import('./build-console.mjs')
  await buildConsole(page)
  mkdirSync('dist', { recursive: true })
  writeFileSync(stamp, madeOf)
}

/** A digest over every source that may reach the page: what has no Node in it, the page itself, and how it is bundled. */
function pageIsMadeOf() {
  const shell = new Set(['cli', 'controller', 'record', 'supply'])
  const files = ['package-lock.json', 'scripts/build-console.mjs', 'scripts/build.mjs']
  const walk = (folder) => {
    for (const entry of readdirSync(folder, { withFileTypes: true })) {
      const path = join(folder, entry.name)
      if (entry.isDirectory()) {
        if (folder !== 'src' || !shell.has(entry.name)) walk(path)
      } else files.push(path)
    }
  }
  walk('src')
  const hash = createHash('sha256')
  for (const file of files.sort()) hash.update(file).update('\0').update(readFileSync(file)).update('\0')
  return hash.digest('hex')
}
