import type { BookBody } from '../../book/index.js'
import type { Equipment } from '../../equipment/index.js'
import {
  aerialProof,
  heardAs,
  type KeyedRun,
  outputStages,
  type Proof,
  receiveProof,
  transmitProof,
} from '../../proof/index.js'
import { formatNumber, formatQuantity } from '../../quantities/index.js'
import { readAs } from '../../rf/index.js'
import { type Option, readFlags } from '../rf/readings.js'

/** A kind of proof: what is read for it, and how it is judged. */
export interface ProofWay {
  readonly of: Proof['of']
  readonly about: string
  /** Said before the figures: what to do and what it can do to you. */
  readonly cautions: readonly string[]
  readonly flags: readonly (Option & { readonly words: string; readonly needed: boolean })[]
  /** Answered by one of a few words, or by yes. */
  readonly choices: readonly ProofChoice[]
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
  /** The last run in the book, since anything was done to the set, that held the key down in a mode to its end. */
  readonly ran: (mode: string) => KeyedRun | null
}

/** Modes whose output stage the file describes; of a file that describes none, all. */
export function keyedModes(equipment: Equipment): string[] {
  const all = Object.keys(equipment.modes)
  const keyed = all.filter((mode) => outputStages(equipment, mode).length > 0)
  return keyed.length === 0 ? all : keyed
}

export interface ProofChoice {
  readonly flag: string
  readonly words: string
  /** The first of them is taken where nothing is said; a mode must be said. null: yes or nothing. */
  readonly among: readonly string[] | 'modes' | null
}

const flag = (
  name: string,
  unit: Option['unit'],
  words: string,
  needed = true,
): ProofWay['flags'][number] => ({
  ...{ flag: name, unit, words, needed },
})

