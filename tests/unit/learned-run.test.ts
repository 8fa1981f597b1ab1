import { cpSync, mkdirSync, mkdtempSync, renameSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { appendToBook, type BookBody, bookPath } from '../../src/book/index.js'
import { chance } from '../../src/chance/index.js'
import { coveredBy } from '../../src/cli/commands/coverage.js'
import { diagnosisIn } from '../../src/cli/commands/diagnose.js'
import { priorsOf } from '../../src/cli/priors.js'
import { coverageText } from '../../src/cli/coverage-text.js'
import { planFiles } from '../../src/cli/plan-files.js'
import { planPage } from '../../src/cli/plan-text.js'
import { setTrend } from '../../src/cli/set-trend.js'
import { coverageOf } from '../../src/faults/index.js'
import { sampleElements } from '../../src/limits/index.js'
import type { Plan } from '../../src/plan/index.js'
import { createRunFile, readRun } from '../../src/record/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'
import { readFault } from '../../src/virtual/index.js'
import { known } from '../helpers/runs.js'
import { rehearse } from '../helpers/replayed.js'

const dir = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
afterAll(() => rmSync(dir, { recursive: true, force: true }))
cpSync('profiles/small-receiver', dir, { recursive: true })
const planned = () => planFiles('receive-network.yaml', undefined, dir)
const { parts, files } = planned()
if (parts === null) throw new Error('the small receiver does not load')
const { equipment, bench } = parts

/** One very set, in a run of its own: its parts stay as they are, all else is drawn anew. */
function run(plan: Plan, name: string, seed: number, started: string, fault: string | null = null) {
  const path = join(dir, `${name}.slowglow`)
  const writer = createRunFile(path, { fsync: false })
  const entries: RunEntry[] = []
  const spec = fault === null ? null : readFault(fault, equipment, bench)
  const { ending } = rehearse(plan, equipment, bench, {
    seed,
    faults: spec?.ok === true ? [spec.value] : [],
    drawn: (nominal) => sampleElements(equipment, nominal, chance(7).fork('this very set')),
    record: (entry) => entries.push(entry),
  })
  writer.append([
    { entry: 'known', known: { ...known, run: name, plan, seed, started, faults: [], files } },
    ...streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
    ...entries,
    { entry: 'ending', t_us: 1e6 * ending.duration_s, ending },
  ])
  writer.close()
  const asked = entries.flatMap((entry) =>
    entry.entry === 'event' && entry.event.what === 'prompt' && entry.event.text.includes('Go on, or stop?')
      ? [entry.event.text]
      : [],
  )
  return { path, ending, asked }
}

let written = 0
function book(at: string, bodies: readonly BookBody[]): void {
  const path = bookPath(join(dir, 'equipment-network.yaml'))
  const done = appendToBook(
    path,
    { at, by: 'keeper', expects: written },
    bodies.map((body) => ({ body })),
  )
  if ('trouble' in done) throw new Error(done.trouble)
  written += bodies.length
}
const inBook = (name: string, { path, ending }: ReturnType<typeof run>, { profile }: Plan): BookBody => ({
  ...{ kind: 'run', run: name, file: path, profile, bench_kind: 'virtual' },
  ...{ outcome: ending.outcome, outputs_off: ending.outputs_off, reason: null, seal: null },
})

describe('a set whose book holds good runs', () => {
  const first = planned().plan
  if (first === null) throw new Error('no plan')
  const runs = [3, 4].map((seed) => run(first, `run ${seed}`, seed, `2026-11-0${seed}T10:00:00.000Z`))
  book(
    '2026-11-10T10:00:00.000Z',
    runs.map((each, i) => inBook(`run ${i + 3}`, each, first)),
  )
  const learned = planned().plan
  if (learned === null) throw new Error('no plan')

  it('is planned with closer limits, told with the runs that they come from, and never above a ceiling', () => {
    expect(runs.map(({ ending }) => ending.outcome)).toEqual(['completed', 'completed'])
    expect(learned.learned?.from).toEqual(['run 3', 'run 4'])
    let closer = 0
    for (const [i, { limits }] of learned.steps.entries())
      for (const [rail, now] of Object.entries(limits)) {
        const was = first.steps[i]?.limits[rail]
        if (was === undefined) throw new Error(`${rail} is new`)
        expect(now.trip_A).toBeLessThanOrEqual(was.trip_A)
        expect([now.ceiling_A, now.supply_limit_A]).toEqual([was.ceiling_A, was.supply_limit_A])
        expect(now.trip_A).toBeLessThanOrEqual(Math.max(now.ceiling_A, was.trip_A))
        if (now.trip_A < was.trip_A) closer++
      }
    expect(closer).toBeGreaterThan(0)
    const { lines } = learned.learned ?? { lines: [] }
    const page = planPage(learned).replace(/\s+/g, ' ')
    for (const line of lines) expect(page).toContain(line)
    expect(coverageOf({ equipment, bench, plan: learned }).learned).toEqual(
      expect.arrayContaining([...lines]),
    )
  })
  it('learns as much of runs that were put into the archive, and says of those that are gone that they are', () => {
    const archive = join(dir, 'archive')
    mkdirSync(archive)
    const put = (name: string, from: string, to: string): void => {
      renameSync(join(from, `${name}.slowglow`), join(to, `${name}.slowglow`))
    }
    put('run 3', dir, archive)
    expect(planned().plan?.learned).toEqual(learned.learned)
    renameSync(join(archive, 'run 3.slowglow'), join(archive, 'away'))
    const { plan } = planned()
    // One run alone teaches nothing.
    expect(plan?.learned).toBeUndefined()
    expect(plan?.unproved.join('\n')).toMatch(
      /^What this set is wont to draw: A run in the set's book is not found .*: run 3\.$/m,
    )
    renameSync(join(archive, 'away'), join(dir, 'run 3.slowglow'))
  })
  it('completes a whole run under them, and nobody is asked anything that a set in order is not asked', () => {
    const { ending, asked } = run(learned, 'learned', 5, '2026-11-11T10:00:00.000Z')
    expect([ending.outcome, ending.outputs_off, ending.reason]).toEqual(['completed', 'confirmed', null])
    expect(asked).toEqual([])
  })
  it('thinks less of what was mended since, in a later run that trips', () => {
    const of = (path: string, name: string, priors: readonly string[]) => {
      const told = readRun(path, (reader) => diagnosisIn(reader, name, [], { cwd: dir, priors }))
      if (!('value' in told) || 'exit' in told.value) throw new Error('no diagnosis')
      return told.value.diagnosis
    }
    const leaks = 'C5:leaky=1M@t>1s'
    const before = run(learned, 'before', 6, '2026-11-12T10:00:00.000Z', leaks)
    expect(before.ending.outcome).toBe('tripped')
    expect(of(before.path, 'before', []).hypotheses[0]?.fault).toBe('C5:leaky=1000k')
    expect(of(before.path, 'before', []).learned.join(' ')).toMatch(/2 earlier runs in order/)
    book('2026-11-13T10:00:00.000Z', [
      { kind: 'finding', text: 'leaks', parts: ['C5'] },
      { kind: 'replaced', part: 'C5', was: 'paper', now: 'film', text: '' },
    ])
    const after = run(learned, 'after', 6, '2026-11-14T10:00:00.000Z', leaks)
    const mended = of(after.path, 'after', [])
    expect(mended.learned.join(' ')).toMatch(/Mended before.*C5/)
    expect(mended.learned.join(' ')).not.toMatch(/earlier runs in order/)
    // Asked to count its faults as often again as before it was mended, the diagnosis thinks more of it.
    const asIfNot = of(after.path, 'after', ['C5=4'])
    const others = ({ hypotheses, none, nothing }: typeof mended) =>
      1 - none - nothing.probability - (hypotheses[0]?.probability ?? 0)
    expect(mended.hypotheses[0]?.probability).toBeLessThan(asIfNot.hypotheses[0]?.probability ?? 0)
    expect(others(mended)).toBeGreaterThan(others(asIfNot))
    // And in what the next plan would notice.
    const of_plan = { equipment, bench, plan: learned }
    const told = coveredBy(of_plan, parts.set_path)
    expect(told.learned.join(' ')).toMatch(/Mended before.*C5/)
    expect(coverageText(told, false)).toMatch(/What was learned of this set:\n {2}Mended before.*C5/)
    expect(told.share).toBe(coveredBy(of_plan).share)
    expect(told.likely_share).not.toBe(coveredBy(of_plan).likely_share)
    const priors = priorsOf(['C5=4'], equipment, 'receive')
    if ('exit' in priors) throw new Error(priors.what)
    const asOften = coveredBy(of_plan, parts.set_path, priors)
    expect(asOften.likely_share).not.toBe(told.likely_share)
    expect(asOften.learned.join(' ')).toMatch(/Mended before.*C5.* as asked for: C5=4/)
  })
  it('is followed over its runs with what its book says was replaced between them', () => {
    const { life, no_book } = setTrend(dir, equipment.name, true, { equipmentPath: null, cwd: dir })
    expect(no_book).toBeNull()
    expect(life.map(({ what, run: name }) => name ?? what).slice(-3)).toEqual(['before', 'replaced', 'after'])
    expect(life.find(({ what }) => what === 'replaced')?.text).toBe('C5: was paper, now film')
    const elsewhere = setTrend(dir, equipment.name, true, { equipmentPath: null, cwd: tmpdir() })
    expect(elsewhere.no_book).toMatch(/^Repairs are not told: the file of the set/)
  })
})
