import type { Command } from 'commander'
import { appendToBook, type BookBody, coldState } from '../../book/index.js'
import type { Equipment } from '../../equipment/index.js'
import { aerialProof, type Proof, receiveProof, transmitProof } from '../../proof/index.js'
import { formatNumber, formatQuantity } from '../../quantities/index.js'
import { readAs } from '../../rf/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { collect } from '../live/flags.js'
import { type Refusal, refuse } from '../refuse.js'
import { type Option, readFlags } from '../rf/readings.js'
import { figuresText } from '../rf/text.js'
import { bookAt, bookHelp, setFile } from '../set-file.js'
import { toTerminal } from '../wrap.js'
import type { Register } from './index.js'

interface Way {
  readonly of: Proof['of']
  readonly about: string
  /** Said before the figures: what to do and what it can do to you. */
  readonly cautions: readonly string[]
  readonly flags: readonly (Option & { readonly words: string; readonly needed: boolean })[]
  readonly extra?: (command: Command) => void
  /** What is wrong with the readings, or what they prove. */
  readonly prove: (of: Given) => Proof | string
}
interface Given {
  readonly equipment: Equipment
  readonly values: Readonly<Record<string, number>>
  readonly options: Readonly<Record<string, unknown>>
  readonly accuracy: number
  /** Kinds of proofs that stand in the book since the last repair, not "not shown". */
  readonly proved: ReadonlySet<string>
}

const flag = (name: string, unit: Option['unit'], words: string, needed = true): Way['flags'][number] => ({
  ...{ flag: name, unit, words, needed },
})

