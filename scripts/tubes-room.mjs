// Loads the tube room from its TypeScript source, so that its data can be built before anything is compiled.
import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { fileURLToPath, pathToFileURL } from 'node:url'
import ts from 'typescript'

const room = fileURLToPath(new URL('../src/tubes/', import.meta.url))
export const fitsPath = join(room, 'fits.json')
export const cataloguePath = join(room, 'catalogue.generated.ts')

/** The functions of src/tubes/build.ts. */
export async function loadBuild() {
  const cache = fileURLToPath(new URL('../node_modules/.cache/', import.meta.url))
  mkdirSync(cache, { recursive: true })
  const folder = mkdtempSync(join(cache, 'tubes-'))
  try {
    writeFileSync(join(folder, 'package.json'), '{"type":"module"}')
    for (const name of ['build', 'data-shape', 'fit', 'models', 'rows', 'unseen']) {
      const { outputText } = ts.transpileModule(readFileSync(join(room, `${name}.ts`), 'utf8'), {
        compilerOptions: { module: ts.ModuleKind.ESNext, target: ts.ScriptTarget.ES2022 },
      })
      writeFileSync(join(folder, `${name}.js`), outputText)
    }
    return await import(pathToFileURL(join(folder, 'build.js')).href)
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

/** Every data file, read and checked; problems end the script with 1. */
export async function loadData(build) {
  const folder = join(room, 'data')
  const files = readdirSync(folder)
    .filter((name) => name.endsWith('.json'))
    .sort()
    .map((name) => ({ name, raw: JSON.parse(readFileSync(join(folder, name), 'utf8')) }))
  const { data, problems } = build.readData(files)
  if (problems.length > 0) {
    for (const problem of problems) console.error(`src/tubes/data/${problem}`)
    process.exit(1)
  }
  return data
}
