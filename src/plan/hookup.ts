import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, Rail, RailName } from '../equipment/index.js'
import {
  channelsOf,
  heaterWindow_ohm,
  type LimitsDesk,
  parallel_ohm,
  type RailBench,
  show,
  terminalBleeder_ohm,
} from '../limits/index.js'
import { isHot } from './stages.js'
import type { HookupLine, HookupTest, Plan, Wire } from './types.js'

/** Highest volts of a hook-up test by current, and its highest limit where the rail is not a heater (architecture.md). */
const test = { volts: 5, heater_V: 2, limit_A: 0.005 } as const
/** A test needs this many read-back steps of current to say anything. */
const steps = 5
/** An ohmmeter's test current charges electrolytics through about this much (common practice, no source). */
const ohmmeter_ohm = 100e3
/** Resistances beyond this read as open on a bench meter. */
const open_ohm = 20e6
/** Where a file says nothing of an HT rail, less than this counts as a short (common practice, no source). */
const noShort_ohm = 1000

interface Window {
  readonly low: number
  readonly high: number
  /** What makes up the resistance, in words. */
  readonly of: string
}

/** What is known of a rail's wiring when its check is chosen. */
interface Wiring {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly desk: LimitsDesk
  readonly rail: Rail
  readonly side: RailBench
  readonly window: Window | null
  readonly mode: ModeName
}

/** How each channel of a rail is proved before anything goes above 5 V; the person reads why it is this way. */
export function hookupTests(
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  name: RailName,
  mode: ModeName,
): HookupTest[] {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined) return []
  const window =
    rail.role === 'heater' ? heaterWindow(equipment, side, name) : coldWindow(equipment, desk, name, mode)
  const wiring: Wiring = { equipment, bench, desk, rail, side, window, mode }
  const channels = side.class === 'programmed' ? channelsOf(bench, name) : []
  if (channels.length === 0) return [byOhmmeter(wiring, '', 'this rail is not switched by slowglow')]
  return channels.map(({ name: channel, channel: spec }) => {
    if (channels.length > 1) return byOhmmeter(wiring, channel, 'stacked outputs feed this rail together')
    const low = byLowVolts(wiring, channel, spec)
    return typeof low === 'string' ? byOhmmeter(wiring, channel, low) : low
  })
}

/** The test by current, or in words why the bench cannot do it. */
function byLowVolts(
  { equipment, bench, rail, side, window }: Wiring,
  channel: string,
  { min_V, min_A }: { readonly min_V: number; readonly min_A: number },
): HookupTest | string {
  if (window === null) return 'the file does not say what should flow at low volts'
  const heater = rail.role === 'heater'
  const test_V = Math.max(heater ? test.heater_V : test.volts, min_V)
  if (test_V > test.volts) return `the supply goes no lower than ${show(min_V, 'V')}`
  const least_A = test_V / window.high
  const most_A = test_V / window.low
  const error_A = side.accuracy_A.of_reading * least_A + side.accuracy_A.plus
  if (least_A - error_A < steps * side.resolution_A) {
    return `at ${show(test_V, 'V')} only ${show(least_A, 'A')} or so would flow, too little for the supply's ammeter (${show(side.resolution_A, 'A')} a step, wrong by up to ${show(error_A, 'A')})`
  }
  const limit_A = heater
    ? Math.max(min_A, Math.min(side.max_A / 2, most_A / 2, 2 * least_A))
    : Math.max(min_A, test.limit_A)
  if (!heater && (limit_A > test.limit_A || most_A > limit_A)) {
    return `the check allows ${show(test.limit_A, 'A')} and this rail takes more, or the supply cannot be limited to so little`
  }
  const error_V = side.accuracy_V.of_reading * test_V + side.accuracy_V.plus + side.resolution_V
  const lowest_V = Math.min(test_V, limit_A * window.low)
  const ohm_low = Math.max(0, lowest_V - error_V) / (lowest_V / window.low + error_A)
  const ohm_high = (test_V + error_V) / (least_A - error_A)
  return {
    rail: side.name,
    channel,
    method: 'low volts',
    test_V,
    limit_A: roundDown(limit_A, side.step_A),
    ohm_low,
    ohm_high,
    may_limit: heater,
    polarity: polarityAt(equipment, bench, rail, test_V, lowest_V),
    because: `${show(test_V, 'V')} at ${show(limit_A, 'A')} at most can hurt nothing; ${show(ohm_low, 'Ω')} to ${show(ohm_high, 'Ω')} is what should be there (${window.of}), at least ${steps} steps of the supply's ammeter.`,
  }
}