const ways: readonly Way[] = [
  {
    of: 'receive',
    about: 'that the set hears: a generator level, and audio with the signal and without',
    cautions: [
      'Start at 100 µV, amplitude-modulated 30 % by 400 Hz (common practice), through a dummy aerial that keeps DC off the generator. Clip leads on with HT off, watched down and measured; then hands clear.',
    ],
    flags: [
      flag('level', 'V', 'at the aerial terminals, as 5µV; with --emf as the generator is marked'),
      flag('with', 'V', 'audio volts with the signal modulated (CW: with the signal)'),
      flag('without', 'V', 'audio volts with the carrier alone (CW: without it)'),
      flag('audio', 'V', 'audio volts across its load at full gain', false),
      flag('audio-load', 'Ω', 'that load', false),
    ],
    extra: (command) =>
      command
        .option('--signal <kind>', 'AM or CW', 'AM')
        .option('--emf', 'the generator is marked in EMF: half of it stands at the terminals')
        .option('--above-30-mhz', 'for the S meter scale'),
    prove({ values, options, accuracy }) {
      const { level = 0, with: signal = 0, without = 0, audio, 'audio-load': ohm } = values
      const kind = options['signal']
      if (kind !== 'AM' && kind !== 'CW') return '--signal is AM or CW'
      if (level <= 0 || without <= 0 || signal < without)
        return 'level and audio are above zero, and audio with the signal is no less than without (are the two the wrong way round)'
      if ((audio === undefined) !== (ohm === undefined) || (ohm ?? 1) <= 0)
        return '--audio and --audio-load go together, and a load is above zero'
      return receiveProof({
        signal: kind,
        level_V: options['emf'] === true ? level / 2 : level,
        with_V: signal,
        without_V: without,
        audio: audio === undefined || ohm === undefined ? null : { V: audio, ohm },
        above_30_MHz: options['above30Mhz'] === true,
        accuracy,
      })
    },
  },
  {
    of: 'transmit',
    about: 'that the set is heard: power into a dummy load, plate input, modulation',
    cautions: [
      'RF burns deep and without a shock first; nothing that may be driven is touched or probed with the key down. Exposure limits and your licence hold: your local regulator says more than this program.',
      'Into a dummy load that carries the whole power. Plate current is that of the output stage alone. Key-down time by its duty.',
    ],
    flags: [
      flag('volts', 'V', 'across the dummy load'),
      flag('load', 'Ω', 'the dummy load'),
      flag('plate-volts', 'V', 'of the output stage, key down'),
      flag('plate-current', 'A', 'of the output stage, key down'),
      flag('most', 'V', 'largest volts of the modulated envelope', false),
      flag('least', 'V', 'smallest volts of the modulated envelope', false),
      flag('modulated-current', 'A', 'its plate current under modulation', false),
    ],
    extra: (command) =>
      command
        .requiredOption('--mode <mode>', 'the mode of the set’s file that was keyed')
        .option('--as <how>', `how the volts were read: ${readAs.join(', ')}`, 'rms')
        .option('--dummy-load', 'confirms that a dummy load, and no aerial, was connected'),
    prove({ equipment, values, options, accuracy }) {
      const mode = String(options['mode'])
      const as = readAs.find((each) => each === options['as'])
      if (options['dummyLoad'] !== true)
        return 'it is proved into a dummy load first: connect one, and confirm it with --dummy-load'
      if (!Object.hasOwn(equipment.modes, mode))
        return `there is no mode '${mode}'; the file has ${Object.keys(equipment.modes).join(', ')}`
      if (as === undefined) return `--as is ${readAs.join(', ')}`
      const { volts = 0, load = 0, most, least, 'modulated-current': modulated } = values
      const { 'plate-volts': plate_V = 0, 'plate-current': plate_A = 0 } = values
      if (volts < 0 || load <= 0 || plate_V <= 0 || plate_A <= 0)
        return 'volts are zero or more, and load, plate volts and plate current above zero'
      if (
        (most === undefined) !== (least === undefined) ||
        (most ?? 1) <= 0 ||
        (least ?? 0) < 0 ||
        (least ?? 0) > (most ?? 1)
      )
        return '--most and --least go together, the largest first'
      const envelope = most === undefined || least === undefined ? null : { most_V: most, least_V: least }
      return transmitProof(equipment, {
        ...{ mode, load_V: volts, as, load_ohm: load, plate_V, plate_A, envelope, accuracy },
        modulated_A: modulated ?? null,
      })
    },
  },
  {
    of: 'aerial',
    about: 'that the aerial takes it: forward and reflected power, after the dummy load',
    cautions: [
      'Aerial and feeder carry high RF voltage: nobody within reach, field strength where people are within your regulator’s limits, and your licence for the frequency. Measure at low power first.',
    ],
    flags: [
      flag('frequency', 'Hz', 'as 3.65MHz'),
      flag('forward', 'W', 'forward power'),
      flag('reflected', 'W', 'reflected power'),
    ],
    prove({ values, accuracy, proved }) {
      const { frequency = 0, forward = 0, reflected = 0 } = values
      if (!proved.has('transmit'))
        return 'the dummy load comes first: there is no transmit proof in the book since the last repair that showed anything'
      if (forward <= 0 || reflected < 0 || reflected > forward || frequency <= 0)
        return 'reflected power lies between zero and the forward power (are the two the wrong way round)'
      return aerialProof({ frequency_Hz: frequency, forward_W: forward, reflected_W: reflected, accuracy })
    },
  },
]

/** `slowglow proof receive|transmit|aerial FILE`: readings at radio frequency, computed, judged and kept in the set's book. */
export const registerProof: Register = (program, io) => {
  const proof = program
    .command('proof')
    .description(
      'the proof at radio frequency: readings computed, held against ratings and sources, kept in the book',
    )
  for (const way of ways) {
    const command = proof
      .command(way.of)
      .description(way.about)
      .argument('<file>', "the set's equipment file, or a profile that names it")
    for (const { flag: name, words, needed } of way.flags)
      if (needed) command.requiredOption(`--${name} <value>`, words)
      else command.option(`--${name} <value>`, words)
    way.extra?.(command)
    command
      .option(
        '--instrument <words>',
        'an instrument it was read with; needed, may be given again',
        collect,
        [],
      )
      .option('--accuracy <part>', 'of the readings, as "5 %"', '5 %')
      .option('--book <file>', bookHelp)
      .option('--by <name>', 'who read it; unless given: the user’s name')
      .option('--on <day>', 'day on which it was read, as 2026-11-29; unless given: now')
      .option('--json', 'one JSON document on standard output')
      .action((file: string, options: Readonly<Record<string, unknown>>) => {
        process.exitCode = prove(way, file, options, io)
      })
  }
}

