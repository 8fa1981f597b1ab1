import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, Rail, RailName } from '../equipment/index.js'
import {
  channelsOf,
  heaterWindow_ohm,
  type LimitsDesk,
  parallel_ohm,
  railOhm,
  type RailBench,
  show,
  standingLoad_ohm,
} from '../limits/index.js'
import type { HookupTest, RailLimits, RailPlan, Reason } from './types.js'

/** Highest volts of a hook-up test by current, and its highest limit where the rail is not a heater (architecture.md). */
const test = { volts: 5, heater_V: 2, limit_A: 0.005 } as const
/** A test needs this many read-back steps of current to say anything. */
const steps = 5
/** An ohmmeter's test current charges electrolytics through about this much (common practice, no source). */
const ohmmeter_ohm = 100e3
/** What "open" or "OL" on an ohmmeter stands for as a number: beyond any bench meter's range. */
export const open_ohm = 1e9
const ours = "slowglow's own choice, no published source"

/** Where nothing at all is known of a rail, less than this counts as a short (common practice, no source). */
const leastKnown_ohm = 1000

interface Window {
  readonly low: number
  readonly high: number
  /** What nominal parts make; null where only bounds are known. */
  readonly usual: number | null
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
  /** Null where nothing is known that conducts at low volts. */
  readonly window: Window | null
  /** What an ohmmeter should find. */
  readonly meter: Window
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
  const heater = rail.role === 'heater'
  const window = heater ? heaterWindow(equipment, side, name) : coldWindow(equipment, desk, name, mode)
  const cold = heater ? coldHeaters(equipment, side, name) : window
  const meter = cold ?? unknownWindow(desk, name, rail, mode)
  const wiring: Wiring = { equipment, bench, desk, rail, side, window, meter, mode }
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
    ...(window.usual === null ? {} : { usual_ohm: window.usual }),
    may_limit: heater,
    polarity: polarityAt(equipment, bench, rail, test_V, lowest_V),
    because: `${show(test_V, 'V')} at ${show(limit_A, 'A')} at most can hurt nothing; ${show(ohm_low, 'Ω')} to ${show(ohm_high, 'Ω')} is what should be there (${window.of}), at least ${steps} steps of the supply's ammeter.`,
  }
}

