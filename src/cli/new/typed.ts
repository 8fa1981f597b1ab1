import { coarsest } from '../../bench/index.js'
import { formatQuantity, listed, parseQuantity, type Unit } from '../../quantities/index.js'
import { findTube } from '../../tubes/index.js'
import {
  type Answers,
  chainVolts,
  type FedRail,
  heaterOf,
  isRectifier,
  nearest,
  type TubeAnswer,
} from './answers.js'
import { type Answer, items, quantityOf, quantityOrNone } from './dialogue.js'

const fineEnough_A: Readonly<Record<FedRail, number>> = {
  HT: 0.001,
  heaters: 0.01,
  heaters2: 0.01,
  bias: 0.0001,
}

/** The rails of such a set, each with the last digit of an ammeter that is fine enough. */
export const withDigits = (rails: readonly FedRail[]): string =>
  rails.map((rail) => `${rail} ${formatQuantity(fineEnough_A[rail], 'A')}`).join(', ')

export function readAmmeters(text: string, rails: readonly FedRail[]): Answer<Answers['ammeters']> {
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

export function biasOrNone(text: string): Answer<number | null> {
  return quantityOrNone('V')(/^[-−]\s*\d/.test(text) ? text.replace(/^[-−]\s*/, '') : text)
}

/** Heater volts: one, or two windings of their own. */
export function readHeaterVolts(text: string): Answer<readonly number[]> {
  const found: number[] = []
  for (const item of items(text)) {
    const read = quantityOf('V', 0, 250)(item)
    if (!read.ok) return read
    found.push(read.value)
  }
  const [one = 0, two] = found
  if (found.length === 0 || found.length > 2)
    return {
      ok: false,
      problem: 'one or two heater supplies can be asked for here',
      remedy:
        'write the volts of one, or of two parted by a comma; more are written into the set file by hand',
    }
  if (two !== undefined && Math.abs(one - two) <= 2 * fits * Math.max(one, two))
    return {
      ok: false,
      problem: `${formatQuantity(one, 'V')} and ${formatQuantity(two, 'V')} are too near to tell which tube hangs where`,
      remedy: 'give one of them, and write the second heater rail into the set file by hand',
    }
  return { ok: true, value: found }
}

/** What a chain may differ from the volts of its rail, in parts of these. */
const fits = 0.06

export function pair(text: string, first: Unit, second: Unit): Answer<readonly [number, number]> {
  const [a, b, ...more] = items(text)
  if (a === undefined || b === undefined || more.length > 0)
    return { ok: false, problem: 'two quantities are wanted', remedy: 'part them by a comma' }
  const one = quantityOf(first, first === 'F' ? -1 : 0)(a)
  if (!one.ok) return one
  const two = quantityOf(second)(b)
  return two.ok ? { ok: true, value: [one.value, two.value] } : two
}

/** A supply that shows less than this of its own current cannot be judged by, and `check` refuses it. */
export function steps(text: string, max_A: number): ReturnType<typeof pair> {
  const read = pair(text, 'V', 'A')
  if (!read.ok || read.value[1] <= max_A / coarsest) return read
  return {
    ok: false,
    problem: `steps of ${formatQuantity(read.value[1], 'A')} are too coarse for a supply of ${formatQuantity(max_A, 'A')}`,
    remedy: `look at its manual again: ${formatQuantity(max_A / coarsest, 'A')} or less is needed`,
  }
}

const none = /^(?:|none|no|n|-)$/i

export function yesOrNone(text: string): Answer<'yes' | null> {
  if (none.test(text)) return { ok: true, value: null }
  return /^y(?:es)?$/i.test(text)
    ? { ok: true, value: 'yes' }
    : { ok: false, problem: `'${text}' is neither yes nor no`, remedy: 'answer yes or no' }
}

export function portOrNone(text: string): Answer<string | null> {
  if (none.test(text)) return { ok: true, value: null }
  return /^(?:\/\S+|COM[0-9]+|\\\\[.?]\\\S+)$/i.test(text) && text.length <= 200
    ? { ok: true, value: text }
    : {
        ok: false,
        problem: `'${text}' is no serial port`,
        remedy: 'write its whole path, such as /dev/ttyUSB0, or none',
      }
}

export function readModes(text: string): Answer<readonly string[]> {
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

export function readTypes(text: string): Answer<readonly string[]> {
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

export function readTube(type: string, name: string): Answer<TubeAnswer> {
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

export function readChains(
  text: string,
  tubes: readonly TubeAnswer[],
  heater_V: readonly number[],
): Answer<Answers['chains']> {
  const able = tubes.filter((tube) => tube.record.heater !== null)
  const heated = able.filter((tube) => !isRectifier(tube))
  const chains =
    text.toLowerCase() === 'parallel'
      ? heated.length === 0
        ? []
        : inParallel(heated, heater_V)
      : items(text).map((chain) => chain.split('-').map((name) => [name.trim().toUpperCase()]))
  const places = chains.flat(2)
  for (const name of places)
    if (!able.some((tube) => tube.name === name))
      return {
        ok: false,
        problem: `there is no heater ${name}`,
        remedy: listed(
          'the heaters are',
          able.map((tube) => tube.name),
          'no tube named so far has a heater',
        ),
      }
  const absent = heated.find(({ name }) => !places.includes(name))
  if (absent !== undefined || new Set(places).size < places.length)
    return {
      ok: false,
      problem: absent === undefined ? 'a tube stands there twice' : `${absent.name} is in no chain`,
      remedy: 'place every heater once',
    }
  const idle = heater_V.find(
    (_, at) => !chains.some((chain) => nearest(chainVolts(chain, tubes), heater_V) === at),
  )
  if (heater_V.length > 1 && idle !== undefined)
    return {
      ok: false,
      problem: `nothing here is heated from ${formatQuantity(idle, 'V')}`,
      remedy:
        'name the chain that hangs there (a rectifier that stays in its socket too), or begin anew with one heater supply',
    }
  const voltsOf = (name: string): number => heaterOf(tubes, name)?.volts.value ?? 0
  for (const chain of chains) {
    const volts = chainVolts(chain, tubes)
    const rail_V = heater_V[nearest(volts, heater_V)] ?? 0
    const odd = chain
      .flat()
      .find((name) => Math.abs(voltsOf(name) - voltsOf(chain[0]?.[0] ?? '')) > 0.5 && chain.length === 1)
    if (odd !== undefined)
      return {
        ok: false,
        problem: `${odd} wants ${formatQuantity(voltsOf(odd), 'V')}, others in parallel with it do not`,
        remedy: parallelRemedy(odd, able, rail_V),
      }
    if (Math.abs(volts - rail_V) > fits * rail_V)
      return {
        ok: false,
        problem: `${chain.map((group) => group.join('+')).join('-')} wants ${formatQuantity(volts, 'V')}, the heater ${heater_V.length > 1 ? 'supplies give' : 'supply gives'} ${heater_V.map((V) => formatQuantity(V, 'V')).join(' and ')}`,
        remedy:
          'write chains that add up; where a dropper made up the rest, begin anew with the volts of the chain as those of the heater supply, or write the dropper into the file by hand, see profiles/',
      }
    const amps = chain.map((group) => heaterOf(tubes, group[0] ?? '')?.amps.value ?? 0)
    if (chain.length > 1 && Math.max(...amps) - Math.min(...amps) > 0.06 * Math.max(...amps))
      return {
        ok: false,
        problem: `in ${chain.flat().join('-')} the heaters take ${amps.map((each) => formatQuantity(each, 'A')).join(', ')}: in series they must be equal`,
        remedy: 'write other chains; a shunt is written into the file by hand, see profiles/',
      }
  }
  return { ok: true, value: chains }
}

/** All heaters of the same volts across the rail that has them. */
function inParallel(heated: readonly TubeAnswer[], heater_V: readonly number[]): Answers['chains'] {
  const groups = heater_V.map((_, at) =>
    heated
      .filter(({ record }) => nearest(record.heater?.volts.value ?? 0, heater_V) === at)
      .map(({ name }) => name),
  )
  return groups.flatMap((group) => (group.length === 0 ? [] : [[group]]))
}

/** A tube whose filament halves may stand in parallel has a record of its own for that; a second heater winding is a rail of its own. */
function parallelRemedy(name: string, able: readonly TubeAnswer[], heater_V: number): string {
  const type = able.find((tube) => tube.name === name)?.record.type ?? ''
  const halved = `${type} (${formatQuantity(heater_V, 'V')})`
  return findTube(halved).found?.type === halved
    ? `its filament halves in parallel take ${formatQuantity(heater_V, 'V')}: begin anew and write ${halved} among the types`
    : 'write the chains one by one; where it hangs on a heater winding of its own, begin anew and give the volts of both, parted by a comma'
}

export function readCapacitors(text: string, HT_V: number): Answer<Answers['capacitors']> {
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

/** The question that feeds a cut-off relay, and its seconds. */
export function readFeed(text: string): Answer<readonly [string, number]> {
  const [feed = '', after = '', ...more] = items(text)
  if (!feed.endsWith('?') || more.length > 0)
    return {
      ok: false,
      problem: `'${feed}' is no question`,
      remedy: 'write the question from its manual, which must be answered, and seconds: :REL:FEED?, 4 s',
    }
  const after_s = quantityOf('s', 1.99, 60)(after)
  return after_s.ok ? { ok: true, value: [feed, after_s.value] } : after_s
}
