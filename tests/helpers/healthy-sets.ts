import { chance } from '../../src/chance/index.js'
import { loadAll } from '../../src/files/index.js'
import { sampleElements } from '../../src/limits/index.js'
import { makePlan } from '../../src/plan/index.js'
import { rehearse } from '../../src/rehearse/index.js'

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
      drawn: (nominal) => sampleElements(equipment, nominal, chance(seed).fork('healthy set')),
      record: (entry) => {
        if (entry.entry !== 'event') return
        const { what, text, rail, data } = entry.event
        if (what === 'prompt' && text.includes('Go on, or stop?')) asked.push(text)
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
