import { copyFileSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { Command } from 'commander'
import { afterAll, describe, expect, it } from 'vitest'
import { readBook } from '../../src/book/index.js'
import { registerBook } from '../../src/cli/commands/book.js'
import { registerProof } from '../../src/cli/commands/proof.js'
import { registerRecordSheet } from '../../src/cli/commands/record-sheet.js'
import type { Io } from '../../src/cli/io.js'
import { loadEquipment } from '../../src/files/index.js'
import {
  aerialProof,
  outputStages,
  receiveProof,
  type ReceiveReadings,
  transmitProof,
  type TransmitReadings,
} from '../../src/proof/index.js'

const rock = resolve(import.meta.dirname, '../../profiles/tern-rock/equipment.yaml')
const demo = loadEquipment(rock).value
if (demo === null) throw new Error('the demo is sound')

describe('the receive proof', () => {
  const heard = (more: Partial<ReceiveReadings> = {}) =>
    receiveProof({
      ...{ signal: 'AM', level_V: 2e-6, with_V: 0.4, without_V: 0.1, audio: null },
      ...{ above_30_MHz: false, accuracy: 0, ...more },
    })
  it('is shown at 10 dB (S+N)/N with what good receivers of tubes need; check case T5.25', () => {
    expect(heard()).toMatchObject({
      verdict: 'shown',
      figures: [{ value: expect.closeTo(12.04, 2) as number }, {}, {}, {}, {}, {}, {}],
    })
    // 0.100 V of noise, 0.3162 V modulated: a power ratio of 10.
    expect(heard({ with_V: 0.3162 }).figures[0]?.value).toBeCloseTo(10, 2)
    expect(heard({ with_V: 0.3163 }).verdict).toBe('shown')
  })
  it('is not shown below 10 dB, and marginal where the meters leave that open', () => {
    expect(heard({ with_V: 0.3 })).toMatchObject({
      verdict: 'not shown',
      judged: [{ verdict: 'not shown' }, { verdict: 'not shown' }],
    })
    expect(heard({ with_V: 0.33, accuracy: 0.05 }).verdict).toBe('marginal')
  })
  it('tells a deaf set from one that is only less keen, and CW from AM', () => {
    expect(heard({ level_V: 20e-6 }).verdict).toBe('marginal')
    expect(heard({ level_V: 200e-6 }).verdict).toBe('not shown')
    expect(heard({ signal: 'CW' }).verdict).toBe('marginal')
    expect(heard({ signal: 'CW', level_V: 1e-6 }).verdict).toBe('shown')
  })
  it('holds audio against the standard output of 50 mW', () => {
    expect(heard({ audio: { V: 0.5, ohm: 4 } }).judged[2]).toMatchObject({ verdict: 'shown' })
    expect(heard({ audio: { V: 0.4, ohm: 4 } }).verdict).toBe('not shown')
  })
})

describe('the transmit proof', () => {
  const sent = (more: Partial<TransmitReadings> = {}) =>
    transmitProof(demo, {
      ...{ mode: 'key down', load_V: 33, as: 'rms', load_ohm: 50, plate_V: 390, plate_A: 0.08 },
      ...{ envelope: null, modulated_A: null, accuracy: 0, ...more },
    })
  it('is of the stage that drives no other, by its own ratings', () => {
    expect(outputStages(demo, 'key down').map(({ tube }) => tube)).toEqual(['V12'])
    const { verdict, judged, figures } = sent()
    expect(judged.map((each) => each.text).join('\n')).toMatch(/V12 may draw .*class C plate-modulated/)
    expect(judged.every(({ source }) => source !== '')).toBe(true)
    expect(figures.find(({ key }) => key === 'power_W')?.value).toBeCloseTo((33 * 33) / 50, 9)
    expect(verdict).toBe('shown')
  })
  it('is not shown beyond a rating, nor with an efficiency that no stage has', () => {
    expect(sent({ plate_A: 0.2 }).verdict).toBe('not shown')
    expect(
      sent({ load_V: 39.6 }).judged.find(({ text }) => text.includes('a reading is wrong'))?.verdict,
    ).toBe('not shown')
    expect(sent({ load_V: 25 }).verdict).toBe('marginal')
    expect(sent({ load_V: 10 }).verdict).toBe('not shown')
  })
  it('holds modulation depth and carrier shift against what is usual; check case T5.12', () => {
    const half = sent({ envelope: { most_V: 150, least_V: 50 } })
    expect(half.figures.find(({ key }) => key === 'depth')?.value).toBe(0.5)
    expect(half.verdict).toBe('marginal')
    expect(sent({ envelope: { most_V: 90, least_V: 5 } }).verdict).toBe('shown')
    expect(sent({ envelope: { most_V: 90, least_V: 0 } }).judged.at(-1)?.text).toContain('splatters')
    expect(sent({ modulated_A: 0.082 }).verdict).toBe('shown')
    expect(sent({ modulated_A: 0.07 }).verdict).toBe('not shown')
  })
  it('says where the file names no rating, and does not pass it', () => {
    expect(sent({ mode: 'receive' })).toMatchObject({
      verdict: 'marginal',
      judged: [{ text: expect.stringContaining('no rating') as string }, {}],
    })
  })
})

it('the aerial takes it up to 2:1, not beyond 3:1; check case T5.09', () => {
  const match = (reflected_W: number) =>
    aerialProof({ frequency_Hz: 3.65e6, forward_W: 100, reflected_W, accuracy: 0 })
  expect(match(4).figures[0]?.value).toBeCloseTo(1.5, 9)
  expect([0, 4, 16, 30, 100].map((W) => match(W).verdict)).toEqual([
    'shown',
    'shown',
    'marginal',
    'not shown',
    'not shown',
  ])
})

describe('proofs in the book', () => {
  const dir = mkdtempSync(join(tmpdir(), 'slowglow-proof-'))
  afterAll(() => {
    rmSync(dir, { recursive: true, force: true })
  })
  copyFileSync(rock, join(dir, 'equipment.yaml'))
  const endedWith = (): number => Number(process.exitCode ?? 0)
  const run = (...args: string[]): { readonly code: number; readonly out: string; readonly err: string } => {
    const [out, err]: [string[], string[]] = [[], []]
    const io: Io = {
      out: (text) => void out.push(text),
      err: (text) => void err.push(text),
      ...{
        isTerminal: false,
        colour: false,
        cwd: dir,
        env: { USER: 'tester', SLOWGLOW_RUNS: join(dir, 'runs') },
      },
    }
    const program = new Command()
    for (const register of [registerBook, registerProof, registerRecordSheet]) register(program, io)
    process.exitCode = undefined
    program.parse(['node', 'slowglow', ...args])
    const code = endedWith()
    process.exitCode = undefined
    return { code, out: out.join('\n'), err: err.join('\n') }
  }
  const by = ['--instrument', 'a meter']
  const keyed = [
    '--mode',
    'key down',
    '--volts',
    '33V',
    '--load',
    '50Ω',
    '--plate-volts',
    '390V',
    '--plate-current',
    '80mA',
    ...by,
  ]
  const aerial = [
    'proof',
    'aerial',
    'equipment.yaml',
    '--frequency',
    '3.65MHz',
    '--forward',
    '20W',
    '--reflected',
    '800mW',
    ...by,
  ]

  it('dummy load before aerial, instruments named, cautions said; the record is of what stands', () => {
    expect(run('record-sheet', 'equipment.yaml')).toMatchObject({ code: 1 })
    expect(run(...aerial).err).toContain('the dummy load comes first')
    expect(run('proof', 'transmit', 'equipment.yaml', ...keyed).err).toContain('confirm it with --dummy-load')
    expect(readBook(join(dir, 'equipment.book'))).toMatchObject({ entries: [] })
    const sent = run('proof', 'transmit', 'equipment.yaml', ...keyed, '--dummy-load')
    expect(sent.code).toBe(0)
    expect(sent.err).toContain('RF burns')
    expect(run(...aerial).code).toBe(0)
    const hear = [
      'proof',
      'receive',
      'equipment.yaml',
      '--level',
      '4µV',
      '--emf',
      '--with',
      '400mV',
      '--without',
      '100mV',
    ]
    expect(run(...hear).err).toContain('give --instrument')
    expect(run(...hear, ...by).code).toBe(0)
    expect(run('record-sheet', 'equipment.yaml', '--out', 'record.html')).toMatchObject({ code: 0 })
    const page = readFileSync(join(dir, 'record.html'), 'utf8')
    for (const words of [
      'hearing AM',
      'into a dummy load',
      'match at 3.65 MHz',
      'a meter',
      'tester',
      'Waived, ever',
    ])
      expect(page).toContain(words)
  })
  it('after a repair they are to be shown again, the dummy load first', () => {
    run('book', 'equipment.yaml', '--replaced', 'C17', '--was', 'paper', '--now', 'film')
    const { code, out } = run('record-sheet', 'equipment.yaml')
    expect(code).toBe(1)
    expect(out).toContain('transmit: to be shown again')
    expect(run(...aerial).code).toBe(2)
  })
})
