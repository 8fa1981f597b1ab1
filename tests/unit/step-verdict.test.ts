import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { RailLimits, Step } from '../../src/plan/index.js'
import { createRunFile, openRunFile, type RunEntry, storyOf } from '../../src/record/index.js'
import { folder, known, plan, smallRun } from '../helpers/runs.js'

const HT = plan.steps[1]?.limits['HT']
if (HT === undefined) throw new Error('no limits')

/** What `show`, report and page say of step 2, in which the run ended on HT's way from 60 to 120 V at 41 mA. */
function verdicts(change: (step: Step) => Partial<Step>): Record<string, string> {
  const path = join(folder(), 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  const changed = { ...plan, steps: plan.steps.map((step) => ({ ...step, ...change(step) })) }
  const bias = { id: 3, name: 'bias.A', unit: 'A', rail: 'bias', resolution: 0.0001 } as const
  writer.append([
    {
      entry: 'known',
      known: {
        ...known,
        plan: { ...changed, rails: { ...plan.rails, bias: { ...plan.rails['HT']!, name: 'bias' } } },
      },
    },
    { entry: 'stream', stream: bias },
    ...smallRun().flatMap((entry): RunEntry[] => {
      if (entry.entry === 'known') return []
      if (entry.entry !== 'reading' || entry.t_us < 92_000_000 || entry.stream !== 2) return [entry]
      return [entry, { entry: 'reading', stream: 3, t_us: entry.t_us + 10, n: 150, k: 4 }]
    }),
  ])
  writer.close()
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  const rails = storyOf(opened.reader).steps.at(-1)?.rails ?? []
  opened.reader.close()
  return Object.fromEntries(rails.map(({ rail, verdict }) => [rail, verdict]))
}
const limits = (rail: string, more: Partial<RailLimits>) => (step: Step) => ({
  limits: { ...step.limits, [rail]: { ...HT, ...step.limits[rail], ...more } },
})

describe('what is said of a rail in the step that a run ended in', () => {
  it('is that it drew too much, where it did at any volts', () => {
    expect(verdicts(() => ({}))).toEqual({ HT: 'above trip' })
  })

  it('is held against what was allowed on its way: what charges its capacitors came on top', () => {
    expect(verdicts(limits('HT', { charge_A: 0.02 }))).toEqual({ HT: 'volts not reached' })
    expect(verdicts(limits('HT', { charge_A: 0.012 }))).toEqual({ HT: 'above band' })
  })

  it('is nothing against heaters that were cold still', () => {
    expect(verdicts(() => ({ soft_start_s: 5 }))).toEqual({ HT: 'volts not reached' })
    expect(verdicts(() => ({ soft_start_s: 0.5 }))).toEqual({ HT: 'above trip' })
  })

  it('is, of a rail that stood while another rose, held against what it drew before as well', () => {
    const standing = (before: number, now: number): ReturnType<typeof verdicts> =>
      verdicts((step) => {
        const trip_A = step.index === 1 ? before : now
        const own = { at_V: 50, expected_A: trip_A / 2, lower_A: 0.001, upper_A: trip_A, trip_A }
        return limits('bias', own)(step)
      })
    expect(standing(0.02, 0.01)['bias']).toBe('in band')
    expect(standing(0.01, 0.01)['bias']).toBe('above trip')
  })
})
