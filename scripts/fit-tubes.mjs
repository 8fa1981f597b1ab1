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

// A row printed for two types, or two sections, with the same electrodes counts once.
const seen = new Set()
const rows = Object.entries(fits).flatMap(([type, sections]) =>
  sections.flatMap(({ unseen }, section) =>
    unseen.flatMap((row) => {
      const curves = data.types.find((each) => each.type === type)?.sections[section]?.curves
      const key = [curves, row.at, row.plate_A, row.ratio].join(' ')
      if (seen.has(key)) return []
      seen.add(key)
      return [{ ...row, kept: build.keptBack(type), held: isHeld(type, section, unseen, row) }]
    }),
  ),
)
function isHeld(name, section, unseen, row) {
  const type = data.types.find((each) => each.type === name)
  if (type === undefined) return true
  const others = unseen.filter((each) => each !== row)
  const { low, high, plus_A } = build.bandOf(type, section, others)
  const computed_A = row.plate_A / row.ratio
  return row.plate_A >= low * computed_A - plus_A && row.plate_A <= high * computed_A + plus_A
}
function tell(what, of) {
  const errors = of.map(({ ratio }) => Math.abs(ratio - 1)).sort((a, b) => a - b)
  const share = (part) =>
    errors.length === 0 ? '-' : `${(100 * errors[Math.floor(part * (errors.length - 1))]).toFixed(1)} %`
  console.log(
    `  ${what}: ${errors.length} rows, off by ${share(0.5)} (median), ${share(0.9)} (90th percentile)`,
  )
}
console.log(
  'Rows unseen by their fit (targets: class A median 4 %, 90th percentile 12 %; low plate and idle medians 10 and 7 %):',
)
const working = rows.filter(({ at }) => at === 'class A' || at === 'low plate')
const told = [
  ['class A and low plate', working],
  ...['low plate', 'idle', 'drop'].map((at) => [at, rows.filter((row) => row.at === at)]),
]
for (const [what, of] of told) {
  tell(what, of)
  for (const confidence of ['published', 'from memory'])
    tell(
      `  ${what}, ${confidence}`,
      of.filter((row) => row.confidence === confidence),
    )
}
console.log(
  'Types kept back when forms and priors were chosen (keptBack in src/tubes/unseen.ts), and the others:',
)
for (const kept of [true, false]) {
  const name = kept ? 'kept back' : 'others'
  tell(
    `class A and low plate, ${name}`,
    working.filter((row) => row.kept === kept),
  )
  tell(
    `idle, ${name}`,
    rows.filter((row) => row.at === 'idle' && row.kept === kept),
  )
}
// The band that a type would have without the row that is asked about.
const counted = rows.filter(({ at }) => at !== 'drop')
const held = counted.filter(({ held }) => held)
console.log(
  `Band of model error alone, each row held against the band of its type's other rows (target 93 %): ${held.length} of ${counted.length}, ${((100 * held.length) / counted.length).toFixed(1)} %`,
)
console.log('Not counted, because sources do not agree or the row is doubtful:')
for (const { type, points, service } of data.types)
  for (const why of new Set([...points, ...service].map((row) => row.disputed ?? row.doubtful ?? null)))
    if (why !== null) console.log(`  ${type}: ${why}`)
