import { chance } from '../../src/chance/index.js'
import { loadAll } from '../../src/files/index.js'
import { sampleElements } from '../../src/limits/index.js'
import { type Ask, makePlan, type Step } from '../../src/plan/index.js'
import { willing } from '../../src/rehearse/index.js'
import { rehearse } from './replayed.js'

/** What a whole bring-up of one healthy set came to. */
export interface HealthyRun {
  readonly outcome: string
  /** Rule that ended it, in words; null where it ran through. */
  readonly stopped: string | null
  /** Questions that a set as the file says is not asked. */
  readonly asked: readonly string[]
  /** Each rail's last judged current over what was expected of it. */
  readonly of_expected: Readonly<Record<string, number>>
}

/**
 * Whether a healthy set is bothered by this: a current that is weak or does not settle, a cathode that is read because a tube
 * seems over its rating, a reading that is asked for once more because it lay outside its window.
 */
export function bothers(ask: Pick<Ask, 'text'>, step: Pick<Step, 'only_if'> | null): boolean {
  return (
    ask.text.includes('Go on, or stop?') ||
    ask.text.includes('read and type it once more') ||
    step?.only_if !== undefined
  )
}

/** One of the demo's profiles, and a healthy set for each seed: its parts drawn as the limits draw theirs, by other seeds. */
export function healthySets(profilePath: string): (seed: number) => HealthyRun {
  const all = loadAll(profilePath).value
  if (all === null) throw new Error(`${profilePath} does not load.`)
  const { equipment, bench } = all
  const { plan, problems } = makePlan(all.profile, equipment, bench)
  if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return (seed) => {
    const asked: string[] = []
    const of_expected: Record<string, number> = {}
    const { ending } = rehearse(plan, equipment, bench, {
      seed,
      faults: [],
      operator: (ask, at) => {
        if (bothers(ask, at.step)) asked.push(ask.text)
        return willing(ask, at)
      },
      drawn: (nominal) => sampleElements(equipment, nominal, chance(seed).fork('healthy set')),
      record: (entry) => {
        if (entry.entry !== 'event') return
        const { what, rail, data } = entry.event
        if (what === 'judgement' && rail !== null && Number(data.expected_A) > 0)
          of_expected[rail] = Number(data.amps) / Number(data.expected_A)
      },
    })
    const { reason } = ending
    return {
      outcome: ending.outcome,
      stopped:
        ending.outcome === 'completed' ? null : `${reason?.code ?? 'none'}: ${reason?.text ?? 'no reason'}`,
      asked,
      of_expected,
    }
  }
}
