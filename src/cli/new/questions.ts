import { bleederFor, coarsest } from '../../bench/index.js'
import { formatQuantity, parseQuantity } from '../../quantities/index.js'
import { findTube, type TubeRecord } from '../../tubes/index.js'
import { items, oneOf, quantityOf, quantityOrNone, word, type Answer, type Dialogue } from './dialogue.js'

/** What a supply with a line can do, as its owner says. */
export interface SupplyAnswers {
  /** Serial port, or null on the virtual bench. */
  readonly path: string | null
  readonly max_V: number
  readonly max_A: number
  readonly resolution_V: number
  readonly resolution_A: number
  readonly output_F: number
  readonly isolation_V: number
  readonly interface_isolated: 'yes' | 'no' | 'unknown'
  readonly bleeder_ohm: number | null
}

export interface TubeAnswer {
  readonly name: string
  readonly type: string
  readonly record: TubeRecord
}

/** All answers of `slowglow new`. */
export interface Answers {
  readonly name: string
  readonly chassis: 'isolated' | 'live'
  readonly isolating_transformer: string | null
  readonly modes: readonly string[]
  readonly heater_V: number
  readonly tubes: readonly TubeAnswer[]
  /** Chains of groups in parallel of tube names, as the file has them. */
  readonly chains: readonly (readonly (readonly string[])[])[]
  readonly HT_V: number
  readonly HT_max_V: number
  readonly total: { readonly A: number; readonly source: string } | null
  readonly capacitors: readonly { readonly F: number; readonly rated_V: number }[]
  readonly bias: { readonly V: number; readonly least_V: number; readonly preload_ohm: number } | null
  readonly virtual: boolean
  readonly HT_supply: SupplyAnswers | null
  readonly heater_supply: SupplyAnswers | null
  readonly bias_supply: SupplyAnswers | null
  readonly meter: { readonly ohm: number; readonly resolution_V: number }
  /** Ammeters that stay in a lead while the set runs. */
  readonly ammeters: readonly { readonly rail: FedRail; readonly resolution_A: number }[]
}

/** Rails of these files, by the names they have there. */
export type FedRail = 'HT' | 'heaters' | 'bias'

/** The mode that the first bring-up and the handbook's total are for: receiving where the set can, else transmitting. */
export function firstMode(modes: readonly string[]): string {
  return modes.find((mode) => /receiv/i.test(mode)) ?? modes[0] ?? 'receive'
}

/** A set that can only transmit is brought up as a transmitter. */
export function isTransmitting(modes: readonly string[]): boolean {
  return /transmit|send/i.test(firstMode(modes))
}

