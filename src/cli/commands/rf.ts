import type { Command } from 'commander'
import {
  depthOfEnvelope,
  depthOfPeak,
  depthOfRise,
  type Figure,
  levelFigures,
  loadFigures,
  matchFigures,
  modulationFigures,
  noiseFigures,
  readAs,
  reflectionOfPowers,
  reflectionOfReturnLoss,
  reflectionOfSwr,
  stageFigures,
  voltsOfDbm,
  withAccuracy,
} from '../../rf/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { type Option, readFlags } from '../rf/readings.js'
import { figuresDocument, figuresText } from '../rf/text.js'
import type { Register } from './index.js'

/** One way to come to figures: which readings it takes, what must hold of them, and what it makes of them. */
interface Way {
  readonly takes: readonly string[]
  /** What is wrong with these readings; null where they can be. */
  readonly wrong?: (readings: readonly number[]) => string | null
  readonly figures: (readings: readonly number[], options: Given) => readonly Figure[]
}
type Given = Readonly<Record<string, unknown>>
interface Topic {
  readonly name: string
  readonly about: string
  readonly flags: readonly (Option & { readonly words: string })[]
  /** Flags that are no readings and have no error. */
  readonly extra?: (command: Command) => void
  readonly ways: readonly Way[]
}

const positive = (what: string) => (readings: readonly number[]) =>
  readings.every((value) => value > 0) ? null : `${what} must be above zero`

const topics: readonly Topic[] = [
  {
    name: 'match',
    about: 'SWR, return loss, mismatch loss and delivered power, from powers, SWR or return loss',
    flags: [
      { flag: 'forward', unit: 'W', words: 'forward power' },
      { flag: 'reflected', unit: 'W', words: 'reflected power' },
      { flag: 'swr', unit: 'ratio', words: 'SWR, as 1.5' },
      { flag: 'return-loss', unit: 'ratio', words: 'return loss in dB, as 14' },
    ],
    ways: [
      {
        takes: ['forward', 'reflected'],
        wrong: ([forward = 0, reflected = 0]) =>
          forward <= 0
            ? 'forward power must be above zero'
            : reflected < 0 || reflected > forward
              ? 'reflected power lies between zero and the forward power (are the two the wrong way round)'
              : null,
        figures: ([forward = 1, reflected = 0]) =>
          matchFigures(reflectionOfPowers(forward, reflected), forward),
      },
      {
        takes: ['swr'],
        wrong: ([swr = 0]) => (swr >= 1 ? null : 'an SWR is 1 or more'),
        figures: ([swr = 1]) => matchFigures(reflectionOfSwr(Math.max(1, swr)), null),
      },
      {
        takes: ['return-loss'],
        wrong: ([loss = 0]) => (loss >= 0 ? null : 'a return loss is told without its sign, 0 dB or more'),
        figures: ([loss = 0]) => matchFigures(reflectionOfReturnLoss(loss), null),
      },
    ],
  },
  {
    name: 'load',
    about: 'power in a dummy load from the volts across it',
    flags: [
      { flag: 'volts', unit: 'V', words: 'volts across the load' },
      { flag: 'load', unit: 'Ω', words: 'the load (default 50 Ω)' },
    ],
    extra: (command) => command.option('--as <how>', `how the volts were read: ${readAs.join(', ')}`, 'rms'),
    ways: [
      {
        takes: ['volts', 'load'],
        wrong: ([volts = 0, load = 0]) =>
          volts < 0 || load <= 0 ? 'volts are zero or more and a load is above zero ohms' : null,
        figures: ([volts = 0, load = 50], { as }) =>
          loadFigures(volts, readAs.find((each) => each === as) ?? 'rms', load),
      },
    ],
  },
  {
    name: 'modulation',
    about:
      'depth, total and peak envelope power, from the envelope, the powers, the aerial current or the depth',
    flags: [
      { flag: 'most', unit: 'V', words: 'largest volts of the envelope' },
      { flag: 'least', unit: 'V', words: 'smallest volts of the envelope' },
      { flag: 'carrier', unit: 'W', words: 'carrier power' },
      { flag: 'peak', unit: 'W', words: 'peak envelope power' },
      { flag: 'rise', unit: 'ratio', words: 'rise of the aerial current under a steady tone, as 22 %' },
      { flag: 'depth', unit: 'ratio', words: 'depth, as 30 %' },
    ],
    ways: [
      {
        takes: ['carrier', 'peak'],
        wrong: ([carrier = 0, peak = 0]) =>
          carrier > 0 && peak >= carrier
            ? null
            : 'peak envelope power is the carrier or more, and both above zero',
        figures: ([carrier = 1, peak = 1]) =>
          modulationFigures(Math.max(0, depthOfPeak(carrier, peak)), '√(PEP/carrier) − 1', carrier),
      },
      {
        takes: ['most', 'least', 'carrier?'],
        wrong: ([most = 0, least = 0]) =>
          least >= 0 && most > 0 && most >= least
            ? null
            : 'the largest volts are above zero and not below the smallest',
        figures: ([most = 1, least = 0, carrier]) =>
          modulationFigures(
            Math.max(0, depthOfEnvelope(most, least)),
            '(max−min)/(max+min)',
            carrier ?? null,
          ),
      },
      {
        takes: ['rise', 'carrier?'],
        wrong: ([rise = 0]) =>
          rise >= 0 ? null : 'a current that falls under modulation is carrier shift, no depth',
        figures: ([rise = 0, carrier]) =>
          modulationFigures(depthOfRise(rise), '√(2·((1+rise)²−1))', carrier ?? null),
      },
      {
        takes: ['depth', 'carrier?'],
        wrong: ([depth = 0]) => (depth >= 0 ? null : 'a depth is zero or more'),
        figures: ([depth = 0, carrier]) => modulationFigures(depth, 'as given', carrier ?? null),
      },
    ],
  },
  {
    name: 'level',
    about: 'a receiver level as volts, EMF, dBm, dBµV and S units',
    flags: [
      { flag: 'volts', unit: 'V', words: 'effective volts at the terminals, as 100uV' },
      { flag: 'dbm', unit: 'ratio', words: 'level in dBm, as -73' },
      { flag: 'load', unit: 'Ω', words: 'the receiver’s input (default 50 Ω)' },
    ],
    extra: (command) => command.option('--above-30-mhz', 'S units by the figure for above 30 MHz'),
    ways: [
      {
        takes: ['volts', 'load'],
        wrong: positive('volts and ohms'),
        figures: ([volts = 1, load = 50], given) => levelFigures(volts, load, given['above30Mhz'] === true),
      },
      {
        takes: ['dbm', 'load'],
        wrong: ([, load = 0]) => (load > 0 ? null : 'ohms must be above zero'),
        figures: ([dbm = 0, load = 50], given) =>
          levelFigures(voltsOfDbm(dbm, load), load, given['above30Mhz'] === true),
      },
    ],
  },
  {
    name: 'noise',
    about: '(S+N)/N from audio volts with the carrier modulated and unmodulated',
    flags: [
      { flag: 'modulated', unit: 'V', words: 'audio volts, carrier modulated' },
      { flag: 'unmodulated', unit: 'V', words: 'audio volts, the same carrier unmodulated' },
    ],
    ways: [
      {
        takes: ['modulated', 'unmodulated'],
        wrong: positive('both'),
        figures: ([m = 1, n = 1]) => noiseFigures(m, n),
      },
    ],
  },
  {
    name: 'stage',
    about: 'plate input, efficiency and loss of a stage under the key',
    flags: [
      { flag: 'plate-volts', unit: 'V', words: 'plate volts' },
      { flag: 'plate-current', unit: 'A', words: 'plate current' },
      { flag: 'output', unit: 'W', words: 'power in the load' },
    ],
    ways: [
      {
        takes: ['plate-volts', 'plate-current', 'output'],
        wrong: ([volts = 0, amps = 0, output = 0]) =>
          volts <= 0 || amps <= 0 || output < 0
            ? 'plate volts and current are above zero, output zero or more'
            : output > volts * amps
              ? 'more comes out than goes in: one of the three readings is wrong'
              : null,
        figures: ([volts = 1, amps = 1, output = 0]) => stageFigures(volts, amps, output),
      },
    ],
  },
]

