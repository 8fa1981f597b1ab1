import { describe, expect, it } from 'vitest'
import { type DriveWatch, openLeadMost_A, type Plan, type Step } from '../../src/plan/index.js'
import { judgeDriveBias, judgeDriveMeter, tellsDrive } from '../../src/sequencer/judge-drive.js'
import type { Draft, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from '../helpers/moment.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Grid current as the proof of drive: each sign of it has its own count, each stage too. */

const [holds, after] = [7, 8]
const byBias: DriveWatch['bias'] = { rail: 'BIAS', with_A: 0.006, lost_A: 0.01 }
const byMeter = (name: string): DriveWatch['meter'] => ({ name, volts: 1, lost_V: 0 })
const watch = (tube: string, more: Partial<DriveWatch>): DriveWatch => ({
  ...{ tube, grid_A: 0.004, bias: null, meter: null, text: '' },
  ...more,
})
/** The hold with these watches, its bias rail the first of the plan; then steps like it, as they are given. */
const driven = (drive: readonly DriveWatch[], ...more: readonly Partial<Step>[]): Plan =>
  smallPlan((plan) => {
    const { BIAS, ...others } = plan.rails
    const like = plan.steps[holds]!
    const hold: Step = { ...like, drive }
    const next = more.map((each, at): Step => ({ ...like, index: hold.index + 1 + at, ...each }))
    return {
      ...plan,
      rails: { BIAS: BIAS!, ...others },
      steps: [...plan.steps.slice(0, holds), hold, ...next],
    }
  })
function moment(plan: Plan, at = holds, more: Partial<State> = {}): Draft {
  const rails = { ...standing(plan, 'HT', 250, 0.05), ...standing(plan, 'BIAS', 40, 0.006) }
  return momentOf(plan, at, { part: 'hold', part_us: 0, ...more, rails })
}
/** What meters and the bias supply say, in turn, 0.1 s apart to this moment. */
function heard(d: Draft, ...said: readonly (readonly [meter: string | null, value: number])[]): Draft {
  for (const [at, [meter, value]] of said.entries()) {
    d.s.t_us = now_us - (said.length - 1 - at) * 100_000
    d.broken = []
    const sample = { value, t_us: d.s.t_us }
    if (meter === null) d.s.rails['BIAS']!.A = sample
    else d.s.meters = { ...d.s.meters, [meter]: sample }
    if (meter === null) judgeDriveBias(d, 'BIAS')
    else judgeDriveMeter(d, meter)
  }
  return d
}
const lostTubes = (d: Draft): string[] => d.broken.map(({ text }) => String(text).slice(0, 2))
const meters: State['meters'] = { M1: null, M2: null }

describe('drive that is lost', () => {
  it('is seen by either sign alone, whatever the other says between', () => {
    const plan = driven([watch('V1', { bias: byBias, meter: byMeter('M1') })])
    const by = heard(
      moment(plan, holds, { meters }),
      ['M1', 0.1],
      [null, 0.006],
      ['M1', 0.1],
      [null, 0.006],
      ['M1', 0.1],
      [null, 0.006],
      ['M1', 0.1],
    )
    expect(lostTubes(by)).toEqual(['V1'])
  })

  it('is that of its own stage, whatever another shows between', () => {
    const plan = driven([watch('V1', { meter: byMeter('M1') }), watch('V2', { meter: byMeter('M2') })])
    const by = heard(
      moment(plan, holds, { meters }),
      ['M1', 0.1],
      ['M2', 1],
      ['M1', 0.1],
      ['M2', 1],
      ['M1', 0.1],
      ['M2', 1],
      ['M1', 0.1],
    )
    expect(lostTubes(by)).toEqual(['V1'])
    expect(by.s.drive_seen).toEqual({ V2: holds })
  })

  it('is not lost at one half of its grid current, and proves nothing below that', () => {
    const plan = driven([watch('V1', { meter: byMeter('M1') })])
    const shows = (value: number) =>
      heard(moment(plan, holds, { meters }), ['M1', value], ['M1', value], ['M1', value], ['M1', value])
    expect([lostTubes(shows(0.5)), shows(0.5).s.drive_seen]).toEqual([[], { V1: holds }])
    expect([lostTubes(shows(0.49)), shows(0.49).s.drive_seen]).toEqual([['V1'], {}])
  })

  it('is judged while a question stands in a step that does not rise', () => {
    const plan = driven([], { do: 'ask', drive: [watch('V1', { meter: byMeter('M1') })] })
    const d = moment(plan, after, { meters, part: 'asking' })
    expect(lostTubes(heard(d, ['M1', 0], ['M1', 0], ['M1', 0], ['M1', 0]))).toEqual(['V1'])
  })

  it('is not proved by as little as an open lead of the bias supply may read', () => {
    const plan = driven([watch('V1', { bias: byBias })])
    const most_A = openLeadMost_A(plan.rails['BIAS']!.bias!, 40, 0.0001)
    const gives = (A: number) => heard(moment(plan), [null, A]).s.drive_seen
    expect([gives(most_A), gives(most_A + 0.0001)]).toEqual([{}, { V1: holds }])
  })
})

describe('a bias supply that gives more', () => {
  const [bias, meter] = [watch('V1', { bias: byBias }), watch('V2', { meter: byMeter('M1') })]
  const tells = (plan: Plan, rail = 'BIAS', at = holds, A = 0.0085): boolean =>
    tellsDrive(moment(plan, at), rail, A)

  it('tells of drive where a watch of the step is on it, and no other rail does', () => {
    expect([tells(driven([bias, meter])), tells(driven([bias, meter]), 'HT')]).toEqual([true, false])
    expect([tells(driven([meter])), tells(driven([])), tells(smallPlan())]).toEqual([false, false, false])
  })

  it('tells of it on the way down by what was watched before, not by what comes after', () => {
    const lower = { do: 'lower' as const, rail: 'HT', target_V: 100 }
    const [again, more] = [driven([bias], lower, lower, {}), driven([], lower, { drive: [bias] })]
    expect([tells(again, 'BIAS', after), tells(again, 'BIAS', after + 1)]).toEqual([true, true])
    expect(tells(more, 'BIAS', after)).toBe(false)
    const most_A = 1.1 * (0.006 + 0.01 - 0.006)
    expect([tells(again, 'BIAS', after, most_A), tells(again, 'BIAS', after, 0.0111)]).toEqual([true, false])
  })
})
