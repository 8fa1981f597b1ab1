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
      ...{ signal: 'AM', level_V: 2e-6, with_V: 0.4, without_V: 0.1 },
      ...{ heard: 'clear', audio: { V: 0.5, ohm: 4 } },
      ...{ frequency_Hz: 3.65e6, depth: 0.3, tone_Hz: 400, accuracy: 0, ...more },
    })
  it('is shown at 10 dB (S+N)/N with what good receivers of tubes need; check case T5.25', () => {
    expect(heard()).toMatchObject({
      verdict: 'shown',
      figures: [{ value: expect.closeTo(12.04, 2) as number }, {}, {}, {}, {}, {}, {}, {}],
    })
    // 0.100 V of noise, 0.3162 V modulated: a power ratio of 10.
    expect(heard({ with_V: 0.3162 }).figures[0]?.value).toBeCloseTo(10, 2)
    expect(heard({ with_V: 0.3163 }).verdict).toBe('shown')
  })
  it('is not shown below 10 dB, and marginal where the meters leave that open', () => {
    expect(heard({ with_V: 0.3 })).toMatchObject({
      verdict: 'not shown',
      judged: [{ verdict: 'not shown' }, { verdict: 'not shown' }, {}, {}],
    })
    expect(heard({ with_V: 0.33, accuracy: 0.05 }).verdict).toBe('marginal')
  })
  it('says at which frequency, and is no better than marginal with another modulation than the figures are for', () => {
    expect(heard().what).toBe('hearing AM at 3.65 MHz, modulated 30 % by 400 Hz')
    expect(heard({ tone_Hz: 1000 }).verdict).toBe('shown')
    const deep = heard({ depth: 0.8 })
    expect(deep.verdict).toBe('marginal')
    expect(deep.judged.some(({ text }) => text.includes('read again with those'))).toBe(true)
    expect(heard({ signal: 'CW', level_V: 1e-6, depth: 0.8 }).verdict).toBe('shown')
    // S units go by another figure above 30 MHz.
    const units = (frequency_Hz: number) =>
      heard({ frequency_Hz }).figures.find(({ key }) => key === 's_units')
    expect((units(50e6)?.value ?? 0) - (units(20e6)?.value ?? 0)).toBeCloseTo(20 / 6, 2)
  })
  it('tells a deaf set from one that is only less keen, and CW from AM', () => {
    expect(heard({ level_V: 20e-6 }).verdict).toBe('marginal')
    expect(heard({ level_V: 200e-6 }).verdict).toBe('not shown')
    expect(heard({ signal: 'CW' }).verdict).toBe('marginal')
    expect(heard({ signal: 'CW', level_V: 1e-6 }).verdict).toBe('shown')
  })
  it('holds audio against the standard output of 50 mW', () => {
    expect(heard({ audio: { V: 0.5, ohm: 4 } }).judged[3]).toMatchObject({ verdict: 'shown' })
    expect(heard({ audio: { V: 0.4, ohm: 4 } }).verdict).toBe('not shown')
    expect(heard({ audio: null })).toMatchObject({ verdict: 'marginal' })
  })
  it('wants an ear too: a meter reads hum and distortion as it reads the signal', () => {
    const by = (['clear', 'not said', 'with hum', 'distorted', 'noise alone'] as const).map((each) =>
      heard({ heard: each }),
    )
    expect(by.map(({ verdict }) => verdict)).toEqual([
      'shown',
      'marginal',
      'marginal',
      'marginal',
      'not shown',
    ])
    expect(by[1]?.judged[2]?.text).toContain('nobody said what is heard')
  })
})

