// Fits every type's parameters to its published points and writes src/tubes/fits.json, then the catalogue.
import { writeFileSync } from 'node:fs'
import { writeCatalogue } from './build-catalogue.mjs'
import { fitsPath, loadBuild, loadData } from './tubes-room.mjs'

const build = await loadBuild()
const data = await loadData(build)
const fits = build.fits(data)
const lines = Object.entries(fits).map(
  ([type, sections]) =>
    `  ${JSON.stringify(type)}: [\n${sections.map((s) => `    ${JSON.stringify(s)}`).join(',\n')}\n  ]`,
)
writeFileSync(fitsPath, `{\n${lines.join(',\n')}\n}\n`)
writeCatalogue(build, data, fits)

const rows = Object.values(fits).flatMap((sections) => sections.slice(0, 1).flatMap((s) => s.unseen))
const share = (errors, of) =>
  errors.length === 0 ? '-' : `${(100 * errors[Math.floor(of * (errors.length - 1))]).toFixed(1)} %`
for (const at of ['class A', 'low plate', 'idle', 'drop']) {
  const errors = rows
    .filter((row) => row.at === at)
    .map((row) => Math.abs(row.ratio - 1))
    .sort((a, b) => a - b)
  console.log(
    `${at}: ${errors.length} rows unseen by their fit, off by ${share(errors, 0.5)} (median), ${share(errors, 0.9)} (90th percentile)`,
  )
}