export async function askAll(dialogue: Dialogue): Promise<Answers> {
  const name = await dialogue.ask({ ask: 'What is the set called?', fallback: null, read: word })
  const chassis = await dialogue.ask({
    ask: 'Is its metal chassis isolated from the mains, or live?',
    fallback: 'isolated',
    read: oneOf(['isolated', 'live']),
  })
  const isolating_transformer =
    chassis === 'isolated'
      ? null
      : await dialogue.ask({
          ask: 'Which isolating transformer is it worked on? (without one slowglow refuses the set)',
          fallback: null,
          read: word,
        })
  const modes = await dialogue.ask({
    ask: 'Its modes, parted by commas?',
    fallback: 'receive',
    read: readModes,
  })
  const heater_V = await dialogue.ask({
    ask: 'Volts of its heater supply?',
    fallback: '6.3 V',
    read: quantityOf('V', 0, 250),
  })
  const tubes = await askTubes(dialogue)
  const chains = await dialogue.ask({
    ask: `Its heaters: in series joined by a dash, chains parted by commas (V1-V2, V3-V4), or parallel? (a rectifier whose heater stands in a chain is named in it and stays in its socket)`,
    fallback: 'parallel',
    read: (text) => readChains(text, tubes, heater_V),
  })
  const HT_V = await dialogue.ask({
    ask: 'Working volts of its HT?',
    fallback: '250 V',
    read: quantityOf('V', 0, 5000),
  })
  const total = await dialogue.ask({
    ask: `The handbook's total HT current at these volts, in ${firstMode(modes)}${isTransmitting(modes) ? ', key up and undriven' : ''}?`,
    fallback: '',
    read: quantityOrNone('A'),
  })
  const capacitors = await dialogue.ask({
    ask: 'Its HT electrolytics, as 16 µF 450 V, parted by commas?',
    fallback: null,
    read: (text) => readCapacitors(text, HT_V),
  })
  const bias_V = await dialogue.ask({
    ask: 'Volts of a separate negative grid bias supply, if it has one? (-50 V and 50 V are the same here)',
    fallback: '',
    read: biasOrNone,
  })
  const bias =
    bias_V === null
      ? null
      : {
          V: bias_V,
          least_V: await dialogue.ask({
            ask: 'The least bias that keeps its tubes safe, as the handbook says?',
            fallback: null,
            read: (text) => quantityOf('V', 0, bias_V)(text.replace(/^[-−]/, '')),
          }),
          preload_ohm: await dialogue.ask({
            ask: `The preload you fit from the grid return to chassis, at the grid-return end? (it takes up grid current, and its own shows that the lead is whole: without it HT above 60 V is refused; ${formatQuantity(10e3, 'Ω')}, ${formatQuantity(Math.max(1, Math.ceil((2 * bias_V * bias_V) / 10e3)), 'W')} is usual)`,
            fallback: formatQuantity(10e3, 'Ω'),
            read: quantityOf('Ω'),
          }),
        }
  const virtual = await dialogue.ask({
    ask: 'Real supplies, or the virtual bench to try things out?',
    fallback: 'real',
    read: oneOf(['real', 'virtual']),
  })
  const on = (what: string) =>
    virtual === 'virtual'
      ? `Is a ${what} supply on a line? (yes or no)`
      : `Serial port of the ${what} supply, if slowglow is to set it?`
  // Nothing may put more on the electrolytics than they are marked for, nor much more than the set ever had.
  const HT_max_V = Math.min(HT_V * 1.1, ...capacitors.map(({ rated_V }) => rated_V))
  const capacitance = capacitors.reduce((sum, { F }) => sum + F, 0)
  return {
    name,
    chassis,
    isolating_transformer,
    modes,
    heater_V,
    tubes,
    chains,
    HT_V,
    HT_max_V,
    total: total === null ? null : { A: total, source: 'handbook, as its owner says' },
    capacitors,
    bias,
    virtual: virtual === 'virtual',
    HT_supply: await askSupply(dialogue, on('HT'), virtual === 'virtual', HT_max_V, capacitance, '1 mA'),
    heater_supply: await askSupply(dialogue, on('heater'), virtual === 'virtual', heater_V, 0, '10 mA'),
    bias_supply:
      bias === null
        ? null
        : await askSupply(dialogue, on('bias'), virtual === 'virtual', bias.V * 1.2, 50e-6, '0.1 mA'),
    meter: {
      ohm: 10e6,
      resolution_V: await dialogue.ask({
        ask: 'The last digit your voltmeter shows at some hundred volts?',
        fallback: '100 mV',
        read: quantityOf('V', 0, 10),
      }),
    },
    ammeters: await dialogue.ask({
      ask: `In which leads does an ammeter stand while the set runs, a series or a panel meter, and what is its last digit? (HT 1 mA, heaters 10 mA${bias === null ? '' : ', bias 100 µA'}; without one the current of a rail on your own knob is not judged)`,
      fallback: '',
      read: (text) => readAmmeters(text, bias !== null),
    }),
  }
}

const fineEnough_A: Readonly<Record<FedRail, number>> = { HT: 0.001, heaters: 0.01, bias: 0.0001 }

