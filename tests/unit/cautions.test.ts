import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { cautionsFor, drawWord, standingText, words } from '../../src/cautions/index.js'
import { chance } from '../../src/chance/index.js'
import type { Figures } from '../../src/plan/index.js'

const figures: Figures = {
  highest_V: 350,
  stored_J: 12.25,
  stored_where: '200 µF on HT',
  discharge_s: 25,
  hazards: ['HT on key jack', 'radium'],
  unattended: false,
}

describe('cautions', () => {
  it('stand word for word in SAFETY.md', () => {
    expect(readFileSync('SAFETY.md', 'utf8')).toContain(standingText)
  })

  it('lead with the figures and hazards of this run, and then say the standing text', () => {
    const text = cautionsFor(figures)
    expect(text.indexOf('350 V')).toBeLessThan(text.indexOf(standingText))
    expect(text).toContain('12 J')
    expect(text).toContain('can kill')
    expect(text).toContain('HT ON THE KEY JACK')
    expect(text).toContain('RADIUM')
    expect(text.endsWith(standingText)).toBe(true)
  })

  it('say that the charge is to be taken as there when the discharge time is not known', () => {
    expect(cautionsFor({ ...figures, discharge_s: null })).toContain('Take every capacitor as charged')
  })

  it('never say or suggest that something may be touched', () => {
    expect(cautionsFor(figures)).not.toMatch(/safe to touch|may touch|can be touched|is safe/i)
  })

  it('cover every subject a start must name', () => {
    for (const subject of [
      'KILL',
      'recovers',
      'prove dead',
      'Bleeders fail open',
      'One hand',
      'Nobody alone',
      'unattended',
      'Radio frequency',
      'Fire',
      'isolating transformer',
      'backwards',
      'residual-current',
      'variable transformer does not isolate',
      'codes',
      'licence',
      'manual',
    ]) {
      expect(standingText).toContain(subject)
    }
  })

  it('draw a plain word from at least 64 that differ, the same for the same seed', () => {
    expect(new Set<string>(words).size).toBe(words.length)
    expect(words.length).toBeGreaterThanOrEqual(64)
    for (const word of words) expect(word).toMatch(/^[a-z]{4,8}$/)
    expect(drawWord(chance(5))).toBe(drawWord(chance(5)))
    const drawn = new Set(Array.from({ length: 200 }, (_, seed) => drawWord(chance(seed))))
    expect(drawn.size).toBeGreaterThan(30)
  })
})
