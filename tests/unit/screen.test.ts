import { describe, expect, it } from 'vitest'
import { frameOf } from '../../src/cli/live/screen.js'
import { toTerminal, wrapText } from '../../src/cli/wrap.js'
import type { RailView, View } from '../../src/sequencer/index.js'
import { limitsAt } from '../helpers/small-plan.js'

const rail = (name: string, more: Partial<RailView>): RailView => ({
  rail: name,
  class: 'programmed',
  set_V: 250,
  volts: 249.7,
  amps: 0.04312,
  age_s: 0.2,
  output: 'on',
  limits: limitsAt(250, 0.043),
  ...more,
})

const running: View = {
  phase: 'running',
  step: 9,
  steps: 12,
  steps_done: 8,
  stage: 'HT by steps, receiver, aerial and earth off, gain at maximum',
  rail: 'HT',
  waiting_for: 'the current to settle',
  elapsed_s: 754,
  left_s: 900,
  rails: [
    rail('heaters', { set_V: 12.6, volts: 12.58, amps: 2.41 }),
    rail('HT', {}),
    rail('mains', { class: 'hand', amps: null, age_s: 64 }),
  ],
  inputs: [],
  reason: null,
}

describe('what is said at the end, on a terminal', () => {
  it('breaks between words, and leaves a line whole whose path would not fit: it is copied from there', () => {
    const path = `/home/somebody/${'long/'.repeat(20)}run.slowglow`
    const said = toTerminal(`one two three four five six seven eight\nRecord: ${path}`, 24)
    expect(said.split('\n')).toEqual(['one two three four five', 'six seven eight', `Record: ${path}`])
    expect(toTerminal('no terminal, no lines broken anywhere', undefined)).toBe(
      'no terminal, no lines broken anywhere',
    )
  })
})

describe('the live lines', () => {
  it.each([80, 110])('fit %i columns with volts, amps and the state of every output whole', (wide) => {
    const lines = frameOf(running, 20, { columns: wide - 1, rows: 40 })
    for (const line of lines) expect(Array.from(line).length).toBeLessThan(wide)
    const text = lines.join('\n')
    expect(text).toMatch(/^ {2}HT +250 V +43\.1 mA {2}output on, set 250 V\b/m)
    expect(text).toMatch(/^ {2}mains +250 V +– {2}your knob, as you typed, 64 s old$/m)
    expect(text).toContain('expected 43 mA (')
    expect(text).toContain('Step 9 of 12')
  })

  it('show the rail that moves large, with its unit, where there is room, and never push the keys away', () => {
    const tall = frameOf(running, 1, { columns: 79, rows: 40 })
    expect(tall[0]).toMatch(/^ +█/)
    expect(tall[4]).toMatch(/█ +V +.*█ +mA$/)
    expect(tall.at(-1)).toMatch(/^Keys/)
    // The rail that an open question has watched comes before the one that moves.
    const watched = frameOf(running, 1, { columns: 79, rows: 40 }, {}, 'heaters')
    expect(watched.find((line) => /^ {2}\w+$/.test(line))).toBe('  heaters')
    expect(tall.find((line) => /^ {2}\w+$/.test(line))).toBe('  HT')
    const short = frameOf(running, 1, { columns: 79, rows: 18 })
    expect(short.join('')).not.toContain('█')
  })
})

describe('a long text', () => {
  it('breaks between words, keeps its indent and loses nothing', () => {
    const text = `? Read the volts at pin 8 of the rectifier socket V16 (reservoir) against chassis, red lead on it, and type them.\n  - ${'word '.repeat(40)}end`
    const wrapped = wrapText(text, 60)
    for (const line of wrapped.split('\n')) expect(line.length).toBeLessThanOrEqual(60)
    expect(wrapped.replaceAll(/\s+/g, ' ')).toBe(text.replaceAll(/\s+/g, ' '))
    expect(wrapped).toContain('\n  ')
  })

  it('breaks inside a word only where the word alone is longer than a line', () => {
    expect(
      wrapText('x'.repeat(50), 20)
        .split('\n')
        .map((line) => line.length),
    ).toEqual([20, 20, 10])
  })
})
