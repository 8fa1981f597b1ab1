import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import { changed, expectProblem, type Case } from '../helpers/files.js'

const file = (name: string): string =>
  readFileSync(new URL(`../../firmware-protocol/dialects/${name}.yaml`, import.meta.url), 'utf8')
const numbered = file('numbered-words')
const short = file('short-words')

const at = '\n      based_on'
const wrong: readonly (Omit<Case, 'at'> & { readonly base?: string; readonly at?: string })[] = [
  {
    title: 'a set command without its number',
    from: '":SOUR{n}:VOLT {v}"',
    to: '":SOUR{n}:VOLT"',
    says: /set_volts says ":SOUR\{n\}:VOLT", without \{v\}/,
    advises: /write \{v\}/,
  },
  {
    title: 'a place that stands for nothing',
    from: '":OUTP{n} ON"',
    to: '":OUTP{n} {x}"',
    says: /on says .* and \{x\} stands for nothing/,
    advises: /leave it out/,
  },
  {
    title: 'words that forget the channel',
    from: '":OUTP{n} OFF"',
    to: '":OUTP OFF"',
    says: /off would go to the same channel always/,
    advises: /write \{n\}/,
  },
  {
    title: 'clearing a protection at every opening',
    from: '":SYST:BEEP OFF"',
    to: '":OUTP:PROT:CLE"',
    says: /at_open says ":OUTP:PROT:CLE", which resets, saves or clears: an output may come back by itself/,
    advises: /cleared by hand/,
  },
  {
    title: 'a reset at every opening',
    from: '":SYST:BEEP OFF"',
    to: '"*RST"',
    says: /"\*RST", which resets/,
    advises: /leave it out/,
  },
  {
    title: 'one bit for both regulations',
    from: 'mask: 1, cv_mask: 2',
    to: 'mask: 3, cv_mask: 2',
    says: /one bit means constant current and constant voltage/,
    advises: /mask or cv_mask/,
  },
  {
    title: 'a dead-man that one slow reply would fire',
    from: 'after: 2 s',
    to: 'after: 300 ms',
    says: /fires after 0.3 s, and one reply may take 0.2 s/,
    advises: /longer than twice/,
  },
  {
    title: 'a dead-man for each output that does not say which',
    from: 'feed: ":OUTP{n}:DMAN:FEED"',
    to: 'feed: ":OUTP:DMAN:FEED"',
    says: /":OUTP:DMAN:FEED" does not say which/,
    advises: /per: supply/,
  },
  {
    title: 'an over-voltage level without words for it',
    from: 'ask_over_volts: ":SOUR{n}:VOLT:PROT?"',
    to: 'ask_over_volts: null',
    says: /no words to set and ask an over-voltage level/,
    advises: /over_voltage: false/,
  },
  {
    title: 'an answer without its place',
    base: short,
    from: '"VSET {x}"',
    to: '"VSET"',
    says: /answers.ask_set_volts is "VSET", without one \{x\}/,
    advises: /write \{x\}/,
  },
  {
    title: 'a line that could be taken for an answer',
    base: short,
    from: 'acknowledges: "OK"',
    to: 'acknowledges: "0"',
    says: /the line "0" could be taken for an answer/,
    advises: /whole line/,
  },
]

describe('a dialect in the bench file', () => {
  it.each(wrong)('is refused for $title', ({ base = numbered, at: place = at, ...one }) => {
    const text = changed(base, one)
    // Told at the dialect's first key.
    expectProblem(fromText(text, 'bench.yaml', 'bench').problems, text, { ...one, at: place, plus: 7 })
  })

  it('may share its supply between bias and HT only where each output has a dead-man of its own', () => {
    const bias = numbered.replace('feeds: screen\n        role: screen', 'feeds: bias\n        role: bias')
    const said = (text: string): string =>
      fromText(text, 'bench.yaml', 'bench')
        .problems.map(({ what }) => what)
        .join()
    expect(said(bias)).not.toMatch(/feeds both bias and HT/)
    const shared = bias.replace('per: output', 'per: supply').replaceAll(':OUTP{n}:DMAN', ':OUTP:DMAN')
    expect(said(shared)).toMatch(/feeds both bias and HT, and one dead-man timer acts on all its channels/)
  })
})
