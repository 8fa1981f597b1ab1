import { describe, expect, it } from 'vitest'
import { bothers, healthySets } from '../helpers/healthy-sets.js'

/*
 * A small sample of what `npm run bench -- --only healthy --sets 1000` counts: parts drawn by tolerance, age and tube spread
 * as the limits draw theirs, with seeds that no plan uses.
 */
it('a set is bothered by each question that nothing but a reading of its own brought up', () => {
  const only_if = { over_rating: 'V8', rated_V: 12 }
  expect(bothers({ text: 'HT draws 40 mA. Go on, or stop?' }, {})).toBe(true)
  expect(bothers({ text: '12 V is outside 1 V to 10 V; read and type it once more. Read V8.' }, {})).toBe(
    true,
  )
  expect(bothers({ text: 'V8 reads over its rating. Read its cathode.' }, { only_if })).toBe(true)
  expect(bothers({ text: 'Set the send switch to send, then confirm.' }, {})).toBe(false)
})

describe('healthy sets are left alone', () => {
  it.each([
    ['receive', 60_001],
    ['transmit', 60_003],
  ])(
    'a whole bring-up (%s, set %d) neither stops nor asks whether to go on',
    (profile, seed) => {
      const run = healthySets(`profiles/tern-rock/${profile}.yaml`)(seed)
      expect(run.stopped).toBeNull()
      expect(run.asked).toEqual([])
      expect(run.of_expected.HT).toBeGreaterThan(0.5)
      expect(run.of_expected.HT).toBeLessThan(1.6)
      // It is another set than the file's: a drawn one never stands at exactly what is expected.
      expect(Math.abs((run.of_expected.HT ?? 1) - 1)).toBeGreaterThan(1e-4)
    },
    180_000,
  )
})
