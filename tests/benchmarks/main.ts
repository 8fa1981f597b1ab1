import { cpus } from 'node:os'
import { choicesTable } from './faults/choices.js'
import { faultsFigures } from './faults/faults.js'
import type { Figure } from './figures.js'
import { healthyFigures } from './healthy.js'
import { pageFigures } from './page.js'
import { planFigures } from './plan.js'
import { reformFigures } from './reform.js'
import { reviewFigures } from './review.js'
import { tripFigures } from './trip.js'
import { slowDiskFigures } from './trip-on-slow-disk.js'

/**
 * `npm run bench [-- --only NAME] [--json]`; for `healthy` `--sets N --keep FILE`, for `trip` `--trips N --runs N`, for
 * `faults` `--cases N --sets N --keep FILE --minutes N --seed N`, for `reform` `--parts N --days N --run-days N`, for `review` `--longest` (50 million readings too); `slow-disk` is trips while the disk of the record stands. Measures and
 * shows; it asserts nothing, and no test does.
 * `--choices FILE [--sets N --minutes N]` appends the rows of the table in faults/CHOICES.md that FILE has not yet.
 */
const args = process.argv.slice(2)
const given = (name: string): string | undefined =>
  args.includes(name) ? args[args.indexOf(name) + 1] : undefined
const groups: Readonly<Record<string, () => Figure[] | Promise<Figure[]>>> = {
  plan: planFigures,
  healthy: () => healthyFigures(Number(given('--sets') ?? 20), given('--keep')),
  faults: () =>
    faultsFigures({
      cases: Number(given('--cases') ?? 500),
      healthy: Number(given('--sets') ?? 500),
      keep: given('--keep'),
      minutes: Number(given('--minutes') ?? Infinity),
      seed: given('--seed') === undefined ? undefined : Number(given('--seed')),
    }),
  reform: () =>
    reformFigures(
      Number(given('--parts') ?? 500),
      Number(given('--days') ?? 7),
      Number(given('--run-days') ?? 7),
    ),
  review: () => reviewFigures(args.includes('--longest')),
  trip: () => tripFigures(Number(given('--trips') ?? 8000), Number(given('--runs') ?? 100)),
  'slow-disk': slowDiskFigures,
  page: pageFigures,
}

// Rows of a table for people: tests/benchmarks/faults/CHOICES.md.
const table = given('--choices')
if (table !== undefined) {
  choicesTable(table, Number(given('--sets') ?? 40), Number(given('--minutes') ?? Infinity))
  process.exit(0)
}

const json = args.includes('--json')
const only = given('--only')
if (only !== undefined && !(only in groups)) {
  console.error(`There is no group "${only}": ${Object.keys(groups).join(', ')}.`)
  process.exit(2)
}
const machine = `${cpus()[0]?.model ?? 'unknown processor'}, ${cpus().length} threads, Node ${process.versions.node}`
const reports: { readonly name: string; readonly machine: string; readonly figures: readonly Figure[] }[] = []
for (const [name, measure] of Object.entries(groups)) {
  if (only !== undefined && only !== name) continue
  const figures = await measure()
  reports.push({ name, machine, figures })
  if (json) continue
  console.log(`${name} (${machine})`)
  for (const { what, value, unit, yardstick, ratio, target, met } of figures) {
    const held = met === null ? '' : met ? 'met' : 'NOT MET'
    console.log(`  ${what}: ${Number(value.toPrecision(3))} ${unit}`)
    console.log(`    against ${yardstick}: ${ratio === null ? '' : `${Number(ratio.toPrecision(3))} times`}`)
    console.log(`    target ${target} ${held}`)
  }
}
if (json) console.log(JSON.stringify(reports.length === 1 ? reports[0] : reports, null, 2))
