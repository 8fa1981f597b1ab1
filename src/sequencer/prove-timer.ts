import { broke } from './breach.js'
import type { Under } from './prove-parts.js'
import { record } from './send.js'
import type { State } from './state.js'
import { paced_s } from './state.js'
import { isDown, lookAfter_s, noted } from './under-proof.js'
import { volts } from './words.js'

/** What a timer has cut is watched for so long before it counts, s (our choice). */
const staysAway_s = 15

/**
 * An outside timer at a few volts: the output stays on, its set-point stands and all rules of the line go on, so the volts must go by
 * the timer alone. And stay away: one that closes again by its own clock would bring them back in one jump, with nobody there.
 */
export function watchTimer(
  under: Under,
  now: NonNullable<State['proof']>,
  waited_s: number,
): 'fired' | 'did not fire' | null {
  const { d, proof, rail, state } = under
  const down = isDown(under)
  if (now.seen_us === null) {
    if (down) noted(d, {})
    return !down && waited_s > paced_s(d.s, proof.within_s) ? 'did not fire' : null
  }
  const away_s = (d.s.t_us - now.seen_us) / 1e6
  const left_V = state.V?.value ?? 0
  if (!down) {
    if (away_s <= paced_s(d.s, lookAfter_s)) return null
    const text = `${rail.name}: what the outside timer cut came back by itself, or was never gone: ${volts(left_V)} stand ${away_s.toFixed(1)} s after. It protects nothing: take the supply as having none.`
    record(d, 'judgement', text, {
      rail: rail.name,
      data: { proof: proof.of, result: 'came back', waited_s, after_s: away_s, volts: left_V },
    })
    broke(d, { code: 'unproved', rail: rail.name, measured: left_V, unit: 'V', text })
    return null
  }
  if (away_s < paced_s(d.s, staysAway_s)) return null
  const after_s = (now.seen_us - now.told_us) / 1e6
  const { from_V, fired } = now
  d.s.proof = { ...now, result: 'fired' }
  d.s.latched = true
  record(
    d,
    'judgement',
    `${rail.name}: the outside timer cut ${after_s.toFixed(1)} s after it was waited for: ${volts(from_V)} went to ${volts(left_V)} with nothing told to the supply, and stayed away for ${away_s.toFixed(0)} s.`,
    {
      rail: rail.name,
      data: {
        ...{ proof: proof.of, result: 'fired', said: fired !== null, after_s },
        ...{ within_s: proof.within_s, from_V, left_V, away_s },
      },
    },
  )
  return 'fired'
}
