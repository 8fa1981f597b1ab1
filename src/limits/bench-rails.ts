import type { Bench, Channel, Meter } from '../bench/index.js'
import type { Equipment, Rail, RailName } from '../equipment/index.js'
import { parallel_ohm } from './discharge.js'
import type { RailBench } from './types.js'

/** Resolution of a figure a person reads from a meter of their own that the bench file does not describe. */
const typed = { V: 0.1, A: 0.001 } as const
/** Accuracy of such a meter: common practice, no source. */
const typedAccuracy = { of_reading: 0.02, plus: 0 } as const

export interface NamedChannel {
  readonly name: string
  readonly port: string
  readonly channel: Channel
  readonly supply: string
}

/** Channels that feed a rail, in stacking order; `name` is `SUPPLY.CHANNEL`, `port` the supply's name. */
export function channelsOf(bench: Bench, rail: RailName): NamedChannel[] {
  const found: NamedChannel[] = []
  for (const [supply, { channels }] of Object.entries(bench.supplies)) {
    for (const [name, channel] of Object.entries(channels)) {
      if (channel.feeds === rail) found.push({ name: `${supply}.${name}`, port: supply, channel, supply })
    }
  }
  const order = bench.stacks.find((stack) => stack.rail === rail)?.channels ?? []
  const place = (name: string): number => (order.includes(name) ? order.indexOf(name) : order.length)
  return found.sort((a, b) => place(a.name) - place(b.name))
}

/** Meter that reads the volts of a rail, or its amps; one on a line before one read by a person. */
function meterOf(bench: Bench, rail: Rail, name: RailName, measures: 'V' | 'A'): [string, Meter] | null {
  const fits = Object.entries(bench.meters).filter(
    ([, meter]) =>
      meter.measures === measures &&
      (meter.rail === name ||
        (measures === 'V' && meter.at === rail.positive && meter.against === rail.negative)),
  )
  return fits.find(([, meter]) => meter.line !== null) ?? fits[0] ?? null
}

/**
 * What the bench gives and sees on each rail of the set. A rail with a channel is programmed, one with a meter on a line is
 * watched, any other is a hand rail; a rail may ask for less than the bench can do, never for more.
 */
export function benchRails(equipment: Equipment, bench: Bench): Readonly<Record<RailName, RailBench>> {
  const rails: Record<RailName, RailBench> = {}
  for (const [name, rail] of Object.entries(equipment.rails)) rails[name] = benchRail(name, rail, bench)
  return rails
}

function benchRail(name: RailName, rail: Rail, bench: Bench): RailBench {
  const volts = meterOf(bench, rail, name, 'V')
  const amps = meterOf(bench, rail, name, 'A')
  const channels = channelsOf(bench, name)
  const common = {
    name,
    role: rail.role,
    volts_meter: volts?.[0] ?? null,
    amps_meter: amps?.[0] ?? null,
  }
  const wants = rail.class ?? 'programmed'
  if (channels.length > 0 && wants === 'programmed') {
    const specs = channels.map(({ channel }) => channel)
    return {
      ...common,
      class: 'programmed',
      channels: channels.map((channel) => channel.name),
      reach_V: sum(specs, (spec) => spec.max_V),
      max_A: Math.min(...specs.map((spec) => spec.max_A)),
      min_A: Math.max(...specs.map((spec) => spec.min_A)),
      step_A: Math.max(...specs.map((spec) => settingStep(spec.set_digits_A))),
      resolution_V: sum(specs, (spec) => spec.resolution_V),
      resolution_A: Math.max(...specs.map((spec) => spec.resolution_A)),
      accuracy_V: {
        of_reading: Math.max(...specs.map((spec) => spec.accuracy_V.of_reading)),
        plus: sum(specs, (spec) => spec.accuracy_V.plus),
      },
      accuracy_A: {
        of_reading: Math.max(...specs.map((spec) => spec.accuracy_A.of_reading)),
        plus: Math.max(...specs.map((spec) => spec.accuracy_A.plus)),
      },
      over_voltage: specs.every((spec) => spec.over_voltage),
      over_voltage_margin_V: sum(specs, (spec) => spec.over_voltage_margin_V),
      lead_ohm: sum(specs, (spec) => (spec.remote_sense ? 0 : spec.lead_ohm)),
      bleeder_ohm: specs.length === 1 ? (specs[0]?.bleeder_ohm ?? null) : stackedBleeder(specs),
      output_F: seriesCapacitance(specs),
      ...widest(specs.flatMap(({ bleeder_tolerance }) => bleeder_tolerance ?? [])),
    }
  }
  const meterA = amps?.[1]
  const meterV = volts?.[1]
  const watched = wants !== 'hand' && meterV !== undefined && meterV.line !== null
  return {
    ...common,
    class: watched ? 'watched' : 'hand',
    channels: [],
    reach_V: rail.max_V.value,
    max_A: Infinity,
    min_A: 0,
    step_A: 0.001,
    resolution_V: meterV?.resolution ?? typed.V,
    resolution_A: meterA?.resolution ?? typed.A,
    accuracy_V: meterV?.accuracy ?? typedAccuracy,
    accuracy_A: meterA?.accuracy ?? typedAccuracy,
    over_voltage: false,
    over_voltage_margin_V: 0,
    lead_ohm: 0,
    bleeder_ohm: null,
    output_F: 0,
  }
}

function widest(tolerances: readonly number[]): Pick<RailBench, 'bleeder_tolerance'> {
  return tolerances.length === 0 ? {} : { bleeder_tolerance: Math.max(...tolerances) }
}

/** The widest tolerance that the files state for a bleeder across the terminals of a rail's supply, where they do. */
export function bleederTolerance(rail: Rail, bench: RailBench): Pick<RailBench, 'bleeder_tolerance'> {
  return widest([bench.bleeder_tolerance ?? [], rail.feeds.bench_bleeder_tolerance ?? []].flat())
}

/** Stacked outputs: a bleeder path exists only where every output has one. */
function stackedBleeder(specs: readonly Channel[]): number | null {
  return specs.every((spec) => spec.bleeder_ohm !== null) ? sum(specs, (spec) => spec.bleeder_ohm ?? 0) : null
}

function seriesCapacitance(specs: readonly Channel[]): number {
  const inverse = sum(specs, (spec) => (spec.output_F > 0 ? 1 / spec.output_F : 0))
  return inverse > 0 && specs.every((spec) => spec.output_F > 0) ? 1 / inverse : 0
}

/** Smallest change of a setting with so many digits after the point. */
export function settingStep(digits: number): number {
  let step = 1
  for (let i = 0; i < digits; i++) step /= 10
  return step
}

/** Bleeders across the terminals of a rail's supply: its own and the one clipped on. Null where there is none. */
export function terminalBleeder_ohm(rail: Rail, bench: RailBench): number | null {
  return parallel_ohm([bench.bleeder_ohm, rail.feeds.bench_bleeder_ohm])
}

/** The same, and a preload that the file states at the grid-return end. */
export function standingLoad_ohm(rail: Rail, bench: RailBench): number | null {
  return parallel_ohm([terminalBleeder_ohm(rail, bench), rail.required_bias?.preload_ohm])
}

function sum<T>(items: readonly T[], of: (item: T) => number): number {
  return items.reduce((total, item) => total + of(item), 0)
}