function byOhmmeter(
  { equipment, bench, desk, rail, side, meter, mode }: Wiring,
  channel: string,
  why: string,
): HookupTest {
  const F = desk.operating?.cold(mode, { [side.name]: rail.working_V }).charging_F[side.name] ?? 0
  const wait_s = 5 * F * (parallel_ohm([ohmmeter_ohm, meter.high]) ?? ohmmeter_ohm)
  const wait =
    rail.role === 'heater' || wait_s < 2
      ? ''
      : ` The reading climbs while ${show(F, 'F')} of capacitors charge: wait about ${show(Math.ceil(wait_s), 's')}, until it stands still.`
  return {
    rail: side.name,
    channel,
    method: 'ohmmeter',
    test_V: 0,
    limit_A: 0,
    ohm_low: 0.8 * meter.low,
    ohm_high: Math.min(1.2 * meter.high, 10 * open_ohm),
    ...(meter.usual === null ? {} : { usual_ohm: meter.usual }),
    may_limit: false,
    polarity: polarityAt(equipment, bench, rail, 1, 1),
    because: `${why}, so an ohmmeter proves the wiring: ${meter.of}.${wait}`,
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
      (meter.line !== null || meter.on !== null) &&
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
  return {
    low: window.low_ohm * 0.9,
    high: window.high_ohm,
    usual: window.cold_ohm,
    of: 'the heaters, from stone cold to warm',
  }
}

/** An ohmmeter warms no heater: it reads them cold, within the published spread of how much lower that is. */
function coldHeaters(equipment: Equipment, side: RailBench, name: RailName): Window | null {
  const window = heaterWindow_ohm(equipment, name, side.lead_ohm)
  if (window === null) return null
  return {
    low: window.low_ohm,
    high: window.cold_high_ohm,
    usual: window.cold_ohm,
    of: 'all the heaters, cold; more is a heater open or a tube out of its socket',
  }
}

/**
 * A rail of which the file gives no circuit: open is as good as anything, and what conducts with cold tubes may at its own
 * volts take no more than the whole set should with hot ones.
 */
function unknownWindow(desk: LimitsDesk, name: RailName, rail: Rail, mode: ModeName): Window {
  const low = wholeSet_ohm(desk, name, rail, mode)
  return {
    low,
    high: open_ohm,
    usual: null,
    of: `the file does not say what is there; less than ${show(low, 'Ω')} would take more with cold tubes than the whole set should with hot ones, and open is good`,
  }
}

function wholeSet_ohm(desk: LimitsDesk, name: RailName, rail: Rail, mode: ModeName): number {
  const expected_A = desk.at(mode, { [name]: rail.working_V }, null, {}, 'hot').limits[name]?.expected_A ?? 0
  return expected_A > 0 ? rail.working_V / expected_A : leastKnown_ohm
}

/** Cold tubes draw nothing, so bleeders, dividers and the bench's own bleeder make up the rail. */
function coldWindow(equipment: Equipment, desk: LimitsDesk, name: RailName, mode: ModeName): Window | null {
  const rail = equipment.rails[name]
  const side = desk.rails[name]
  if (rail === undefined || side === undefined) return null
  const bleeder = standingLoad_ohm(rail, side)
  if (desk.operating === null) {
    return (
      chartWindow(equipment, name, rail, bleeder, mode) ??
      (bleeder === null
        ? null
        : {
            low: wholeSet_ohm(desk, name, rail, mode),
            high: 1.05 * bleeder,
            usual: bleeder,
            of: 'the bleeder or preload and whatever the set adds, which with cold tubes takes less than the whole set should with hot ones',
          })
    )
  }
  const amps = desk.operating.cold(mode, { [name]: test.volts }).amps[name] ?? 0
  if (!(amps > 1e-9))
    return { low: 100e3, high: open_ohm, usual: null, of: 'nothing that conducts with the tubes cold' }
  const ohm = test.volts / amps
  return {
    low: 0.85 * ohm,
    high: 1.3 * ohm,
    usual: ohm,
    of: 'bleeders and dividers (tubes are cold and draw nothing)',
  }
}

/** What the handbook's resistance chart reads across a rail, beside what the bench itself puts there. */
function chartWindow(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  standing: number | null,
  mode: ModeName,
): Window | null {
  const chart = railOhm(equipment, name, mode)
  // Behind a diode a meter's low volts read something else than the handbook's ohmmeter did in the set.
  if (chart === null || rail.feeds.blocking_diode === true) return null
  const series = rail.feeds.series_ohm ?? 0
  const beside = (ohm: number, part: number): number =>
    parallel_ohm([ohm + series, standing === null ? null : standing * part]) ?? ohm + series
  return {
    low: beside(chart.low_ohm, 0.95),
    high: beside(chart.high_ohm, 1.05),
    usual: beside(chart.ohm, 1),
    of: `${show(chart.ohm, 'Ω')} by the handbook's resistance chart${series > 0 ? `, ${show(series, 'Ω')} in the lead` : ''}${standing === null ? '' : `, beside ${show(standing, 'Ω')} of bleeder or preload`}; ${chart.source}`,
  }
}

/** Limits in force while a hook-up test stands: the supply's own limit holds it, the window judges it. */
export function hookupLimits(test: HookupTest, rail: RailPlan | undefined): RailLimits {
  const usual_ohm = test.usual_ohm ?? Math.sqrt(test.ohm_low * test.ohm_high)
  const expected_A = Math.min(test.limit_A, test.test_V / usual_ohm)
  // Where heaters stand at the limit, what the meter says of it may lie a little above it.
  const error_A = Math.max(
    0,
    ...(rail?.channels.map(
      ({ accuracy_A, resolution_A }) => accuracy_A.of_reading * test.limit_A + accuracy_A.plus + resolution_A,
    ) ?? []),
  )
  const most_A = test.may_limit ? test.limit_A + error_A : test.limit_A
  const lower_A = test.test_V / test.ohm_high
  const upper_A = Math.max(expected_A, Math.min(test.limit_A, test.test_V / test.ohm_low))
  const margin_V = rail?.channels.reduce((sum, channel) => sum + channel.over_voltage_margin_V, 0) ?? 0
  const reason = (limit: Reason['limit'], value: number, unit: Reason['unit'], text: string): Reason => ({
    limit,
    value,
    unit,
    text: `${limit} ${show(value, unit)}: ${text}`,
    source: ours,
  })
  return {
    at_V: test.test_V,
    expected_A,
    lower_A: Math.min(lower_A, expected_A),
    upper_A,
    ask_A: 0,
    trip_A: most_A,
    ceiling_A: most_A,
    charge_A: 0,
    supply_limit_A: test.limit_A,
    over_voltage_V: test.test_V + Math.max(margin_V, 0.1 * test.test_V),
    because: [
      reason('expected', expected_A, 'A', test.because),
      reason('supply limit', test.limit_A, 'A', 'low enough to hurt no part of the set'),
    ],
    sees: null,
  }
}

function roundDown(value: number, step: number): number {
  return Number((Math.floor(value / step + 1e-9) * step).toPrecision(12))
}
