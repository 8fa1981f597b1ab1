import type { RailRole } from '../equipment/index.js'
import { createReport, readRough, type Problem, type Where } from '../quantities/index.js'
import { toAlert } from './alert-shape.js'
import { checkAlerts } from './check-alerts.js'
import { checkBench } from './check.js'
import { checkLimits } from './check-meter.js'
import { checkCutOff, checkCuts, cutOffMeter, cutOffName, toCutOff } from './to-cut-off.js'
import { toMeter } from './to-meter.js'
import { toDialect } from './to-dialect.js'
import { benchShape, type WrittenBench } from './shape.js'
import { toLine } from './to-line.js'
import type { Bench, Channel, Supply } from './types.js'

/**
 * Reads a bench file: shape element by element first, then what can be judged without the set's file.
 * `value` is null when any problem is an error. Never throws. `groundGraph` judges it together with a set.
 */
export function readBench(
  raw: unknown,
  where: Where,
): { readonly value: Bench | null; readonly problems: readonly Problem[] } {
  const report = createReport(where)
  const { value: written, broken } = readRough(benchShape, raw, report)
  const bench: Bench = {
    name: written.name ?? '',
    kind: written.kind ?? 'real',
    equipment: written.equipment ?? null,
    seed: written.seed ?? 1,
    faults: written.faults ?? [],
    supplies: mapValues(written.supplies ?? {}, toSupply),
    meters: {
      ...(written.cut_off !== undefined && { [cutOffName]: cutOffMeter(written.cut_off) }),
      ...mapValues(written.meters ?? {}, (meter) => toMeter(meter)),
    },
    ...(written.cut_off !== undefined && { cut_off: toCutOff(written.cut_off) }),
    ...(written.outside_timer !== undefined && {
      outside_timer: { cuts: written.outside_timer.cuts, shortest_s: written.outside_timer.shortest },
    }),
    stacks: written.stacks ?? [],
    leads_max_V: written.leads_max ?? 600,
    stale_s: written.stale_after ?? null,
    late_tick_s: written.late_tick ?? null,
    qualification: written.qualification ?? null,
    off_time_s: written.off_time ?? null,
    computer_earthed: written.computer_earthed ?? true,
    ...((written.alerts ?? []).length > 0 && { alerts: (written.alerts ?? []).map(toAlert) }),
  }
  for (const [name, meter] of Object.entries(written.meters ?? {})) checkLimits(name, meter, report)
  checkAlerts(bench.alerts ?? [], report)
  if (written.cut_off !== undefined) checkCutOff(bench, written.cut_off, report)
  checkCuts(bench, 'outside_timer', bench.outside_timer?.cuts ?? [], report)
  checkBench(bench, broken, written.kind !== undefined, report)
  const wrong = report.problems.some(({ severity }) => severity === 'error')
  return { value: wrong ? null : bench, problems: report.problems }
}

/** Off order where the file says none: what the sequencer does anyway. */
const off_orders: Readonly<Record<RailRole, number>> = {
  drive: 5,
  screen: 8,
  HT: 10,
  other: 15,
  heater: 20,
  bias: 30,
}

function toSupply(supply: WrittenBench['supplies'][string]): Supply {
  return {
    line: toLine(supply.line),
    identity: supply.identity ?? null,
    dialect: toDialect(supply.dialect),
    isolation_V: supply.isolation,
    interface_isolated: supply.interface_isolated,
    earthed_negative: supply.earthed_negative,
    common_output_switch: supply.common_output_switch,
    reply_s: supply.reply_within ?? 1,
    channels: mapValues(supply.channels, toChannel),
  }
}

function toChannel(channel: WrittenBench['supplies'][string]['channels'][string]): Channel {
  return {
    number: channel.number,
    feeds: channel.feeds,
    role: channel.role,
    max_V: channel.max_volts,
    max_A: channel.max_amps,
    resolution_V: channel.resolution_volts,
    resolution_A: channel.resolution_amps,
    set_digits_V: channel.set_digits_volts,
    set_digits_A: channel.set_digits_amps,
    accuracy_V: channel.accuracy_volts,
    accuracy_A: channel.accuracy_amps,
    min_V: channel.min_volts ?? 0,
    min_A: channel.min_amps ?? 0,
    over_voltage: channel.over_voltage,
    over_voltage_margin_V: channel.over_voltage_margin ?? Math.max(0.5, channel.max_volts * 0.01),
    output_F: channel.output_capacitance,
    lead_ohm: channel.leads ?? 0.1,
    remote_sense: channel.remote_sense,
    sinks: channel.sinks,
    bleeder_ohm: channel.bleeder ?? null,
    ...(channel.bleeder_tolerance !== undefined && { bleeder_tolerance: channel.bleeder_tolerance }),
    off_order: channel.off_order ?? off_orders[channel.role],
    // 60 V and 300 s: architecture.md of the project; common practice, no source.
    bias_release: { below_V: channel.bias_release?.below ?? 60, after_s: channel.bias_release?.after ?? 300 },
  }
}

function mapValues<A, B>(record: Readonly<Record<string, A>>, to: (value: A) => B): Record<string, B> {
  return Object.fromEntries(Object.entries(record).map(([name, value]) => [name, to(value)]))
}