/** Returns the exit code. */
function prove(way: Way, file: string, options: Readonly<Record<string, unknown>>, io: Io): Exit {
  const json = options['json'] === true
  const no = (refusal: Refusal): Exit => refuse(io, json, refusal)
  const usage = (what: string): Exit => no({ exit: exits.usage, what: `slowglow proof ${way.of}: ${what}.` })
  const set = setFile(file, io)
  if ('exit' in set) return no(set)
  const named = bookAt({ book: typeof options['book'] === 'string' ? options['book'] : undefined }, io)
  const state = coldState(set.equipment, set.path, named)
  if ('trouble' in state) return no({ exit: exits.recordNotAvailable, where: file, what: state.trouble })
  const { book } = state
  const { path } = book
  const read = readFlags([...way.flags, { flag: 'accuracy', unit: 'ratio' }], options)
  if (!read.ok) return usage(`${read.where}: ${read.problem}`)
  const { accuracy = 0.05 } = read.values
  if (!(accuracy >= 0 && accuracy < 0.5)) return usage('an accuracy lies between 0 and 50 %')
  const instruments = options['instrument'] as readonly string[]
  if (instruments.length === 0) return usage('nothing says what it was read with: give --instrument')
  const given = {
    equipment: set.equipment,
    values: read.values,
    options,
    accuracy,
    proved: standing(book.entries),
  }
  const proof = way.prove(given)
  if (typeof proof === 'string') return usage(proof)
  const body = bodyOf(proof, way, read.values, [
    ...instruments,
    `readings taken as right to ${formatQuantity(accuracy, 'ratio')}`,
  ])
  const by = typeof options['by'] === 'string' ? options['by'] : userName(io)
  const on = typeof options['on'] === 'string' ? options['on'] : null
  const stamp = { at: new Date().toISOString(), by, expects: book.entries.length }
  const kept = appendToBook(path, stamp, [{ body, on }])
  if ('trouble' in kept) return no({ exit: exits.recordNotAvailable, where: path, what: kept.trouble })
  if (json) printJson(io, { ...proof, book: path })
  else {
    for (const caution of way.cautions) io.err(caution)
    io.out(toTerminal(proofText(proof, accuracy), io.columns))
  }
  return proof.verdict === 'not shown' ? exits.finding : exits.done
}

/** Kinds of proofs that still stand: one before a repair is of another set. */
export function standing(entries: readonly { readonly body: BookBody }[]): ReadonlySet<string> {
  const proved = new Set<string>()
  for (const { body } of entries) {
    if (body.kind === 'repair' || body.kind === 'replaced') proved.clear()
    if (body.kind !== 'proof') continue
    if (body.verdict === 'not shown') proved.delete(body.of)
    else proved.add(body.of)
  }
  return proved
}

function proofText(proof: Proof, accuracy: number): string {
  return [
    `${proof.of}, ${proof.what}: ${proof.verdict.toUpperCase()}`,
    figuresText(proof.figures, accuracy),
    ...proof.judged.map(({ verdict, text, source }) => `- ${verdict}: ${text} [${source}]`),
  ].join('\n')
}

function bodyOf(
  { of, what, verdict, figures, judged }: Proof,
  way: Way,
  values: Readonly<Record<string, number>>,
  instruments: string[],
): BookBody {
  const readings = way.flags.flatMap(({ flag: name, unit }) => {
    const value = values[name]
    return value === undefined
      ? []
      : [{ what: name, value, unit, text: `${name} ${formatQuantity(value, unit)}` }]
  })
  return {
    ...{ kind: 'proof', of, what, verdict, readings, instruments },
    figures: figures.map((figure) => ({
      what: figure.what,
      value: figure.value,
      unit: figure.unit,
      text: `${figure.what} ${figure.value === null ? 'without end' : formatNumber(figure.value)} ${figure.unit}`,
    })),
    judged: judged.map(({ verdict: each, text }) => `${each}: ${text}`),
    sources: [...new Set(judged.map(({ source }) => source))],
  }
}
