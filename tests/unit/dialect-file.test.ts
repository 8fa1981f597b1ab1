import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import type { Line } from '../../src/bench/index.js'
import { wire_s } from '../../src/bench/wire-time.js'
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
    title: 'clearing a protection as its word at every resynchronisation',
    from: 'remote: ":SYST:REM"',
    to: 'remote: ":SYST:REM"\n      clear: ":OUTP:PROT:CLE"',
    says: /clear says ":OUTP:PROT:CLE", which resets, saves or clears/,
    advises: /cleared by hand/,
  },
  {
    title: 'a reset as its remote word, which goes out in the urgent OFF too',
    from: '":SYST:REM"',
    to: '"*RST"',
    says: /remote says "\*RST", which resets/,
    advises: /leave it out/,
  },
  {
    title: 'a line of its own hidden in its remote word',
    from: '":SYST:REM"',
    to: '":SYST:REM\\n:OUTP1 ON"',
    says: /remote holds the end of a line/,
    advises: /terminator says it/,
  },
  {
    title: 'ON hidden behind its remote word, in its own words',
    from: '":SYST:REM"',
    to: '":SYST:REM;:OUTP1 ON"',
    says: /remote says ":OUTP1 ON", which switches an output on, or sets something/,
    advises: /one by one/,
  },
  {
    title: 'clearing in the choice of a channel',
    from: 'remote: ":SYST:REM"',
    to: 'remote: ":SYST:REM"\n      select: ":OUTP:PROT:CLE;"',
    says: /select says ":OUTP:PROT:CLE;", which resets, saves or clears/,
    advises: /cleared by hand/,
  },
  ...[
    '":OUTP2 ON"',
    '":SOUR1:VOLT 300"',
    '"OUTP ON"',
    '"VOLT 300"',
    '"*TRG"',
    '":OUTP 1,(@1)"',
    '":SOUR{n}:CURR 0.5"',
  ].map((words) => ({
    title: `${words} at every opening`,
    from: '":SYST:BEEP OFF"',
    to: words,
    says: /at_open says ".*", which switches an output on, or sets something at it/,
    advises: /one by one/,
  })),
  {
    title: 'ON in its own words at every opening',
    base: short,
    from: 'clear: "CLR"',
    to: 'clear: "CLR"\n      at_open: ["OUT2:1"]',
    says: /at_open says "OUT2:1", which switches an output on/,
    advises: /one by one/,
  },
  {
    title: 'a channel in words for the whole supply',
    from: '":SYST:BEEP OFF"',
    to: '":SYST{n}:BEEP OFF"',
    says: /at_open says .* and \{n\} stands for nothing there/,
    advises: /leave it out/,
  },
  {
    title: 'a dead-man that a healthy ON would fire',
    from: 'terminator: CR LF',
    to: 'terminator: CR LF\n      slow: { on: 1.9 s, error_query: 1.9 s }',
    says: /fires after 2 s, and switching on or setting may keep its line busy for 4\.00\d s with nothing wrong/,
    advises: /set it to 6 s or longer/,
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

  it('is refused in a meter and in a watched input too', () => {
    const meter = (more: string): string =>
      `${numbered}meters:\n  lid:\n    measures: contact\n    limits: [{ trip: open, because: hands }]\n    ${more}\n`
    const said = (text: string): string[] =>
      fromText(text, 'bench.yaml', 'bench').problems.map(({ what }) => what)
    expect(said(meter('on: BENCH\n    ask: ":LID?"'))).toEqual([])
    expect(said(meter('on: BENCH\n    ask: ":LID?;:OUTP1 ON"')).join()).toMatch(
      /lid: ask says ":OUTP1 ON", which switches an output on/,
    )
    const own = 'line: { kind: tcp, host: h, port: 5025 }\n    ask: ":LID?"'
    expect(said(meter(own))).toEqual([])
    expect(
      said(meter(`${own}\n    dialect: { based_on: plain SCPI, name: odd, clear: "*RST" }`)).join(),
    ).toMatch(/dialect "odd" of lid: clear says "\*RST", which resets/)
    const relay = (feed: string): string =>
      `${numbered}cut_off: { line: { kind: tcp, host: h, port: 5025 }, feed: "${feed}", after: 4 s, cuts: [BENCH] }\n`
    expect(said(relay(':REL:FEED?'))).toEqual([])
    expect(said(relay(':REL:CLE;:REL:FEED?')).join()).toMatch(/feed says .* which resets, saves or clears/)
  })

  it('that names no identity is warned of on a real bench, and only there', () => {
    const nameless = numbered.replace(/ *identity: .*\n/, '')
    const [problem, ...more] = fromText(nameless, 'bench.yaml', 'bench').problems
    expect(more).toEqual([])
    expect(problem).toMatchObject({ severity: 'warning' })
    expect(problem?.what).toMatch(
      /nothing says which instrument BENCH is: whatever answers on its line is believed/,
    )
    expect(problem?.remedy).toMatch(/slowglow supplies --bench/)
  })

  it('stands behind a line of its own speed, parity, stop bits and flow control', () => {
    const line = (more: string): Line | undefined =>
      fromText(numbered.replace('baud: 115200', `baud: 9600${more}`), 'bench.yaml', 'bench').value?.supplies[
        'BENCH'
      ]?.line
    const plain = line('')
    const full = line(', parity: even, stop_bits: 2, flow_control: RTS CTS')
    expect(plain).toEqual({ kind: 'serial', path: '/dev/ttyS0', baud: 9600, spare_allowed: true })
    expect(full).toEqual({ ...plain, parity: 'even', stop_bits: 2, rts_cts: true })
    // Ten bits a byte, and twelve: by arithmetic.
    expect(plain && wire_s(plain, 96)).toBeCloseTo(0.1, 9)
    expect(full && wire_s(full, 96)).toBeCloseTo(0.12, 9)
  })

  it('is warned of behind a name that the next plug changes', () => {
    const said = (path: string): string[] =>
      fromText(numbered.replace('/dev/ttyS0', path), 'bench.yaml', 'bench').problems.map(({ what }) => what)
    expect(said('/dev/ttyUSB0').join()).toMatch(/ttyUSB0 is given to whatever is plugged in first/)
    expect(said('/dev/serial/by-id/usb-invented')).toEqual([])
  })

  it('may share its supply between bias and HT only where each output has a dead-man of its own', () => {
    const bias = numbered.replace('feeds: screen\n        role: screen', 'feeds: bias\n        role: bias')
    const said = (text: string): string =>
      fromText(text, 'bench.yaml', 'bench')
        .problems.map(({ what }) => what)
        .join()
    expect(said(bias)).toBe('')
    const shared = bias.replace('per: output', 'per: supply').replaceAll(':OUTP{n}:DMAN', ':OUTP:DMAN')
    expect(said(shared)).toMatch(/feeds both bias and HT, and one dead-man timer acts on all its channels/)
  })
})
