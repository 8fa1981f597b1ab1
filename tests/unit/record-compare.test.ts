import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import {
  addNote,
  compareRuns,
  createRunFile,
  openRunFile,
  type RunEntry,
  type StepStory,
  type Story,
  storyOf,
  trendLines,
  trendOf,
  type Work,
} from '../../src/record/index.js'
import type { ChannelPlan } from '../../src/plan/index.js'
import { comparisonText, trendText } from '../../src/cli/compare-text.js'
import { folder, known, smallRun } from '../helpers/runs.js'

/** An ammeter of 1 % and 1 mA. */
const channel: ChannelPlan = {
  channel: 'ht.1',
  port: 'ht',
  share: 1,
  set_digits_V: 1,
  set_digits_A: 3,
  min_V: 0,
  min_A: 0,
  max_V: 300,
  max_A: 0.5,
  resolution_V: 0.1,
  resolution_A: 0.001,
  accuracy_V: { of_reading: 0.01, plus: 0.1 },
  accuracy_A: { of_reading: 0.01, plus: 0.001 },
  over_voltage: true,
  over_voltage_margin_V: 2,
  off_order: 1,
}
/** The small run as a `run` of its own, its currents times `factor`, tripping when its last step is at `last_V`. */
function runOf(name: string, started: string, factor: number, last_V = 120): RunEntry[] {
  const HT = known.plan.rails['HT']
  if (HT === undefined) throw new Error('no HT')
  const plan = { ...known.plan, rails: { HT: { ...HT, channels: [channel] } } }
  return smallRun().map((entry) => {
    if (entry.entry === 'known')
      return { entry: 'known', known: { ...known, plan, run: name, started, command: 'run' as const } }
    if (entry.entry === 'reading' && entry.stream === 2) return { ...entry, n: Math.round(entry.n * factor) }
    if (entry.entry === 'reading' && entry.t_us === 92_000_000) return { ...entry, n: last_V * 100 }
    if (entry.entry === 'event' && typeof entry.event.data['amps'] === 'number') {
      const data = { ...entry.event.data, amps: entry.event.data['amps'] * factor }
      return { ...entry, event: { ...entry.event, data } }
    }
    return entry
  })
}
function file(at: string, name: string, entries: readonly RunEntry[]): string {
  mkdirSync(at, { recursive: true })
  const path = join(at, `${name}.slowglow`)
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  return path
}
function story(path: string): Story {
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  const told = storyOf(opened.reader)
  opened.reader.close()
  return told
}
/** A set's trend as the command has it, with what its book says. */
const withBook = (trend: ReturnType<typeof trendOf>, work: readonly Work[] = []) => ({
  ...trend,
  life: trendLines(trend, work),
  no_book: null,
})
const at = (name: string, factor: number): Story =>
  story(file(folder(), name, runOf(name, '2026-11-01T10:00:00Z', factor)))

