import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { expect, it } from 'vitest'
import { parse } from 'yaml'
import { planJson } from '../../src/cli/commands/plan.js'
import { closingText } from '../../src/session/index.js'
import { frameOf } from '../../src/cli/live/screen.js'
import { planSvg } from '../../src/cli/plan-plot/svg.js'
import { planPlots } from '../../src/cli/plan-plot/text.js'
import { planPage } from '../../src/cli/plan-text.js'
import { reportPage } from '../../src/cli/report/page.js'
import { storyText } from '../../src/cli/story-text.js'
import { readEquipment } from '../../src/equipment/index.js'
import { makePlan } from '../../src/plan/index.js'
import { bandsOf, createRunFile, openRunFile, storyOf } from '../../src/record/index.js'
import { begin, view } from '../../src/sequencer/index.js'
import { parseFault } from '../../src/virtual/index.js'
import { folder, known } from '../helpers/runs.js'
import { demo, planned, withRail } from '../helpers/small-set.js'
import { rehearse } from '../helpers/replayed.js'

const reason = 'the replaced output transformer stands no more, measured by its owner'
const charted = demo('small-receiver/receive-charts')
const circuit = demo('small-receiver/receive-network')
const byHand = withRail(charted.equipment, 'HT', { manual: { trip_A: 0.095, reason } })
const plan = planned({ ...charted, equipment: byHand })

it('a limit by hand is refused without a reason that says something', () => {
  const text = readFileSync('profiles/small-receiver/equipment-charts.yaml', 'utf8')
  const problems = (manual: string) =>
    readEquipment(parse(text.replace('    totals:\n', `    manual: ${manual}\n    totals:\n`)), () => ({
      file: 'set.yaml',
      line: 1,
      column: 1,
    })).problems.map(({ what, remedy }) => `${what} ${remedy}`)
  expect(problems('{ trip: 95 mA }').join()).toMatch(/missing.*why this limit is set by hand/)
  expect(problems('{ trip: 95 mA, reason: because }').join()).toMatch(/gives no reason.*in a sentence/)
  expect(problems(`{ trip: 95 mA, reason: "${reason}" }`)).toEqual([])
})

it('it is marked in the plan’s page and JSON, only where it is in force', () => {
  const raises = plan.steps.filter(({ do: does, rail }) => does === 'raise' && rail === 'HT')
  const last = raises.at(-1)
  expect(last?.limits['HT']).toMatchObject({ trip_A: 0.095, manual: { in_force: true, reason } })
  expect(raises[0]?.limits['HT']?.manual?.in_force).toBe(false)
  expect(raises[0]?.limits['HT']?.because.find(({ limit }) => limit === 'trip')?.text).toMatch(
    /the 95 mA stated by hand \(.*\) is higher and not in force/,
  )
  const page = planPage(plan).replaceAll(/\s+/g, ' ')
  expect(page).toMatch(/95 mA by hand/)
  expect(page).toContain(`LIMITS STATED BY HAND - HT: trip 95 mA stated by hand (in force in step`)
  expect(page).toContain(reason)
  const json = JSON.stringify(planJson(plan, []))
  expect(json).toContain('"by_hand":true')
  expect(json).toContain(`"by_hand":[{"rail":"HT","trip_A":0.095`)
})

it('it is marked in the live line, the reason of a trip, the ending and the page of the run', () => {
  const limits = plan.steps.findLast(({ rail }) => rail === 'HT')?.limits['HT'] ?? null
  const seen = view(begin(plan))
  const rails = seen.rails.map((rail) => (rail.rail === 'HT' ? { ...rail, limits } : rail))
  const frame = frameOf({ ...seen, phase: 'running', rails }, 1, { columns: 120, rows: 40 }).join('\n')
  expect(frame).toMatch(/trip 95 mA by hand/)

  const fault = parseFault('C6:short@HT>240V')
  if (!fault.ok) throw new Error(fault.problem)
  const path = join(folder(), 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append([{ entry: 'known', known: { ...known, plan } }])
  const { ending } = rehearse(plan, circuit.equipment, charted.bench, {
    seed: 5,
    faults: [fault.value],
    record: (entry) => {
      writer.append([entry])
    },
  })
  writer.close()
  expect(ending.outcome).toBe('tripped')
  expect(ending.reason?.text).toMatch(/above the trip of .*stated by hand: the replaced output transformer/)
  expect(closingText(ending, null)).toMatch(/Limit by hand: HT: trip 95 mA stated by hand/)
  const reader = openRunFile(path)
  if ('trouble' in reader) throw new Error('not readable')
  const story = storyOf(reader.reader)
  expect(story.by_hand[0]).toContain(reason)
  expect(storyText(story)).toMatch(/Limit by hand: HT: trip 95 mA stated by hand/)
  const report = reportPage(reader.reader, story)
  expect(report).toContain('Stated by hand')
  expect(report).toContain('>95 mA by hand<')
  expect(bandsOf(reader.reader).some(({ trip_by_hand }) => trip_by_hand === true)).toBe(true)
  expect(report).toContain(reason)
})

it('it is marked where the plan is drawn, in characters and on paper', () => {
  expect(planSvg(plan)).toMatch(/>trip, by hand from \d+ V 95 mA</)
  expect(planSvg(plan)).toMatch(/trip 95 mA by hand, ceiling/)
  expect(planPlots(plan).join('\n')).toMatch(/t trip, by hand from \d+ V/)
  expect(planSvg(planned(charted))).not.toContain('by hand')
})

it('a rail of which nothing else is known runs on a limit by hand alone, and is said to', () => {
  const small = demo('small-receiver/receive')
  const bare = { ...small.equipment, tubes: {}, heater_chains: {} }
  const bench = { ...small.bench, supplies: withoutBleeder(small.bench.supplies) }
  const equipment = withRail(bare, 'HT', {
    totals: {},
    feeds: { positive_at: 'C1', negative_at: 'chassis', lift: [], pull: [] },
  })
  const profile = { ...small.profile, tubes_cold: false }
  const refused = makePlan(profile, equipment, bench)
  expect(refused.problems.map(({ what, remedy }) => `${what} ${remedy}`).join('\n')).toMatch(
    /Nothing in the set file says what HT should draw.*manual: \{ trip: …, reason: … \}/,
  )
  const made = makePlan(
    profile,
    withRail(equipment, 'HT', { totals: {}, manual: { trip_A: 0.06, reason } }),
    bench,
  )
  const about = made.problems.map(({ what }) => what).join('\n')
  expect(about).not.toMatch(/Nothing in the set file says|cannot resolve the current/)
})

function withoutBleeder(supplies: (typeof charted)['bench']['supplies']) {
  return Object.fromEntries(
    Object.entries(supplies).map(([name, supply]) => [
      name,
      {
        ...supply,
        channels: Object.fromEntries(
          Object.entries(supply.channels).map(([of, channel]) => [of, { ...channel, bleeder_ohm: null }]),
        ),
      },
    ]),
  )
}