function readAmmeters(text: string, hasBias: boolean): Answer<Answers['ammeters']> {
  const rails: readonly FedRail[] = hasBias ? ['HT', 'heaters', 'bias'] : ['HT', 'heaters']
  const found: { rail: FedRail; resolution_A: number }[] = []
  for (const item of items(text)) {
    const [name = '', ...rest] = item.split(/\s+/)
    const rail = rails.find((each) => each.toLowerCase() === name.toLowerCase())
    if (rail === undefined || found.some((each) => each.rail === rail))
      return {
        ok: false,
        problem: rail === undefined ? `'${name}' is no rail of this set` : `${rail} is named twice`,
        remedy: `name ${rails.join(', ')}, each with its last digit: HT 1 mA; or none`,
      }
    const resolution =
      rest.length === 0
        ? { ok: true as const, value: fineEnough_A[rail] }
        : quantityOf('A', 0, 1)(rest.join(' '))
    if (!resolution.ok) return resolution
    found.push({ rail, resolution_A: resolution.value })
  }
  return { ok: true, value: found }
}

/** All types at once; those that are not in the catalogue are asked for again, one by one. */
async function askTubes(dialogue: Dialogue): Promise<readonly TubeAnswer[]> {
  const types = await dialogue.ask({
    ask: 'Its tubes by type, in the order V1, V2 …, parted by commas? (rectifiers too)',
    fallback: null,
    read: readTypes,
  })
  const tubes: TubeAnswer[] = []
  for (const [at, type] of types.entries()) {
    const name = `V${at + 1}`
    const known = readTube(type, name)
    if (known.ok) {
      tubes.push(known.value)
      continue
    }
    dialogue.tell(`   ${known.problem}: ${known.remedy}.`)
    tubes.push(
      await dialogue.ask({
        ask: `   The type of ${name}, as printed on it?`,
        fallback: null,
        read: (text) => readTube(text, name),
      }),
    )
  }
  return tubes
}

function biasOrNone(text: string): Answer<number | null> {
  return quantityOrNone('V')(/^[-−]\s*\d/.test(text) ? text.replace(/^[-−]\s*/, '') : text)
}

async function askSupply(
  dialogue: Dialogue,
  ask: string,
  virtual: boolean,
  highest_V: number,
  set_F: number,
  resolution: string,
): Promise<SupplyAnswers | null> {
  const path = await dialogue.ask({
    ask,
    fallback: virtual ? 'no' : '',
    read: virtual ? yesOrNone : portOrNone,
  })
  if (path === null) return null
  const [max_V, max_A] = await dialogue.ask({
    ask: '   Its highest volts and amps?',
    fallback: highest_V > 60 ? '300 V, 200 mA' : '30 V, 5 A',
    read: (text) => pair(text, 'V', 'A'),
  })
  const [resolution_V, resolution_A] = await dialogue.ask({
    ask: '   The smallest steps of volts and amps it reports?',
    fallback: `${highest_V > 60 ? '100 mV' : '10 mV'}, ${resolution}`,
    read: (text) => steps(text, max_A),
  })
  const [output_F, isolation_V] = await dialogue.ask({
    ask: '   The capacitor across its output, and the volts its outputs may be from earth?',
    fallback: `47 µF, ${highest_V > 60 ? '600 V' : '250 V'}`,
    read: (text) => pair(text, 'F', 'V'),
  })
  const interface_isolated = await dialogue.ask({
    ask: '   Are its outputs isolated from the computer line: yes, no or unknown?',
    fallback: 'unknown',
    read: oneOf(['yes', 'no', 'unknown']),
  })
  const wanted = bleederFor(highest_V, output_F + set_F)
  const bleeder_ohm =
    highest_V <= 60
      ? null
      : await dialogue.ask({
          ask: `   The fixed resistor across its terminals? (${formatQuantity(wanted, 'Ω')}, ${formatQuantity(Math.ceil((2 * highest_V * highest_V) / wanted), 'W')} brings it down in about 5 s)`,
          fallback: formatQuantity(wanted, 'Ω'),
          read: quantityOf('Ω'),
        })
  return {
    path: virtual ? null : path,
    max_V,
    max_A,
    resolution_V,
    resolution_A,
    output_F,
    isolation_V,
    interface_isolated,
    bleeder_ohm,
  }
}

