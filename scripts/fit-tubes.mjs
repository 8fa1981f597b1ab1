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

const errors = Object.values(fits)
  .flatMap((sections) => sections.slice(0, 1))
  .filter((s) => s.model?.form === 'triode' || s.model?.form === 'screen')
  .flatMap((s) => s.unseen.map((ratio) => Math.abs(Math.log(ratio))))
  .sort((a, b) => a - b)
const share = (of) => `${(100 * (Math.exp(errors[Math.floor(of * (errors.length - 1))]) - 1)).toFixed(1)} %`
console.log(
  `${errors.length} points unseen by their fit: median ${share(0.5)}, 90th percentile ${share(0.9)}`,
)