describe('two runs laid beside each other', () => {
  it('are the same within the measuring error where only that much changed', () => {
    const { steps, differs } = compareRuns(at('a', 1), at('b', 1.02))
    expect(differs).toEqual([])
    const verdicts = steps.flatMap(({ rails }) => rails.map(({ verdict }) => verdict))
    expect(verdicts.length).toBeGreaterThan(0)
    expect(new Set(verdicts)).toEqual(new Set(['same']))
  })

  it('say what draws more, by how much and how sure, and the other way round what draws less', () => {
    const [a, b] = [at('a', 1), at('b', 1.6)]
    const [more] = compareRuns(a, b).steps.flatMap(({ rails }) => rails)
    expect(more).toMatchObject({ rail: 'HT', verdict: 'draws more' })
    expect(more?.change_A).toBeCloseTo((more?.b_A ?? 0) - (more?.a_A ?? 0), 12)
    // 1 % of each reading, 1 mA each, half a digit each.
    expect(more?.error_A).toBeCloseTo(0.01 * ((more?.a_A ?? 0) + (more?.b_A ?? 0)) + 0.003, 12)
    expect(compareRuns(b, a).steps[0]?.rails[0]?.verdict).toBe('draws less')
    expect(comparisonText(compareRuns(a, b))).toMatch(/draws more: \+.* mA, \+60 % \(±/)
    expect(compareRuns(a, b).steps[0]?.verdict).toBe('changed')
    expect(compareRuns(a, a).steps.map(({ verdict }) => verdict)).toContain('same')
  })

  it('say nothing of a knob that was turned further: both volts are told, and what they explain is no change', () => {
    const a = at('a', 1)
    const turned = (volts: number, amps: number): Story => ({
      ...a,
      steps: a.steps.map((step) => ({
        ...step,
        rails: step.rails.map((rail) => ({
          ...rail,
          ...{ volts: (rail.volts ?? 0) * volts, amps: (rail.amps ?? 0) * amps },
        })),
      })),
    })
    const rail = (b: Story) => compareRuns(a, b).steps[0]?.rails[0]
    // A tenth more volts through vacuum: 15.4 % more current.
    expect(rail(turned(1.1, 1.15))).toMatchObject({
      verdict: 'same',
      a_V: 60,
      b_V: expect.closeTo(66, 9) as number,
    })
    expect(rail(turned(1, 1.6))?.error_A).toBeCloseTo(rail(a)?.error_A ?? 0, 12)
    expect(rail(turned(1.1, 1.9))?.verdict).toBe('draws more')
    expect(rail(turned(0.9, 1.6))?.verdict).toBe('draws more')
    expect(rail(turned(0.9, 0.5))?.verdict).toBe('draws less')
    expect(comparisonText(compareRuns(a, turned(1.1, 1.9)))).toMatch(/ at 60 V .* at 66 V /)
  })

  it('align by what the steps do: one that only one run has stands by itself', () => {
    const a = at('a', 1)
    const extra: StepStory = { ...(a.steps[0] as StepStory), target_V: 17, index: 9 }
    const { steps } = compareRuns(a, { ...a, steps: [extra, ...a.steps] })
    expect(steps.map(({ a_step, b_step }) => [a_step, b_step])).toEqual([
      [null, 9],
      ...a.steps.filter(({ began_s }) => began_s !== null).map(({ index }) => [index, index]),
    ])
  })

  it('tell a rail that only stands by where it changed, and how many did not', () => {
    const standing = (amps: number): Story => {
      const a = at('a', 1)
      return {
        ...a,
        steps: a.steps.map((step) => ({
          ...step,
          rails: step.rails.flatMap((rail) => [
            rail,
            { ...rail, rail: 'bias', amps: step.index === 2 ? amps : 0.01 },
          ]),
        })),
      }
    }
    const same = comparisonText(compareRuns(standing(0.01), standing(0.01)))
    expect(same).not.toContain('bias')
    expect(same).toContain('2 more, of rails that only stood by, were the same')
    expect(comparisonText(compareRuns(standing(0.01), standing(0.05)))).toMatch(/ bias .*draws more/)
  })

  it('are not compared in a step whose volts one of them never came to', () => {
    const broken = story(file(folder(), 'b', runOf('b', '2026-11-01T10:00:00Z', 0.5, 80)))
    expect(broken.steps[1]?.rails[0]).toMatchObject({ volts: 80, verdict: 'volts not reached' })
    for (const [a, b] of [
      [at('a', 1), broken],
      [broken, at('a', 1)],
    ] as const) {
      const { rails } = compareRuns(a, b).steps[1] ?? {}
      expect(rails).toMatchObject([{ rail: 'HT', change_A: null, verdict: 'not at its volts in both' }])
    }
    const none = comparisonText(compareRuns({ ...broken, steps: broken.steps.slice(1) }, at('a', 1)))
    expect(none).toContain('Nothing was measured at the same volts in both')
    expect(none).toContain('no such step')
  })

  it('say that a rail draws more where it does so at fewer volts than it should have had', () => {
    const shorted = story(file(folder(), 'b', runOf('b', '2026-11-01T10:00:00Z', 1.6, 20)))
    const { rails } = compareRuns(at('a', 1), shorted).steps[1] ?? {}
    expect(rails).toMatchObject([{ rail: 'HT', verdict: 'draws more' }])
    expect(compareRuns(shorted, at('a', 1)).steps[1]?.rails[0]?.verdict).toBe('draws less')
  })

  it('say what else was not the same', () => {
    const a = at('a', 1)
    const text = comparisonText(compareRuns(a, { ...a, bench: 'another bench', plan_hash: 'x' }))
    expect(text).toContain('another bench')
    expect(text).toContain('The plans differ')
  })

  it('say first that one of them was changed after it was written', () => {
    const a = at('a', 1)
    const { differs } = compareRuns(a, { ...a, seal: { is: 'broken', where: 'link 2' } })
    expect(differs).toEqual([expect.stringMatching(/^SEAL BROKEN: the second .*link 2/)])
  })
})

describe('the trend of a set', () => {
  it('follows each rail at each of its volts over the runs, with the notes between, and says what changed', () => {
    const runs = folder()
    file(runs, 'one', runOf('one', '2026-11-01T10:00:00Z', 1))
    const second = file(runs, 'two', runOf('two', '2026-11-02T10:00:00Z', 1.01))
    file(runs, 'three', runOf('three', '2026-11-03T10:00:00Z', 2))
    file(runs, 'rehearsal', smallRun())
    addNote(second, { written: '2026-11-02T18:00:00Z', by: 'Ada', text: 'C12 replaced' })
    const trend = trendOf(runs, known.plan.equipment, false)
    expect(trend.runs.map(({ run }) => run)).toEqual(['one', 'two', 'three'])
    const [first] = trend.series
    expect(first?.points.map(({ amps }) => amps)).toHaveLength(3)
    expect(first?.change).toMatchObject({ beyond_error: true })
    const work: Work[] = [
      { at: '2026-11-02', by: 'Ada', what: 'repair', text: 'C7 leaked [C7]' },
      { at: '2026-11-05T10:00:00Z', by: 'Ada', what: 'replaced', text: 'V1: was weak, now new' },
    ]
    const text = trendText(withBook(trend, work))
    expect(text).toContain('note 2026-11-02, Ada, to 2: C12 replaced')
    // Before the second run, which began in that day, and after the last.
    expect(text).toMatch(
      / 1 {2}2026-11-01[^]*repair 2026-11-02, Ada: C7[^]* 2 {2}2026-11-02[^]*replaced 2026-11-05/,
    )
    expect(trendOf(runs, known.plan.equipment, true).runs).toHaveLength(4)
  })

  it('has one point a run: raised and then held at the same volts, as it was at the last', () => {
    const runs = folder()
    const held = runOf('one', '2026-11-01T10:00:00Z', 1).map((entry): RunEntry => {
      if (entry.entry !== 'known') return entry
      const steps = known.plan.steps.map((step) => ({
        ...step,
        target_V: 60,
        limits: { HT: { ...(step.limits['HT'] ?? {}), at_V: 60 } as (typeof step.limits)[string] },
      }))
      return { entry: 'known', known: { ...entry.known, plan: { ...entry.known.plan, steps } } }
    })
    file(runs, 'one', held)
    const [first, ...rest] = trendOf(runs, known.plan.equipment, false).series
    expect(rest).toEqual([])
    expect(first?.points).toHaveLength(1)
    expect(first?.change).toBeNull()
  })

  it('judges no capacitor: a reform in circuit holds no figure of any, and that is said', () => {
    const runs = folder()
    file(runs, 'one', runOf('one', '2026-11-01T10:00:00Z', 1))
    const none = trendText(withBook(trendOf(runs, known.plan.equipment, false)))
    expect(none).toContain('each capacitor: not judged; none of these runs was a reform.')
    const reform = runOf('two', '2026-11-02T10:00:00Z', 1).map(
      (entry): RunEntry =>
        entry.entry === 'known'
          ? { ...entry, known: { ...entry.known, plan: { ...entry.known.plan, kind: 'reform' } } }
          : entry,
    )
    file(runs, 'two', reform)
    const trend = trendOf(runs, known.plan.equipment, false)
    expect(trend.capacitors).toMatchObject([
      { run: 'one', reformed: false, leakage: 'not judged' },
      { run: 'two', reformed: true, leakage: 'not judged', capacitance: 'not judged' },
    ])
    expect(trendText(withBook(trend))).toMatch(
      /each capacitor: not judged\n {2}2 {2}formed in circuit, where other paths draw/,
    )
  })

  it('names the files that it could not count', () => {
    const runs = folder()
    createRunFile(join(runs, 'x.slowglow'), { fsync: false }).close()
    file(runs, 'one', runOf('one', '2026-11-01T10:00:00Z', 1))
    const trend = trendOf(runs, known.plan.equipment, false)
    expect(trend.runs).toHaveLength(1)
    expect(trendText(withBook(trendOf(folder(), 'nothing', false)))).toMatch(/No runs of nothing/)
  })
})