describe('the transmit proof', () => {
  const readings: TransmitReadings = {
    ...{
      mode: 'key down',
      frequency_Hz: 3.65e6,
      assigned_Hz: null,
      load_ohm: 50,
      plate_V: 390,
      plate_A: 0.08,
    },
    ...{ load: { V: 33, as: 'rms' }, envelope: null, modulated_A: null, accuracy: 0 },
  }
  const sent = (more: Partial<TransmitReadings> = {}) => transmitProof(demo, { ...readings, ...more })
  it('is of the stage that drives no other, by its own ratings', () => {
    expect(outputStages(demo, 'key down').map(({ tube }) => tube)).toEqual(['V12'])
    const { verdict, judged, figures } = sent()
    expect(judged.map((each) => each.text).join('\n')).toMatch(/V12 may draw .*class C plate-modulated/)
    expect(judged.every(({ source }) => source !== '')).toBe(true)
    expect(figures.find(({ key }) => key === 'power_W')?.value).toBeCloseTo((33 * 33) / 50, 9)
    expect(verdict).toBe('shown')
  })
  it('holds what the plate loses against the service in force, as the limits of a run do; an owner’s own rating too', () => {
    // 440 V at 80 mA, 17.8 W out: 17.4 W, where plate-modulated CCS allows 16.5 W and the tube at most 25 W.
    const hot = { plate_V: 440, load: { W: 17.8 } } as const
    const of = (proof: ReturnType<typeof sent>) => proof.judged.find(({ text }) => text.includes('tank lose'))
    expect(sent(hot).verdict).toBe('not shown')
    expect(of(sent(hot))).toMatchObject({
      verdict: 'not shown',
      text: expect.stringMatching(
        /lose 17.4 W, the plates may bear 16.5 W \(class C plate-modulated/,
      ) as string,
    })
    const V12 = demo.tubes['V12']
    const stage = V12?.sections[0]?.driven
    if (V12 === undefined || stage === undefined) throw new Error('V12 is driven')
    const rating = {
      plate_V: 500,
      plate_A: 0.1,
      screen_W: null,
      grid_A: null,
      plate_input_W: null,
      plate_W: 8,
    }
    const driven = { ...stage, rating: { ...rating, source: 'the owner' } }
    const sections = V12.sections.map((each) => ({ ...each, driven }))
    const own = { ...demo, tubes: { ...demo.tubes, V12: { ...V12, sections } } }
    expect(of(transmitProof(own, { ...readings, load: { W: 22 } }))).toMatchObject({
      verdict: 'not shown',
      source: 'the owner',
    })
  })
  it('leaves open what its instruments leave open: amps, volts, efficiency, depth, and the carrier in what it makes', () => {
    const text = (of: ReturnType<typeof sent>, part: string) =>
      of.judged.find((each) => each.text.includes(part))
    // 83 mA are allowed.
    expect(text(sent({ plate_A: 0.082 }), 'plate current')?.verdict).toBe('shown')
    expect(text(sent({ plate_A: 0.082, accuracy: 0.05 }), 'plate current')?.verdict).toBe('marginal')
    expect(text(sent({ plate_V: 470 }), 'plate volts')?.verdict).toBe('shown')
    expect(text(sent({ plate_V: 470, accuracy: 0.05 }), 'plate volts')?.verdict).toBe('marginal')
    const even = { load: { W: 16.5 } } as const
    expect(text(sent(even), 'efficiency')?.verdict).toBe('shown')
    expect(text(sent({ ...even, accuracy: 0.05 }), 'efficiency')?.verdict).toBe('marginal')
    const speech = { envelope: { most_V: 86, least_V: 15 }, load: { W: 20 } } as const
    expect(text(sent(speech), 'depth')?.verdict).toBe('shown')
    expect(text(sent({ ...speech, accuracy: 0.05 }), 'depth')?.verdict).toBe('marginal')
    const peak = sent({ ...speech, accuracy: 0.05 }).figures.find(({ key }) => key === 'peak_envelope_W')
    const { value = 0, least = 0, most = 0 } = peak ?? {}
    expect([(least ?? 0) / (value ?? 1) < 0.95, (most ?? 0) / (value ?? 1) > 1.05]).toEqual([true, true])
  })
  it('looks for the run that held the key down, where a book is there to look in', () => {
    const last = (ran: NonNullable<TransmitReadings['ran']> | null) => sent({ ran }).judged.at(-1)
    expect(last(null)).toMatchObject({
      verdict: 'marginal',
      text: expect.stringContaining('no run to its end') as string,
    })
    expect(last({ run: 'r1', bench_kind: 'real' })).toMatchObject({ verdict: 'shown' })
    expect(last({ run: 'r1', bench_kind: 'virtual' })).toMatchObject({ verdict: 'marginal' })
  })
  it('is not shown beyond a rating, nor with an efficiency that no stage has', () => {
    expect(sent({ plate_A: 0.2 }).verdict).toBe('not shown')
    expect(
      sent({ load: { V: 39.6, as: 'rms' } }).judged.find(({ text }) => text.includes('a reading is wrong'))
        ?.verdict,
    ).toBe('not shown')
    expect(sent({ load: { V: 25, as: 'rms' }, plate_A: 0.07 }).verdict).toBe('marginal')
    expect(sent({ load: { V: 10, as: 'rms' } }).verdict).toBe('not shown')
  })
  it('takes watts as well as volts, each with its own error, and holds the frequency against the crystal', () => {
    const power = (of: ReturnType<typeof sent>) => of.figures.find(({ key }) => key === 'power_W')
    expect(power(sent({ load: { W: 20 }, accuracy: 0.05 }))).toMatchObject({
      value: expect.closeTo(20, 9) as number,
      least: expect.closeTo(19, 9) as number,
      most: expect.closeTo(21, 9) as number,
    })
    expect(power(sent({ load: { V: 100, as: 'peak to peak' } }))?.value).toBeCloseTo(25, 9)
    const at = (off_Hz: number) => sent({ frequency_Hz: 3.65e6 + off_Hz, assigned_Hz: 3.65e6 })
    expect([0, -500, 1500, 9000].map((off) => at(off).verdict)).toEqual([
      'shown',
      'shown',
      'marginal',
      'not shown',
    ])
    expect(at(-500).judged.at(-1)?.text).toMatch(/^500 Hz below 3.65 MHz, 137 parts in a million/)
    expect(at(0).what).toBe('key down at 3.65 MHz, into a dummy load')
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
    '--frequency',
    '3.65MHz',
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
    const deaf = keyed.map((each) => (each === 'key down' ? 'receive' : each))
    expect(run('proof', 'transmit', 'equipment.yaml', ...deaf, '--dummy-load').err).toMatch(
      /no output stage of the file is driven.*it is in key down, tone/,
    )
    expect(readBook(join(dir, 'equipment.book'))).toMatchObject({ entries: [] })
    const sent = run('proof', 'transmit', 'equipment.yaml', ...keyed, '--dummy-load')
    expect(sent.code).toBe(0)
    expect(sent.err).toContain('RF burns')
    expect(sent.out).toMatch(/marginal:\s+no\s+run\s+to\s+its\s+end\s+with\s+the\s+key\s+down/)
    expect(run(...aerial).code).toBe(0)
    const hear = [
      'proof',
      'receive',
      'equipment.yaml',
      '--frequency',
      '3.65MHz',
      '--level',
      '4µV',
      '--emf',
      '--with',
      '400mV',
      '--without',
      '100mV',
      ...['--heard', 'clear', '--audio', '0.5V', '--audio-load', '4Ω'],
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
