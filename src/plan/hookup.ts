import type { Bench } from '../bench/index.js'
import type { Equipment, RailName } from '../equipment/index.js'
import { type LimitsDesk, show } from '../limits/index.js'
import { adviceFor } from './advice.js'
import { open_ohm } from './hookup-tests.js'
import { preparations, type Top } from './preparations.js'
import { isHot } from './stages.js'
import type { HookupLine, HookupTest, Plan, Wire } from './types.js'

/** The hook-up sheet: where each supply goes in, what is done first, how it is proved. */
export function hookupLine(
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  name: RailName,
  tests: readonly HookupTest[],
  top: Top | null,
): HookupLine {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  const feeds = rail?.feeds
  const supply =
    side?.class === 'programmed'
      ? side.channels.join(' + ')
      : side?.class === 'watched'
        ? `your own supply, watched by ${side.volts_meter ?? 'a meter'}`
        : 'your own supply, set and read by hand'
  const advice = adviceFor(equipment, desk, name, top)
  return {
    rail: name,
    supply,
    positive: `${feeds?.positive_at ?? ''} (${rail?.positive ?? ''})`,
    negative: `${feeds?.negative_at ?? ''} (${rail?.negative ?? ''})`,
    first: preparations(equipment, bench, desk, name, top),
    proved_by: tests.map((each) => provedBy(each, bench)).join('; '),
    ...(advice.length > 0 && { advice }),
  }
}

/** Everything to be made and confirmed by hand: each rail's preparations and two leads, then the meters that stay clipped on. */
export function wiresOf(equipment: Equipment, bench: Bench, hookup: readonly HookupLine[]): Wire[] {
  const before = [
    ...(equipment.power === 'battery'
      ? [
          "the set's own batteries are out of it, or their leads are off and covered: none stands beside the bench's supplies",
        ]
      : [
          "the set's mains plug is out and covered: its pins can be live, fed backwards through its transformer",
        ]),
    // Whatever the set was made for: its HT comes from supplies on the mains here.
    equipment.chassis === 'live'
      ? `the set stands behind an isolating transformer of its own: ${equipment.isolating_transformer ?? 'none stated'}`
      : "the chassis is joined to the bench's protective earth",
    ...(hookup.some(({ rail }) => isHot(equipment, rail))
      ? ['a switch that cuts the mains of the HT supply is within reach of the free hand']
      : []),
  ].map((text) => ({ of: 'first', text }))
  const rails = hookup.flatMap(({ rail, supply, positive, negative, first }) =>
    [...first, `positive lead of ${supply} to ${positive}`, `negative lead of ${supply} to ${negative}`].map(
      (text) => ({ of: rail, text }),
    ),
  )
  const meters = Object.entries(bench.meters).flatMap(([name, meter]) => {
    const text = clipped(equipment, meter)
    return text === null ? [] : [{ of: 'meters', text: `${name} ${text}` }]
  })
  return [...before, ...rails, ...meters]
}

/** Each rail that may have left charge behind, at the point where its supply goes in. */
export function proveDeadAt(equipment: Equipment, hookup: readonly HookupLine[]): Plan['prove_dead'] {
  return hookup.flatMap(({ rail, positive, negative }) => {
    const set = equipment.rails[rail]
    if (set === undefined || !isHot(equipment, rail)) return []
    return [
      set.polarity === 'negative'
        ? { rail, node: set.negative, at: negative }
        : { rail, node: set.positive, at: positive },
    ]
  })
}

/** Where a meter stays through the run; null where it is taken in the hand. */
function clipped(
  equipment: Equipment,
  { at, against, rail, measures }: Bench['meters'][string],
): string | null {
  if (at !== null) return `with its red lead on ${at}, its black lead on ${against ?? equipment.chassis_node}`
  const fed = rail === null ? undefined : equipment.rails[rail]
  if (fed === undefined) return null
  return measures === 'A'
    ? `in series with the positive lead of ${rail ?? ''}`
    : `with its red lead on ${fed.positive}, its black lead on ${fed.negative}`
}

/** The window of a test as it is read at the bench. */
export function ohmWords({ ohm_low, ohm_high }: HookupTest): string {
  return ohm_high >= open_ohm
    ? `${show(ohm_low, 'Ω')} or more, open too`
    : `${show(ohm_low, 'Ω')} to ${show(ohm_high, 'Ω')}`
}

function provedBy(each: HookupTest, bench: Bench): string {
  const of = each.channel === '' ? '' : `${each.channel}: `
  const window = ohmWords(each)
  if (each.method === 'ohmmeter') {
    return `${of}ohmmeter at the lead ends, supply off, the lead that is positive on ohms to the positive lead (on many needle meters that is the black one): ${window}. Why: ${each.because}`
  }
  const { polarity } = each
  const meter = polarity?.meter === null ? 'a meter you read' : `${polarity?.meter ?? ''} (${bench.name})`
  const read = polarity === null ? '' : `, polarity at ${polarity.node} by ${meter}`
  return `${of}${show(each.test_V, 'V')} with at most ${show(each.limit_A, 'A')}: volts over amps ${window}${read}. Why: ${each.because}`
}