export const proofWays: readonly ProofWay[] = [
  {
    of: 'receive',
    about: 'that the set hears: a generator level, and audio with the signal and without',
    cautions: [
      'Generator at the frequency that the set is tuned to: start at 100 µV, amplitude-modulated 30 % by 400 Hz (common practice), through a dummy aerial that keeps DC off the generator. Clip leads on with HT off, watched down and measured; then hands clear.',
    ],
    flags: [
      flag('frequency', 'Hz', 'frequency of generator and set, as 3.65MHz'),
      flag(
        'level',
        'V',
        'level at the aerial terminals, as 5µV; as the generator is marked where that is EMF',
      ),
      flag('with', 'V', 'audio volts with the signal modulated (CW: with the signal)'),
      flag('without', 'V', 'audio volts with the carrier alone (CW: without it)'),
      flag('depth', 'ratio', 'AM: how far it is modulated; unless given: 30 %', false),
      flag('tone', 'Hz', 'AM: by which tone; unless given: 400 Hz', false),
      flag('audio', 'V', 'audio volts across its load at full gain', false),
      flag('audio-load', 'Ω', 'the load that the audio is across', false),
    ],
    choices: [
      { flag: 'signal', words: 'kind of signal', among: ['AM', 'CW'] },
      { flag: 'heard', words: 'what the loudspeaker gives of it, by ear', among: heardAs },
      {
        flag: 'emf',
        words: 'the generator is marked in EMF: half of it stands at the terminals',
        among: null,
      },
    ],
    prove({ values, options, accuracy }) {
      const { level = 0, with: signal = 0, without = 0, audio, 'audio-load': ohm } = values
      const { frequency = 0, depth = 0.3, tone = 400 } = values
      const kind = options['signal']
      const heard = heardAs.find((each) => each === options['heard'])
      if (kind !== 'AM' && kind !== 'CW') return '--signal is AM or CW'
      if (heard === undefined) return `--heard is ${heardAs.join(', ')}`
      if (level <= 0 || without <= 0 || signal < without)
        return 'level and audio are above zero, and audio with the signal is no less than without (are the two the wrong way round)'
      if (frequency <= 0 || depth <= 0 || depth > 1 || tone <= 0)
        return 'frequency and tone are above zero, and a depth lies above 0 and up to 100 %'
      if ((audio === undefined) !== (ohm === undefined) || (ohm ?? 1) <= 0)
        return '--audio and --audio-load go together, and a load is above zero'
      return receiveProof({
        signal: kind,
        heard,
        level_V: options['emf'] === true ? level / 2 : level,
        with_V: signal,
        without_V: without,
        audio: audio === undefined || ohm === undefined ? null : { V: audio, ohm },
        ...{ frequency_Hz: frequency, depth, tone_Hz: tone },
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
      flag('frequency', 'Hz', 'frequency as read, as 3.6501MHz'),
      flag('assigned', 'Hz', 'the frequency that it should be: the crystal, or the channel', false),
      flag('volts', 'V', 'volts across the dummy load; or watts into it', false),
      flag('watts', 'W', 'watts into the dummy load, by a wattmeter; or volts across it', false),
      flag('load', 'Ω', 'ohms of the dummy load'),
      flag('plate-volts', 'V', 'plate volts of the output stage, key down'),
      flag('plate-current', 'A', 'plate current of the output stage alone, key down'),
      flag('most', 'V', 'largest volts of the modulated envelope', false),
      flag('least', 'V', 'smallest volts of the modulated envelope', false),
      flag('modulated-current', 'A', 'its plate current under modulation', false),
    ],
    choices: [
      { flag: 'mode', words: 'the mode of the set’s file that was keyed', among: 'modes' },
      { flag: 'as', words: 'how the volts were read', among: readAs },
      { flag: 'dummy-load', words: 'confirms that a dummy load, and no aerial, was connected', among: null },
    ],
    prove({ equipment, values, options, accuracy, ran }) {
      const mode = String(options['mode'])
      const as = readAs.find((each) => each === options['as'])
      if (options['dummyLoad'] !== true)
        return 'it is proved into a dummy load first: connect one, and confirm it with --dummy-load'
      if (!Object.hasOwn(equipment.modes, mode))
        return `there is no mode '${mode}'; the file has ${Object.keys(equipment.modes).join(', ')}`
      const keyed = keyedModes(equipment)
      if (!keyed.includes(mode))
        return `in mode '${mode}' no output stage of the file is driven, so nothing would be held against a rating; it is in ${keyed.join(', ')}`
      if (as === undefined) return `--as is ${readAs.join(', ')}`
      const { load = 0, most, least, 'modulated-current': modulated } = values
      const { frequency = 0, assigned, watts } = values
      if ((values['volts'] === undefined) === (watts === undefined))
        return 'what reaches the load is read as --volts or as --watts, one of them'
      const { 'plate-volts': plate_V = 0, 'plate-current': plate_A = 0 } = values
      const { volts = 0 } = values
      if (frequency <= 0 || (assigned ?? 1) <= 0) return 'a frequency is above zero'
      if (watts !== undefined && watts < 0) return 'watts are zero or more'
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
        ...{ mode, frequency_Hz: frequency, assigned_Hz: assigned ?? null, load_ohm: load },
        load: watts === undefined ? { V: volts, as } : { W: watts },
        ...{ plate_V, plate_A, envelope, accuracy },
        modulated_A: modulated ?? null,
        ran: ran(mode),
      })
    },
  },
  {
    of: 'aerial',
    choices: [],
    about: 'that the aerial takes it: forward and reflected power, after the dummy load',
    cautions: [
      'Aerial and feeder carry high RF voltage: nobody within reach, field strength where people are within your regulator’s limits, and your licence for the frequency. Measure at low power first.',
    ],
    flags: [
      flag('frequency', 'Hz', 'frequency, as 3.65MHz'),
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

/**
 * Readings at radio frequency as they were given, computed and judged; with the entry of the book that they make. What is wrong
 * with them is told in words, without a full stop.
 *
 * @param options - by the names of flags in camel case, as a command line gives them
 */
export function proofFrom(
  way: ProofWay,
  options: Readonly<Record<string, unknown>>,
  instruments: readonly string[],
  equipment: Equipment,
  entries: readonly { readonly body: BookBody }[],
  ran: Given['ran'],
): { readonly proof: Proof; readonly body: BookBody; readonly accuracy: number } | string {
  const read = readFlags([...way.flags, { flag: 'accuracy', unit: 'ratio' }], options)
  if (!read.ok) return `${read.where}: ${read.problem}`
  const missing = way.flags.find(({ flag: name, needed }) => needed && read.values[name] === undefined)
  if (missing !== undefined) return `nothing says ${missing.flag}: ${missing.words}`
  const { accuracy = 0.05 } = read.values
  if (!(accuracy >= 0 && accuracy < 0.5)) return 'an accuracy lies between 0 and 50 %'
  if (instruments.length === 0) return 'nothing says what it was read with: give --instrument'
  const proof = way.prove({
    ...{ equipment, values: read.values, options, accuracy },
    proved: standing(entries),
    ran,
  })
  if (typeof proof === 'string') return proof
  const how = `readings taken as right to ${formatQuantity(accuracy, 'ratio')}`
  return { proof, accuracy, body: bodyOf(proof, way, read.values, [...instruments, how]) }
}

/** Kinds of proofs that still stand: one before a repair is of another set. */
function standing(entries: readonly { readonly body: BookBody }[]): ReadonlySet<string> {
  const proved = new Set<string>()
  for (const { body } of entries) {
    if (body.kind === 'repair' || body.kind === 'replaced') proved.clear()
    if (body.kind !== 'proof') continue
    if (body.verdict === 'not shown') proved.delete(body.of)
    else proved.add(body.of)
  }
  return proved
}

function bodyOf(
  { of, what, verdict, figures, judged }: Proof,
  way: ProofWay,
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
