// Joins src/tubes/data and src/tubes/fits.json into src/tubes/catalogue.generated.ts; --check only compares.
import { readFileSync, writeFileSync } from 'node:fs'
import { pathToFileURL } from 'node:url'
import { cataloguePath, fitsPath, loadBuild, loadData } from './tubes-room.mjs'

/** The module's text: records as literals, each source's text written once. */
function catalogueText(records) {
  const names = new Map()
  const literal = (value) => {
    if (Array.isArray(value)) return `[${value.map(literal).join(',')}]`
    if (value !== null && typeof value === 'object') {
      const fields = Object.entries(value).map(([key, inner]) => {
        const text = key.endsWith('source') ? sourceName(inner) : literal(inner)
        return `${JSON.stringify(key)}:${text}`
      })
      return `{${fields.join(',')}}`
    }
    return JSON.stringify(value)
  }
  const sourceName = (text) => {
    if (!names.has(text)) names.set(text, `s${names.size}`)
    return names.get(text)
  }
  const lines = records.map((record) => `  ${literal(record)},`)
  const sources = [...names].map(([text, name]) => `const ${name} = ${JSON.stringify(text)}`)
  return [
    '// Written by scripts/build-catalogue.mjs from src/tubes/data and src/tubes/fits.json; edit those.',
    "import type { TubeRecord } from './types.js'",
    '',
    ...sources,
    '',
    'export const catalogue: readonly TubeRecord[] = [',
    ...lines,
    ']',
    '',
  ].join('\n')
}

export function writeCatalogue(build, data, fits) {
  writeFileSync(cataloguePath, catalogueText(build.records(data, fits)))
}

if (import.meta.url === pathToFileURL(process.argv[1] ?? '').href) {
  const build = await loadBuild()
  const data = await loadData(build)
  const fits = JSON.parse(readFileSync(fitsPath, 'utf8'))
  if (process.argv.includes('--check')) {
    const same = catalogueText(build.records(data, fits)) === readFileSync(cataloguePath, 'utf8')
    if (!same) {
      console.error(
        'src/tubes/catalogue.generated.ts is not what the data give: run scripts/build-catalogue.mjs',
      )
      process.exit(1)
    }
  } else writeCatalogue(build, data, fits)
}