function byOhmmeter(
  { equipment, bench, desk, rail, side, window, mode }: Wiring,
  channel: string,
  why: string,
): HookupTest {
  const F = desk.operating?.cold(mode, { [side.name]: rail.working_V }).charging_F[side.name] ?? 0
  const wait_s = 5 * F * (parallel_ohm([ohmmeter_ohm, window?.high]) ?? ohmmeter_ohm)
  const wait =
    rail.role === 'heater' || wait_s < 2
      ? ''
      : ` The reading climbs while ${show(F, 'F')} of capacitors charge: wait about ${show(Math.ceil(wait_s), 's')}, until it stands still.`
  const of =
    window === null
      ? 'the file does not say what is there, so any reading that is no short counts'
      : window.of
  return {
    rail: side.name,
    channel,
    method: 'ohmmeter',
    test_V: 0,
    limit_A: 0,
    ohm_low: window === null ? noShort_ohm : 0.8 * window.low,
    ohm_high: window === null ? open_ohm : 1.2 * window.high,
    may_limit: false,
    polarity: polarityAt(equipment, bench, rail, 1, 1),
    because: `${why}, so an ohmmeter proves the wiring: ${of}.${wait}`,
  }
}

/** Signed volts that a meter at the driven node reads against chassis during the test. */
function polarityAt(
  equipment: Equipment,
  bench: Bench,
  rail: Rail,
  most_V: number,
  least_V: number,
): HookupTest['polarity'] {
  const negative = rail.polarity === 'negative'
  const required = rail.required_bias?.node
  const wanted = [required, negative ? rail.negative : rail.positive].filter((node) => node !== undefined)
  const onLine = Object.entries(bench.meters).find(
    ([, meter]) =>
      meter.line !== null &&
      meter.measures === 'V' &&
      meter.at !== null &&
      wanted.includes(meter.at) &&
      meter.against === equipment.chassis_node,
  )
  const node = onLine?.[1].at ?? (negative ? rail.negative : rail.positive)
  const drop_V = rail.feeds.blocking_diode === true ? 1 : 0
  const low = Math.max(0.1, 0.7 * least_V - drop_V)
  const high = 1.1 * most_V + 0.2
  return {
    node,
    sign: negative ? -1 : 1,
    low_V: negative ? -high : low,
    high_V: negative ? -low : high,
    meter: onLine?.[0] ?? null,
  }
}

function heaterWindow(equipment: Equipment, side: RailBench, name: RailName): Window | null {
  const window = heaterWindow_ohm(equipment, name, side.lead_ohm)
  if (window === null) return null
  return { low: window.low_ohm * 0.9, high: window.high_ohm, of: 'the heaters, from stone cold to warm' }
}

/** Cold tubes draw nothing, so bleeders, dividers and the bench's own bleeder make up the rail. */
function coldWindow(equipment: Equipment, desk: LimitsDesk, name: RailName, mode: ModeName): Window | null {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined) return null
  const bleeder = terminalBleeder_ohm(rail, side)
  if (desk.operating === null) {
    return bleeder === null
      ? null
      : { low: 0.1 * bleeder, high: 1.05 * bleeder, of: 'the bench bleeder and whatever the set adds' }
  }
  const amps = desk.operating.cold(mode, { [name]: test.volts }).amps[name] ?? 0
  if (!(amps > 1e-9)) return { low: 100e3, high: open_ohm, of: 'nothing that conducts with the tubes cold' }
  const ohm = test.volts / amps
  return {
    low: 0.85 * ohm,
    high: 1.3 * ohm,
    of: 'bleeders and dividers (tubes are cold and draw nothing)',
  }
}

