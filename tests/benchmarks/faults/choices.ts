import { appendFileSync, existsSync, readFileSync } from 'node:fs'
import { chance } from '../../../src/chance/index.js'
import { choices } from '../../../src/faults/choices.js'
import { createDiagnoser, createLab, type Diagnosis, faultsOf } from '../../../src/faults/index.js'
import { loadAll } from '../../../src/files/index.js'
import { makePlan } from '../../../src/plan/index.js'
import { faultySets, severe, unlisted } from '../../helpers/faulty-sets.js'
import { truthOf } from '../../helpers/unlisted-truth.js'
import { groupsOf, type Stated, stated } from './answers.js'

/** Looked at for nothing else. */
const firstSeed = 430_001
const profiles = [
  'tests/sets/hailer/receive.yaml',
  'tests/sets/converter/receive.yaml',
  'profiles/small-receiver/receive-network.yaml',
] as const
/** Each halved and doubled by itself; `wholeRan` doubled is certainty. */
const varied = [
  ...(['apart', 'standsOut', 'none', 'doubles', 'tails', 'betweenSteps', 'cameLast', 'cameBefore'] as const),
  ...(['wholeTripped', 'voltsSpread', 'unknownMiddle', 'unknownOdd', 'onItsWay'] as const),
].flatMap((choice) => [
  { choice, by: 0.5 },
  { choice, by: 2 },
])
const rows = [null, { choice: 'wholeRan', by: 0.5 } as const, ...varied]
const usual = { ...choices }

/**
 * Rows of the table in CHOICES.md: how the ranking from the run alone moves when one of its own choices is halved or doubled. Goes on
 * from what is in the file.
 *
 * @param each - sets of each of three kinds: faulty, healthy, and with what no library lists
 */
export function choicesTable(file: string, each: number, minutes: number): void {
  const done = existsSync(file) ? readFileSync(file, 'utf8') : ''
  const until = performance.now() + 60_000 * minutes
  const sets = profiles.map(laid)
  for (const row of rows) {
    const value = row === null ? null : usual[row.choice] * row.by
    const name = row === null ? '| as it is | ' : `| ${row.choice} | ${Number((value ?? 0).toPrecision(3))}`
    if (done.includes(`${name} |`)) continue
    if (performance.now() > until) return
    Object.assign(choices, usual, row === null ? {} : { [row.choice]: value })
    appendFileSync(file, `${name} |${figuresOf(sets, each)}\n`)
    Object.assign(choices, usual)
  }
}

function laid(path: string) {
  const all = loadAll(path).value
  if (all === null) throw new Error(`${path} does not load.`)
  const { equipment, bench } = all
  const { plan } = makePlan(all.profile, equipment, bench)
  if (plan === null) throw new Error(`${path} has no plan.`)
  const source = chance(firstSeed).fork('order')
  const order = faultsOf(equipment)
    .map((fault) => ({ fault, at: source.next() }))
    .sort((a, b) => a.at - b.at)
  return {
    ...{ equipment, bench, plan, lab: createLab(equipment, bench), draw: faultySets(equipment, bench, plan) },
    diagnose: createDiagnoser({ equipment, bench, plan }),
    order: order.map(({ fault }) => fault),
  }
}

function figuresOf(sets: readonly ReturnType<typeof laid>[], each: number): string {
  const found = { first: 0, three: 0, shown: 0, firstOfShown: 0, unlisted: 0, healthy: 0 }
  const said: Stated[] = []
  for (const set of sets)
    for (let k = 0; k < each; k++) {
      const seed = firstSeed + k
      const ask = (seen: Parameters<typeof set.diagnose>[0]): Diagnosis =>
        set.diagnose(seen, [], { next: false })
      const fault = set.order[k % set.order.length]
      if (fault === undefined) continue
      const { seen } = set.draw(fault, seed)
      const told = ask(seen)
      const really = severe(fault, chance(seed).fork('faulty set').fork('severity'))
      const { shows } = truthOf(set, { fault: really })(seen, told, [])
      const at = groupsOf(told).findIndex(
        ({ is, faults }) => faults.includes(fault.fault) && !(is === 'nothing' && shows),
      )
      found.first += Number(at === 0)
      found.three += Number(at >= 0 && at < 3)
      found.shown += Number(shows)
      found.firstOfShown += Number(shows && at === 0)
      said.push(...stated(told, 0, (names) => names.includes(fault.fault)))
      const well = ask(set.draw(null, seed + 1_000_000).seen)
      found.healthy += Number(groupsOf(well)[0]?.is !== 'cause')
      said.push(...stated(well, 0, () => false))
      found.unlisted += Number(isTold(set, seed, ask))
    }
  const n = sets.length * each
  const percent = (part: number, of = n): string => ((100 * part) / Math.max(1, of)).toFixed(1)
  const likely = said.filter(({ p }) => p >= 0.7 && p < 0.9)
  return [
    ` ${percent(found.first)}`,
    percent(found.three),
    `${percent(found.firstOfShown, found.shown)} (${found.shown})`,
    percent(found.unlisted),
    percent(found.healthy),
    `${likely.filter(({ right }) => right).length} of ${likely.length} |`,
  ].join(' | ')
}

/** What no library lists: "none of these" first, nothing first where nothing shows, or its own part among the first five. */
function isTold(
  set: ReturnType<typeof laid>,
  seed: number,
  ask: (seen: Parameters<typeof set.diagnose>[0]) => Diagnosis,
): boolean {
  const spoilt = unlisted(set.equipment, set.plan, seed)
  const { seen } = set.draw(spoilt, seed)
  const told = ask(seen)
  const { shows } = truthOf(set, spoilt)(seen, told, [])
  const part = spoilt.fault?.part ?? ''
  const at = groupsOf(told).findIndex(
    ({ is, faults }, i) =>
      (i === 0 && (is === 'none' || (is === 'nothing' && !shows))) ||
      (part !== '' && faults.some((name) => name.startsWith(`${part}:`))),
  )
  return at >= 0 && at < 5
}
