import { expect, it } from 'vitest'
import { demo, planned } from '../helpers/small-set.js'

/* What a plan names as making a band wide is what makes it wide: cut-off tubes by the amps of their curves' error too. */

const { steps } = planned(demo('tern-rock/transmit'))
const told = (rail: string) =>
  // A stage that is tuned draws more for seconds than its band.
  steps.flatMap(({ limits, time_limits }) => {
    if (time_limits !== undefined) return []
    const of = limits[rail]
    const words = /each alone at its 95 % point \([^)]*\): (.*)$/.exec(
      of?.because.find(({ limit }) => limit === 'band')?.text ?? '',
    )?.[1]
    return of === undefined || words === undefined ? [] : [{ of, words }]
  })
const amps = (words: string): readonly number[] =>
  [...words.matchAll(/[+−±]([\d.]+) (mA|µA)/g)].map(
    ([, value, unit]) => Number(value) * (unit === 'mA' ? 1e-3 : 1e-6),
  )

it.each(['HT', 'bias'])('on %s they add as squares to the band, all else among them', (rail) => {
  expect(told(rail).length).toBeGreaterThan(5)
  for (const { of, words } of told(rail)) {
    const half_A = (of.upper_A - of.lower_A) / 2
    const sum_A = Math.sqrt(amps(words).reduce((sum, A) => sum + A * A, 0))
    // Told at their 95 % points, some from nought: what lies on one side only counts whole here and half in the band.
    expect(sum_A / half_A, words).toBeGreaterThan(0.85)
    expect(sum_A / half_A, words).toBeLessThan(1.6)
  }
})

it('a tube near cut-off is named by what its curves may be off there, and the bias that holds it by its resistors', () => {
  const at = (V: number) => told('HT').find(({ of }) => of.at_V === V)?.words ?? ''
  expect(at(250)).toMatch(/V13 near cut-off \+[23](\.\d)? mA, V14 near cut-off \+[23]/)
  expect(at(400)).toMatch(/^resistors by tolerance and age \+1\d mA, V13 \+8\.\d mA/)
})
