import { cpSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { appendToBook, type BookBody, bookPath } from '../../src/book/index.js'
import { diagnosisIn } from '../../src/cli/commands/diagnose.js'
import { diagnosisText } from '../../src/cli/diagnosis-text.js'
import { planFiles } from '../../src/cli/plan-files.js'
import { chance } from '../../src/chance/index.js'
import { adjusted, diagnosisOf, type Fault, faultsOf, learnedWeights } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { type EarlierReading, makePlan, type Plan, voltsOf, withLearned } from '../../src/plan/index.js'
import { createRunFile, readRun } from '../../src/record/index.js'
import { faultySets } from '../helpers/faulty-sets.js'
import { event, folder, known } from '../helpers/runs.js'

const from = 'profiles/small-receiver'
const all = loadAll(`${from}/receive-network.yaml`).value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench } = all
const { plan } = makePlan(all.profile, equipment, bench)
if (plan === null) throw new Error('no plan')

/** What runs drew at each raise of HT, as parts of what was expected. */
function drew(parts: readonly number[], of: Plan): EarlierReading[] {
  return parts.flatMap((part, i) =>
    of.steps.flatMap((step) =>
      step.do === 'raise' && step.rail === 'HT'
        ? [
            {
              ...{ run: `run ${i}`, mode: step.mode, volts: voltsOf(step), rail: 'HT' },
              amps: part * (step.limits.HT?.expected_A ?? 0),
            },
          ]
        : [],
    ),
  )
}
const limitsOf = (of: Plan) =>
  of.steps.flatMap((step) =>
    Object.entries(step.limits).map(([rail, own]) => ({ at: step.index, rail, own })),
  )

describe('bands that earlier good runs draw closer', () => {
  it('lie round what this set drew, with the runs named, and leave ceilings and supplies alone', () => {
    const closer = withLearned(plan, drew([0.88, 0.9], plan))
    const top = closer.steps.findLast(({ rail }) => rail === 'HT')
    const was = plan.steps.find(({ index }) => index === top?.index)?.limits.HT
    const now = top?.limits.HT
    if (was === undefined || now === undefined) throw new Error('no HT')
    expect(now.upper_A).toBeLessThan(was.upper_A)
    expect(now.lower_A).toBeGreaterThanOrEqual(was.lower_A)
    expect(now.lower_A).toBeLessThan(0.89 * was.expected_A)
    expect(now.upper_A).toBeGreaterThan(0.89 * was.expected_A)
    expect(now.trip_A).toBeLessThan(was.trip_A)
    expect([now.ceiling_A, now.supply_limit_A, now.expected_A]).toEqual([
      was.ceiling_A,
      was.supply_limit_A,
      was.expected_A,
    ])
    const reason = now.because.findLast(({ limit }) => limit === 'band')
    expect(reason?.text).toMatch(/good runs of this very set/)
    expect(reason?.source).toMatch(/run 0, run 1.*choice/)
    expect(closer.learned?.from).toEqual(['run 0', 'run 1'])
  })
  it('never loosen anything, whatever the runs drew', () => {
    const source = chance(5)
    for (let n = 0; n < 30; n++) {
      const parts = Array.from({ length: 1 + Math.floor(4 * source.next()) }, () => 3 * source.next())
      const before = limitsOf(plan)
      for (const [i, { rail, own }] of limitsOf(withLearned(plan, drew(parts, plan))).entries()) {
        const was = before[i]?.own
        if (was === undefined) throw new Error('a step is gone')
        expect(own.trip_A).toBeLessThanOrEqual(was.trip_A)
        expect(own.upper_A).toBeLessThanOrEqual(was.upper_A)
        expect(own.lower_A).toBeGreaterThanOrEqual(was.lower_A)
        expect(own.ask_A).toBeGreaterThanOrEqual(was.ask_A)
        expect(own.ask_A).toBeLessThanOrEqual(own.lower_A)
        expect(own.upper_A).toBeLessThanOrEqual(Math.max(own.trip_A, was.upper_A))
        expect(own.ceiling_A).toBe(was.ceiling_A)
        if (rail !== 'HT') expect(own).toEqual(was)
      }
    }
  })
  it('need two runs, at the same volts, that drew what was expected of them', () => {
    expect(withLearned(plan, drew([0.9], plan))).toBe(plan)
    expect(withLearned(plan, drew([2.5, 2.5], plan))).toBe(plan)
    const elsewhere = drew([0.9, 0.9], plan).map((each) => ({ ...each, volts: { HT: 77 } }))
    expect(withLearned(plan, elsewhere)).toBe(plan)
  })
})