function pair(text: string, first: 'V' | 'F', second: 'A' | 'V'): Answer<readonly [number, number]> {
  const [a, b, ...more] = items(text)
  if (a === undefined || b === undefined || more.length > 0)
    return { ok: false, problem: 'two quantities are wanted', remedy: 'part them by a comma' }
  const one = quantityOf(first, first === 'F' ? -1 : 0)(a)
  if (!one.ok) return one
  const two = quantityOf(second)(b)
  return two.ok ? { ok: true, value: [one.value, two.value] } : two
}

/** A supply that shows less than this of its own current cannot be judged by, and `check` refuses it. */
function steps(text: string, max_A: number): ReturnType<typeof pair> {
  const read = pair(text, 'V', 'A')
  if (!read.ok || read.value[1] <= max_A / coarsest) return read
  return {
    ok: false,
    problem: `steps of ${formatQuantity(read.value[1], 'A')} are too coarse for a supply of ${formatQuantity(max_A, 'A')}`,
    remedy: `look at its manual again: ${formatQuantity(max_A / coarsest, 'A')} or less is needed`,
  }
}

const none = /^(?:|none|no|n|-)$/i

function yesOrNone(text: string): Answer<'yes' | null> {
  if (none.test(text)) return { ok: true, value: null }
  return /^y(?:es)?$/i.test(text)
    ? { ok: true, value: 'yes' }
    : { ok: false, problem: `'${text}' is neither yes nor no`, remedy: 'answer yes or no' }
}

function portOrNone(text: string): Answer<string | null> {
  if (none.test(text)) return { ok: true, value: null }
  return /^(?:\/\S+|COM[0-9]+|\\\\[.?]\\\S+)$/i.test(text) && text.length <= 200
    ? { ok: true, value: text }
    : {
        ok: false,
        problem: `'${text}' is no serial port`,
        remedy: 'write its whole path, such as /dev/ttyUSB0, or none',
      }
}

function readModes(text: string): Answer<readonly string[]> {
  const names = items(text)
  const odd = names.find((name) => !/^[\p{L}\p{N}][\p{L}\p{N} .-]{0,40}$/u.test(name))
  if (odd !== undefined)
    return {
      ok: false,
      problem: `'${odd}' is no usable name`,
      remedy: 'write words such as receive, transmit',
    }
  if (names.length === 0 || new Set(names).size < names.length)
    return {
      ok: false,
      problem: 'each mode needs a name of its own',
      remedy: 'write for example receive, transmit',
    }
  return { ok: true, value: names }
}

function readTypes(text: string): Answer<readonly string[]> {
  const types = items(text)
  if (types.length === 0) return { ok: false, problem: 'a set has tubes', remedy: 'write their types' }
  if (types.length > 60)
    return {
      ok: false,
      problem: 'that is more than 60 tubes',
      remedy: 'write the file by hand, from the files in profiles/',
    }
  return { ok: true, value: types }
}

function readTube(type: string, name: string): Answer<TubeAnswer> {
  const { found, ...rest } = findTube(type)
  if (found !== null) return { ok: true, value: { name, type, record: found } }
  const near = 'near' in rest ? rest.near : []
  return {
    ok: false,
    problem: `${name}, '${type}', is not in the catalogue${near.length === 0 ? '' : `; near it: ${near.join(', ')}`}`,
    remedy:
      'look at its print again; a type that is missing is written into the set file by hand (tube_types)',
  }
}

/** Rectifiers are pulled on bench supplies, but for those whose heater a series chain needs. */
export function isPulled(tube: TubeAnswer, chains: Answers['chains']): boolean {
  return isRectifier(tube) && !chains.flat(2).includes(tube.name)
}

