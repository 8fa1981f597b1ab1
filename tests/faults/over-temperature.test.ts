import { describe, expect, it } from 'vitest'
import type { Dialect } from '../../src/bench/index.js'
import { brisk, demo, told } from './demo.js'

/** The HT supply, asked for its over-temperature in these words. */
const asked = (ask_over_heat_tripped: Dialect['ask_over_heat_tripped']) =>
  demo((bench) => {
    const high = bench.supplies['high']
    if (high === undefined) throw new Error('demo bench changed')
    const dialect = { ...high.dialect, ask_over_heat_tripped }
    return { ...bench, supplies: { ...bench.supplies, high: { ...high, dialect } } }
  }, brisk)

describe('a supply that switches off because it is too hot', () => {
  it.each([
    ['a question of its own', ':TEMP:PROT:TRIP?'],
    ['bit 4 of the questionable register', { query: ':STAT:QUES:COND?', mask: 16 }],
  ])('trips as its own protection, told by %s, and everything goes off', (_how, words) => {
    const run = told(asked(words), ['high.out:overheats@HT>100V'])
    const texts = [run.ending.reason?.text ?? '', ...run.ending.warnings].join('\n')
    expect(run.ending.outcome).toBe('tripped')
    expect(['protection', 'off-set-point']).toContain(run.ending.reason?.code)
    expect(texts).toMatch(/own over-temperature protection fired on high\.out \(HT\)/)
    expect(run.ending.outputs_off).toBe('confirmed')
  })

  it('shows by its volts alone where it has no words for it', () => {
    const run = told(asked(null), ['high.out:overheats@HT>100V'])
    expect(run.ending.outcome).toBe('tripped')
    expect(run.ending.reason?.rail).toBe('HT')
    expect(run.ending.outputs_off).toBe('confirmed')
  })
})