/** `slowglow rf TOPIC`: the arithmetic of proving a set at radio frequency, by itself. */
export const registerRf: Register = (program, io) => {
  const rf = program.command('rf').description('the arithmetic of the proof at radio frequency')
  for (const topic of topics) {
    const command = rf.command(topic.name).description(topic.about)
    for (const { flag, words } of topic.flags) command.option(`--${flag} <value>`, words)
    topic.extra?.(command)
    command
      .option(
        '--accuracy <share>',
        'how far each instrument may be off, as 5 %: the figures then carry their bounds',
      )
      .option('--json', 'one JSON document')
      .action((given: Given) => {
        process.exitCode = figuresOf(topic, given, io)
      })
  }
}

/** Returns the exit code. */
function figuresOf(topic: Topic, given: Given, io: Io): number {
  const json = given['json'] === true
  const usage = (where: string, problem: string): number =>
    refuse(io, json, { exit: exits.usage, where, what: `slowglow rf ${topic.name}: ${problem}.` })
  const read = readFlags([...topic.flags, { flag: 'accuracy', unit: 'ratio' }], given)
  if (!read.ok) return usage(read.where, read.problem)
  const { accuracy = 0, ...rest } = read.values
  const values: Record<string, number> = rest
  if (accuracy < 0 || accuracy >= 0.5) return usage('--accuracy', 'an accuracy lies between 0 and 50 %')
  const decibel = ['dbm', 'return-loss'].find((name) => values[name] !== undefined)
  if (accuracy > 0 && decibel !== undefined)
    return usage('--accuracy', `--accuracy is a share of a reading; --${decibel} is in decibels`)
  const as = given['as']
  if (as !== undefined && !readAs.some((each) => each === as))
    return usage('--as', `volts are read as ${readAs.join(', or ')}`)
  if (topic.flags.some(({ flag }) => flag === 'load')) values['load'] ??= 50

  const way = topic.ways.find(
    ({ takes }) =>
      takes.every((name) => name.endsWith('?') || values[name] !== undefined) &&
      Object.keys(values).every((name) => takes.includes(name) || takes.includes(`${name}?`)),
  )
  if (way === undefined) {
    const ways = topic.ways.map(({ takes }) =>
      takes
        .map((name) => (name.endsWith('?') || name === 'load' ? `[--${name.replace('?', '')}]` : `--${name}`))
        .join(' '),
    )
    return usage('options', `it takes one of: ${ways.join('; ')}`)
  }
  const names = way.takes.map((name) => name.replace('?', '')).filter((name) => values[name] !== undefined)
  const readings = names.map((name) => values[name] ?? 0)
  const wrong = way.wrong?.(readings) ?? null
  if (wrong !== null) return usage(names.map((name) => `--${name}`).join(' '), wrong)
  const spread = withAccuracy(readings, accuracy, (each) => way.figures(each, given))
  if (json) printJson(io, figuresDocument({ ...values, accuracy }, spread))
  else io.out(figuresText(spread, accuracy))
  return exits.done
}