export function isRectifier({ record }: TubeAnswer): boolean {
  return record.kind.startsWith('rectifier')
}

function readChains(text: string, tubes: readonly TubeAnswer[], heater_V: number): Answer<Answers['chains']> {
  const able = tubes.filter((tube) => tube.record.heater !== null)
  const heated = able.filter((tube) => !isRectifier(tube))
  const chains =
    text.toLowerCase() === 'parallel'
      ? heated.length === 0
        ? []
        : [[heated.map(({ name }) => name)]]
      : items(text).map((chain) => chain.split('-').map((name) => [name.trim().toUpperCase()]))
  const places = chains.flat(2)
  for (const name of places)
    if (!able.some((tube) => tube.name === name))
      return {
        ok: false,
        problem: `there is no heater ${name}`,
        remedy: `the heaters are ${able.map((tube) => tube.name).join(', ')}`,
      }
  const absent = heated.find(({ name }) => !places.includes(name))
  if (absent !== undefined || new Set(places).size < places.length)
    return {
      ok: false,
      problem: absent === undefined ? 'a tube stands there twice' : `${absent.name} is in no chain`,
      remedy: 'place every heater once',
    }
  const heaterOf = (name: string) => able.find((tube) => tube.name === name)?.record.heater
  for (const chain of chains) {
    const volts = chain.reduce((sum, group) => sum + (heaterOf(group[0] ?? '')?.volts.value ?? 0), 0)
    const odd = chain
      .flat()
      .find(
        (name) =>
          Math.abs((heaterOf(name)?.volts.value ?? 0) - (heaterOf(chain[0]?.[0] ?? '')?.volts.value ?? 0)) >
            0.5 && chain.length === 1,
      )
    if (odd !== undefined)
      return {
        ok: false,
        problem: `${odd} wants ${formatQuantity(heaterOf(odd)?.volts.value ?? 0, 'V')}, others in parallel with it do not`,
        remedy: 'write the chains one by one',
      }
    if (Math.abs(volts - heater_V) > 0.06 * heater_V)
      return {
        ok: false,
        problem: `${chain.map((group) => group.join('+')).join('-')} wants ${formatQuantity(volts, 'V')}, the heater supply gives ${formatQuantity(heater_V, 'V')}`,
        remedy:
          'write chains that add up; where a dropper made up the rest, begin anew with the volts of the chain as those of the heater supply, or write the dropper into the file by hand, see profiles/',
      }
    const amps = chain.map((group) => heaterOf(group[0] ?? '')?.amps.value ?? 0)
    if (chain.length > 1 && Math.max(...amps) - Math.min(...amps) > 0.06 * Math.max(...amps))
      return {
        ok: false,
        problem: `in ${chain.flat().join('-')} the heaters take ${amps.map((each) => formatQuantity(each, 'A')).join(', ')}: in series they must be equal`,
        remedy: 'write other chains; a shunt is written into the file by hand, see profiles/',
      }
  }
  return { ok: true, value: chains }
}

function readCapacitors(text: string, HT_V: number): Answer<Answers['capacitors']> {
  const capacitors: { F: number; rated_V: number }[] = []
  for (const item of items(text)) {
    const match = /^(.*\S)\s*[/ ]\s*([0-9.]+ ?k?V)$/.exec(item)
    const F = parseQuantity(match?.[1] ?? item, 'F')
    if (!F.ok) return F
    const rated = parseQuantity(match?.[2] ?? '', 'V')
    if (!rated.ok)
      return { ok: false, problem: `'${item}' says no volts`, remedy: 'write both, such as 16 µF 450 V' }
    if (rated.value < HT_V)
      return {
        ok: false,
        problem: `'${item}' is rated below the HT of ${formatQuantity(HT_V, 'V')}`,
        remedy: 'look at the marking again; if it is so, it is replaced before any power',
      }
    capacitors.push({ F: F.value, rated_V: rated.value })
  }
  return { ok: true, value: capacitors }
}
