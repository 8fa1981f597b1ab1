import type { Bench } from '../../bench/index.js'
import { channelNames, channelOf } from '../../bench/index.js'
import { type Order, provable } from '../../qualify/index.js'
import { formatQuantity, parseQuantity } from '../../quantities/index.js'
import { type Answer, type Dialogue, oneOf, type Question, quantityOf } from '../new/dialogue.js'

/** What a person gives by flags; what is missing is asked. */
export interface OrderFlags {
  readonly channel?: string
  readonly load?: string
  readonly tolerance?: string
  readonly rated?: string
  readonly to?: string
  readonly meter?: string
  readonly skip: readonly string[]
}

/** A flag that cannot be read: which, why, and what would be right. */
export class FlagTrouble extends Error {
  constructor(
    readonly flag: string,
    problem: string,
    readonly remedy: string,
  ) {
    super(problem)
  }
}

/** `0.5 % + 20 mV`, either part alone, or `none`. */
export function readMeter(text: string): Answer<Order['meter']> {
  if (/^(?:|none|no|-)$/i.test(text.trim())) return { ok: true, value: null }
  const remedy = 'write it as in its manual, such as 0.5 % + 20 mV; 3 digits of 0.1 V are 300 mV'
  let of_reading = 0
  let plus = 0
  for (const part of text.split('+')) {
    const ratio = parseQuantity(part.trim(), 'ratio')
    const volts = parseQuantity(part.trim(), 'V')
    if (part.includes('%') && ratio.ok) of_reading += ratio.value
    else if (volts.ok) plus += volts.value
    else return { ok: false, problem: `'${part.trim()}' is neither a part in percent nor volts`, remedy }
  }
  if (of_reading < 0 || of_reading > 0.2 || plus < 0)
    return { ok: false, problem: 'no meter is that far off', remedy }
  return { ok: true, value: { of_reading, plus } }
}

function readTolerance(text: string): Answer<number> {
  const read = parseQuantity(text, 'ratio')
  if (!read.ok) return read
  if (read.value > 0 && read.value <= 0.2) return read
  return {
    ok: false,
    problem: 'more than 20 % tells nothing',
    remedy: 'write such as 5 %; measure it with an ohmmeter',
  }
}

/** Every order, from flags where given and else by asking. */
export async function orderFrom(bench: Bench, flags: OrderFlags, dialogue: Dialogue | null): Promise<Order> {
  const names = channelNames(bench)
  const get = async <T>(flag: string, given: string | undefined, question: Question<T>): Promise<T> => {
    if (given !== undefined) {
      const read = question.read(given)
      if (read.ok) return read.value
      throw new FlagTrouble(flag, read.problem, read.remedy)
    }
    if (dialogue === null) {
      if (question.fallback === null)
        throw new FlagTrouble(flag, 'is missing, and nobody is at a terminal to be asked', `Give --${flag}.`)
      const read = question.read(question.fallback)
      if (read.ok) return read.value
      throw new FlagTrouble(flag, read.problem, read.remedy)
    }
    return dialogue.ask(question)
  }
  const channel = await get('channel', flags.channel, {
    ask: `Which output is the dummy load on? One of: ${names.join(', ')}`,
    fallback: names.length === 1 ? (names[0] ?? null) : null,
    read: oneOf(names),
  })
  const spec = channelOf(bench, channel)?.channel
  const ohm = await get('load', flags.load, {
    ask: 'How many ohms is the load? (as measured, if you can)',
    fallback: null,
    read: quantityOf('Ω'),
  })
  const tolerance = await get('tolerance', flags.tolerance, {
    ask: 'How far may it be off?',
    fallback: '5 %',
    read: readTolerance,
  })
  const rated_W = await get('rated', flags.rated, {
    ask: 'What power is it rated for, as it stands there?',
    fallback: null,
    read: quantityOf('W'),
  })
  const top_V = await get('to', flags.to, {
    ask: `Up to how many volts? (${channel} gives ${formatQuantity(spec?.max_V ?? 0, 'V')})`,
    fallback: null,
    read: quantityOf('V'),
  })
  const meter = await get('meter', flags.meter, {
    ask: 'The error of the voltmeter that you read across the load, such as 0.5 % + 20 mV; none where you read none',
    fallback: 'none',
    read: readMeter,
  })
  const skip = flags.skip.map((text) => {
    const found = provable.find((each) => each === text)
    if (found === undefined)
      throw new FlagTrouble('skip', `'${text}' is no proof`, `One of: ${provable.join(', ')}.`)
    return found
  })
  return { channel, load: { ohm, tolerance, rated_W }, top_V, meter, skip }
}
