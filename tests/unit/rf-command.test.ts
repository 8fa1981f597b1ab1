import { Command } from 'commander'
import { afterEach, expect, it } from 'vitest'
import { registerAerial } from '../../src/cli/commands/aerial.js'
import { registerRf } from '../../src/cli/commands/rf.js'
import type { Io } from '../../src/cli/io.js'

afterEach(() => {
  process.exitCode = undefined
})

function run(...words: readonly string[]) {
  let out = ''
  let err = ''
  const io: Io = {
    out: (text) => (out += text),
    err: (text) => (err += text),
    isTerminal: false,
    colour: false,
    cwd: '.',
    env: {},
  }
  const program = new Command('slowglow').exitOverride()
  registerRf(program, io)
  registerAerial(program, io)
  program.parse(['node', 'slowglow', ...words])
  return { code: process.exitCode, out, err }
}

it('tells figures with what the instruments leave open, and the arithmetic', () => {
  const { code, out } = run('rf', 'match', '--forward', '100W', '--reflected', '4W', '--accuracy', '5%')
  expect(code).toBe(0)
  expect(out).toMatch(/SWR +1\.5:1 +1\.47:1 to 1\.532:1/)
  expect(out).toMatch(/delivered to the load +96 W/)
})

it('carries SI units under --json, and null where there is no bound', () => {
  const said = JSON.parse(run('rf', 'match', '--swr', '1', '--json').out) as Record<string, unknown>
  expect(said).toMatchObject({ swr: 1, return_loss_dB: null, mismatch_loss_dB: 0, given: { swr: 1 } })
  const aerial = JSON.parse(run('aerial', '21.2MHz', '--json').out) as Record<string, number>
  expect(aerial['quarter_element_m']).toBeCloseTo(3.3585, 3)
})

it.each([
  [['rf', 'match', '--forward', '4W', '--reflected', '100W'], /wrong way round/],
  [['rf', 'match', '--swr', '0.5'], /1 or more/],
  [['rf', 'match', '--swr', '2', '--forward', '10W'], /it takes one of/],
  [['rf', 'level'], /--volts \[--load\]; --dbm \[--load\]/],
  [['rf', 'level', '--dbm=-73', '--accuracy', '5%'], /decibels/],
  [['rf', 'load', '--volts', '10'], /no unit/],
  [['rf', 'load', '--volts', '10V', '--as', 'average'], /read as rms/],
  [
    ['rf', 'stage', '--plate-volts', '100V', '--plate-current', '100mA', '--output', '40W'],
    /More|more comes out/,
  ],
  [['aerial', '21.2'], /no unit/],
  [['aerial', '21.2MHz', '--end-factor', '2'], /between 0\.5 and 1/],
] as const)('says what is wrong with %j', (words, why) => {
  const { code, out, err } = run(...words)
  expect(code).toBe(2)
  expect(out).toBe('')
  expect(err).toMatch(why)
})
