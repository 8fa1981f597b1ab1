import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { limitsDrawn } from '../../src/cli/limits-drawn.js'
import { reportPage } from '../../src/cli/report/page.js'
import { runPlots } from '../../src/cli/run-plot.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { bandsOf, createRunFile, openRunFile, type RunEntry, storyOf } from '../../src/record/index.js'
import { limitsInForce } from '../../src/replay/index.js'
import { streamsOf } from '../../src/story/index.js'
import { rehearse } from '../helpers/replayed.js'
import { known, smallRun } from '../helpers/runs.js'

const at = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
afterAll(() => {
  rmSync(at, { recursive: true })
})
function reader(name: string, entries: readonly RunEntry[]) {
  const path = join(at, `${name}.slowglow`)
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  return opened.reader
}

const all = loadAll('tests/helpers/short/receive.yaml').value
if (all === null) throw new Error('the short job does not load')
const made = makePlan(all.profile, all.equipment, all.bench).plan
if (made === null) throw new Error('the short job has no plan')
const plan = made
const entries: RunEntry[] = [
  { entry: 'known', known: { ...known, plan, command: 'rehearse' } },
  ...streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
]
rehearse(plan, all.equipment, all.bench, {
  seed: 5,
  faults: [],
  record: (entry) => {
    entries.push(entry)
  },
})
const run = reader('short', entries)
const long_bytes = 1e9
const moments = limitsDrawn(run, 'moments', 0)
const steps = limitsDrawn(run, 'steps', long_bytes)
const chain = Object.values(plan.rails).find(({ role }) => role === 'heater')?.name ?? ''

describe('the limits in a plot of a run, in a terminal and on paper', () => {
  it('are those that were in force: none while heaters are cold, wider while capacitors charge, no band on a way down', () => {
    const { rails } = limitsInForce(plan, entries, 'rehearsal')
    for (const [rail, held] of Object.entries(rails)) {
      const spans = moments.rails[rail] ?? []
      expect(spans.length).toBeGreaterThan(0)
      for (const { from_us, to_us, trip_A, band } of spans) {
        const then = held.findLast(({ t_us }) => t_us <= (from_us + to_us) / 2)
        expect(then?.limits?.trip_A).toBe(trip_A)
        expect(then?.limits?.band?.upper_A).toBe(band?.upper_A)
      }
    }
    const cold = moments.rails[chain]?.[0]?.from_us ?? 0
    expect(cold).toBeGreaterThan((steps.rails[chain]?.[0]?.from_us ?? Infinity) + 1e6)
    const trip = (spans: readonly { readonly trip_A: number }[] = []): number =>
      Math.max(...spans.map(({ trip_A }) => trip_A))
    expect(trip(moments.rails['HT'])).toBeGreaterThan(trip(steps.rails['HT']))
    expect(moments.words).toMatch(/in force at each moment/)
  })

  it('are those at the ends of steps where that was wished for, or the run is too long to wait for; each says so', () => {
    const bands = bandsOf(run).filter(({ rail }) => rail === 'HT')
    expect(steps.rails['HT']?.map(({ trip_A }) => trip_A)).toEqual(bands.map(({ trip_A }) => trip_A))
    expect(steps.words).toMatch(/of each step at its end/)
    expect(steps.words).not.toContain('--limits')
    const long = limitsDrawn(run, null, 0)
    expect(long.rails).toEqual(steps.rails)
    expect(long.words).toMatch(/--limits moments/)
    expect(limitsDrawn(run, null, long_bytes).rails).toEqual(moments.rails)
  })

  it('are those at the ends of steps where the record does not say what was in force, and why', () => {
    const other = reader('other', smallRun())
    const found = limitsDrawn(other, 'moments', long_bytes)
    expect(found.rails['HT']).toHaveLength(2)
    expect(found.words).toMatch(/of each step at its end.* Today’s /)
    other.close()
  })

  it('begin with the heaters’ warmth in the terminal’s plot, and with their first volt where drawn by steps', () => {
    const story = storyOf(run)
    const first = (limits: typeof moments): number => {
      const wish = { rails: [chain], from_s: null, to_s: null, width: 200 }
      const lines = runPlots(run, story, wish, limits)
      const current = lines.slice(lines.indexOf(lines.find((line) => line.includes('current:')) ?? ''))
      expect(lines.join(' ')).toContain(limits.words)
      return Math.min(...current.flatMap((line) => (/^.{9} \|.*t/.test(line) ? [line.indexOf('t', 11)] : [])))
    }
    expect(first(moments)).toBeGreaterThan(first(steps))
  })

  it('are on paper the same ones, and its words say which', () => {
    const trips = (wish: 'moments' | 'steps'): string[] => {
      const page = reportPage(run, storyOf(run), wish)
      expect(page).toContain(limitsDrawn(run, wish, 0).words)
      const chart = page.slice(page.indexOf(`${chain}, current over`))
      return [...chart.slice(0, chart.indexOf('</svg>')).matchAll(/<path d="M([\d.]+),[^"]*"[^>]*7 4/g)].map(
        ([, x = '']) => x,
      )
    }
    expect(Number(trips('moments')[0])).toBeGreaterThan(Number(trips('steps')[0]))
  })
})