/** The hook-up sheet: where each supply goes in, what is done first, how it is proved. */
export function hookupLine(
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  name: RailName,
  tests: readonly HookupTest[],
): HookupLine {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  const feeds = rail?.feeds
  const first: string[] = []
  for (const wire of feeds?.lift ?? []) first.push(`lift ${wire}`)
  for (const tube of feeds?.pull ?? []) first.push(`pull ${tube}${typeOf(equipment, tube)}`)
  if (feeds?.fuse_A !== undefined) first.push(`fuse of ${show(feeds.fuse_A, 'A')} in the positive lead`)
  if (feeds?.blocking_diode === true) first.push('blocking diode in the positive lead')
  if (feeds?.series_ohm !== undefined) first.push(`resistor of ${show(feeds.series_ohm, 'Ω')} in series`)
  if (feeds?.bench_bleeder_ohm !== undefined) {
    first.push(`bleeder of ${show(feeds.bench_bleeder_ohm, 'Ω')} across the supply's terminals`)
  }
  if (rail?.required_bias !== undefined && !meteredByLine(bench, rail.required_bias.node)) {
    const { node } = rail.required_bias
    first.push(
      `a voltmeter clipped from ${node} to ${equipment.chassis_node}, red lead on ${node}, before anything is on: it stays, and you read it before HT and while HT is on`,
    )
  }
  if (side?.bleeder_ohm !== null && side?.bleeder_ohm !== undefined) {
    first.push(`the bench's own bleeder of ${show(side.bleeder_ohm, 'Ω')} stays across the terminals`)
  }
  const supply =
    side?.class === 'programmed'
      ? side.channels.join(' + ')
      : side?.class === 'watched'
        ? `your own supply, watched by ${side.volts_meter ?? 'a meter'}`
        : 'your own supply, set and read by hand'
  return {
    rail: name,
    supply,
    positive: `${feeds?.positive_at ?? ''} (${rail?.positive ?? ''})`,
    negative: `${feeds?.negative_at ?? ''} (${rail?.negative ?? ''})`,
    first,
    proved_by: tests.map((each) => provedBy(each, bench)).join('; '),
  }
}

/** Everything to be made and confirmed by hand: each rail's preparations and two leads, then the meters that stay clipped on. */
export function wiresOf(equipment: Equipment, bench: Bench, hookup: readonly HookupLine[]): Wire[] {
  const before = [
    "the set's mains plug is out and covered: its pins can be live, fed backwards through its transformer",
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

function meteredByLine(bench: Bench, node: string): boolean {
  return Object.values(bench.meters).some(
    (meter) => meter.line !== null && meter.measures === 'V' && meter.at === node,
  )
}

function provedBy(each: HookupTest, bench: Bench): string {
  const of = each.channel === '' ? '' : `${each.channel}: `
  const window = `${show(each.ohm_low, 'Ω')} to ${show(each.ohm_high, 'Ω')}`
  if (each.method === 'ohmmeter') {
    return `${of}ohmmeter at the lead ends, supply off, red on the positive lead: ${window}. Why: ${each.because}`
  }
  const meter = each.polarity.meter === null ? 'a meter you read' : `${each.polarity.meter} (${bench.name})`
  return `${of}${show(each.test_V, 'V')} with at most ${show(each.limit_A, 'A')}: volts over amps ${window}, polarity at ${each.polarity.node} by ${meter}. Why: ${each.because}`
}

function typeOf(equipment: Equipment, tube: string): string {
  const known = equipment.tubes[tube]
  return known === undefined ? '' : ` (${known.type}${known.does === undefined ? '' : `, ${known.does}`})`
}

function roundDown(value: number, step: number): number {
  return Number((Math.floor(value / step + 1e-9) * step).toPrecision(12))
}