describe('how often faults come in this set', () => {
  const fault = (name: string): Fault => {
    const found = faultsOf(equipment).find((each) => each.fault === name)
    if (found === undefined) throw new Error(`${name} is not in the library`)
    return found
  }
  it('follows what was mended, its kin, and what was read in range', () => {
    const { weight, told } = learnedWeights(equipment, [
      { kind: 'found', parts: ['C5'] },
      { kind: 'repaired', parts: ['C5'] },
      { kind: 'in range', parts: ['R5'], group: 'resistances' },
    ])
    const times = (name: string): number => weight(fault(name)) / fault(name).weight
    expect(times('C5:leaky=1000k')).toBeLessThan(1)
    expect(times('C3:leaky=1000k')).toBeGreaterThan(1)
    expect(times('C1:leaky=35k')).toBe(1)
    expect(times('R5:open')).toBeLessThan(1)
    expect(times('R6:open')).toBe(1)
    expect(told.join(' ')).toMatch(/C5.*paper capacitors.*R5/s)
  })
  it('is what a person says it is, by part, kind or both', () => {
    const weight = adjusted({ C5: 3, leaky: 2, 'R5:open': 10 })
    const times = (name: string): number => weight(fault(name)) / fault(name).weight
    expect(times('C5:leaky=1000k')).toBeCloseTo(6)
    expect(times('C5:open')).toBeCloseTo(3)
    expect(times('R5:open')).toBeCloseTo(10)
    expect(times('R6:open')).toBe(1)
  })
})

describe('a set that was seen in order before', () => {
  it('shows a fault that another set could hide', () => {
    const draw = faultySets(equipment, bench, plan)
    const fault = faultsOf(equipment).find((each) => each.fault === 'V2:no-emission') ?? null
    const well = draw(null, 23).seen
    const { seen } = draw(fault, 23)
    const share = (told: ReturnType<typeof diagnosisOf>): number => 1 - told.nothing.probability
    const alone = diagnosisOf({ equipment, bench, plan, seen })
    const with_it = diagnosisOf({ equipment, bench, plan, seen, earlier: { seen: well, runs: 3 } })
    expect(share(with_it)).toBeGreaterThan(share(alone))
    const again = diagnosisOf({ equipment, bench, plan, seen: well, earlier: { seen: well, runs: 3 } })
    expect(again.nothing.probability).toBeGreaterThan(again.hypotheses[0]?.probability ?? 0)
  })
})

describe('what is learned from the book', () => {
  const at = '2026-11-20T10:00:00.000Z'
  /** A run of this plan that went to its end, each raise of HT judged at a part of what was expected. */
  function ran(dir: string, of: Plan, name: string, part: number): string {
    const path = join(dir, `${name}.run`)
    const writer = createRunFile(path, { fsync: false })
    writer.append([
      {
        entry: 'known',
        known: {
          ...{
            ...known,
            run: name,
            plan: of,
            command: 'run',
            faults: [],
            started: '2026-11-25T10:00:00.000Z',
          },
          files: Object.fromEntries(Object.entries(planFiles('receive-network.yaml', undefined, dir).files)),
        },
      },
      ...of.steps.flatMap(({ index, rail, do: what, limits }, i) => {
        const t_us = 1e6 * (10 * i + 1)
        if (what !== 'raise' || rail !== 'HT') return [event(t_us, { step: index })]
        const { at_V = 0, expected_A = 0 } = limits.HT ?? {}
        return [
          event(t_us, { step: index, rail }),
          event(t_us + 5e6, {
            ...{ what: 'judgement', step: index, rail },
            data: { volts: at_V, amps: part * expected_A, expected_A },
          }),
        ]
      }),
      {
        entry: 'ending',
        t_us: 1e9,
        ending: {
          ...{
            outcome: 'completed',
            outputs_off: 'confirmed',
            reason: null,
            stored_charge: {},
            hand_rails: {},
          },
          ...{ warnings: [], steps_done: of.steps.length, duration_s: 1000, details: {} },
        },
      },
    ])
    writer.close()
    return path
  }
  function book(dir: string, bodies: readonly BookBody[], expects: number): void {
    const done = appendToBook(
      bookPath(join(dir, 'equipment-network.yaml')),
      { at, by: 'keeper', expects },
      bodies.map((body) => ({ body })),
    )
    if ('trouble' in done) throw new Error(done.trouble)
  }
  it('closer bands in the plan and in diagnose until something is done to the set', () => {
    const dir = folder()
    cpSync(from, dir, { recursive: true })
    const first = planFiles('receive-network.yaml', undefined, dir).plan
    if (first === null) throw new Error('no plan')
    expect(first.learned).toBeUndefined()
    const runOf = (name: string, part: number): BookBody => ({
      ...{
        kind: 'run',
        run: name,
        file: ran(dir, first, name, part),
        profile: first.profile,
        bench_kind: 'virtual',
      },
      ...{ outcome: 'completed', outputs_off: 'confirmed', reason: null, seal: null },
    })
    book(dir, [runOf('one', 0.9), runOf('two', 0.92)], 0)
    const then = planFiles('receive-network.yaml', undefined, dir).plan
    expect(then?.learned?.from).toEqual(['one', 'two'])
    expect(then?.hash).not.toBe(first.hash)
    const told = readRun(ran(dir, first, 'three', 0.6), (reader) =>
      diagnosisIn(reader, 'three', [], { cwd: dir }),
    )
    if (!('value' in told) || 'exit' in told.value) throw new Error('no diagnosis')
    expect(told.value.diagnosis.learned.join(' ')).toMatch(/2 earlier runs in order/)
    expect(diagnosisText('three', told.value.diagnosis, false, told.value.set)).toMatch(
      /What was learned of this set:\n {2}.*2 earlier runs in order/,
    )
    book(dir, [{ kind: 'replaced', part: 'C5', was: 'paper', now: 'film', text: '' }], 2)
    expect(planFiles('receive-network.yaml', undefined, dir).plan?.learned).toBeUndefined()
  })
})
