import { describe, expect, it } from 'vitest'
import type { Bench, TakenOutput } from '../../src/bench/index.js'
import { cautionsFor } from '../../src/cautions/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan, unattendedPlan } from '../../src/plan/index.js'
import { type Proved, qualifiedBench } from '../../src/qualify/index.js'
import { dead_man, figures, fitBench, outputs, qualification } from '../helpers/unattended.js'

/** Which outputs a dead-man takes, as `qualify` saw it: what plan, cautions and unattended work make of that. */

const loaded = loadAll('tests/helpers/short/receive.yaml').value
if (loaded === null) throw new Error('the short profile is not sound')
const { equipment } = loaded
const profile = { ...loaded.profile, unattended: true }
const fit = fitBench(loaded.bench)
const { high } = fit.supplies
const out = high?.channels['out']
if (high === undefined || out === undefined) throw new Error('no supply')

/** The supply of HT with another output, and what was seen of that one when the dead-man of the first fired; null = never measured. */
function bench(
  per: 'supply' | 'output',
  second: Partial<typeof out>,
  did: TakenOutput['did'] | null,
  date = '2026-06-01',
): Bench {
  const channels = { ...high?.channels, more: { ...out, number: 2, ...second } } as NonNullable<
    typeof high
  >['channels']
  const dialect = { ...high?.dialect, select: ':INST:NSEL {n};', dead_man: { ...dead_man, per } }
  const stated = per === 'supply' ? 'goes' : 'stays'
  const proof: Proved = {
    ...{ of: 'dead-man', verdict: 'fired', said: true, after_s: 4, text: '' },
    ...(did !== null && { outputs: [{ channel: 'high.more', did, stated }] }),
  }
  const measured = { ...figures, proofs: [...figures.proofs, proof] }
  return qualifiedBench(
    { ...fit, supplies: { ...fit.supplies, high: { ...high, channels, dialect } as typeof high & object } },
    qualification([...outputs, 'high.more'], date, { 'high.out': { figures: measured } }),
    '2026-09-01',
  )
}

function planned(of: Bench) {
  const { plan, problems } = makePlan(profile, equipment, of, { unattended: true })
  const said = (severity: string): string =>
    problems.flatMap((each) => (each.severity === severity ? [`${each.what} ${each.remedy}`] : [])).join()
  return {
    plan,
    errors: said('error'),
    warnings: said('warning'),
    refused: (plan?.unattended?.refused ?? []).map(({ what }) => what).join(),
  }
}

const bias = { feeds: 'grid', role: 'bias' } as const

describe('bias beside HT behind a dead-man that is stated to take one output alone', () => {
  it('is planned on without a word where it was seen to stay on', () => {
    const { plan, errors, warnings, refused } = planned(bench('output', bias, 'stayed on'))
    expect([errors, warnings.includes('dead-man'), refused]).toEqual(['', false, ''])
    const text = plan?.supplies?.find(({ channel }) => channel === 'high.out')?.text
    expect(text).toContain('When its dead-man was left unfed, high.more stayed on.')
  })

  it('is refused where it was seen to go, however long ago, with what to do', () => {
    for (const date of ['2026-06-01', '2024-06-01']) {
      const { plan, errors } = planned(bench('output', bias, 'went off', date))
      expect(plan).toBeNull()
      expect(errors).toMatch(
        /dead-man of high\.out takes the bias \(high\.more\) with it.*would not outlast HT.*another supply/,
      )
    }
  })

  it.each([
    ['never seen', null, '2026-06-01', /stated and was never seen/, /nothing has shown/],
    ['seen a year ago', 'stayed on', '2024-06-01', /stated and was never seen/, /nothing has shown/],
    ['not clear', 'not clear', '2026-06-01', /not clear from its qualification/, /does not show clearly/],
  ] as const)('is warned of, and not left alone, where that was %s', (_, did, date, warned, left) => {
    const { errors, warnings, refused } = planned(bench('output', bias, did, date))
    expect(errors).toBe('')
    expect(warnings).toMatch(warned)
    expect(warnings).toContain('slowglow qualify --channel high.out')
    expect(refused).toMatch(left)
  })
})

describe('another hot output behind one dead-man for all', () => {
  const hot = (did: TakenOutput['did'] | null, date?: string): Bench =>
    bench('supply', { feeds: 'screen', role: 'screen' }, did, date)

  /** As for a set that has a screen rail as well: one timer for all is proved on one output in the start. */
  function leftAlone(of: Bench): string {
    const { plan } = planned(of)
    const { HT } = plan?.rails ?? {}
    const raised = plan?.steps.find(({ do: does, rail }) => does === 'raise' && rail === 'HT')
    const [part] = HT?.channels ?? []
    if (plan === null || HT === undefined || raised === undefined || part === undefined)
      throw new Error('no plan')
    const screen = {
      ...HT,
      name: 'screen',
      role: 'screen',
      channels: [{ ...part, channel: 'high.more' }],
    } as const
    const steps = [...plan.steps, { ...raised, rail: 'screen' }]
    return unattendedPlan(profile, of, { ...plan.rails, screen }, steps)
      .refused.map(({ what }) => what)
      .join()
  }

  it('may be left alone where it was seen to go', () => {
    expect(leftAlone(hot('went off'))).toBe('')
  })

  it('may not where nobody saw it, or saw it a year ago', () => {
    for (const of of [hot(null), hot('went off', '2024-06-01')])
      expect(leftAlone(of)).toMatch(/nothing has shown that the dead-man of high takes high\.more too/)
  })

  it('may not where it was seen to stay on, or not clearly', () => {
    expect(leftAlone(hot('stayed on'))).toMatch(
      /does not take high\.more for certain: it stayed on when that of high\.out/,
    )
    expect(leftAlone(hot('not clear'))).toMatch(/does not take high\.more for certain: whether it went/)
  })

  it('is said in plan and cautions to stay on where it was seen to, and not counted on', () => {
    const series = (did: TakenOutput['did']): Bench => ({
      ...bench('supply', {}, did),
      stacks: [{ rail: 'HT', channels: ['high.out', 'high.more'] }],
    })
    const said = (did: TakenOutput['did']) => {
      const { plan } = planned(series(did))
      if (plan === null) throw new Error('no plan')
      return { cannot: plan.rails['HT']?.cannot.join() ?? '', cautions: cautionsFor(plan.figures, plan) }
    }
    const stayed = said('stayed on')
    expect(stayed.cannot).toMatch(/its dead-man was tried \(it stayed on when that of high\.out/)
    expect(stayed.cautions).toMatch(/- HT \(high\.more\) may STAY ON when computer or line are gone/)
    const went = said('went off')
    expect(went.cannot).not.toContain('was tried')
    expect(went.cautions).not.toContain('STAY ON')
  })
})
