import { plainScpi, type Bench, type Channel, type Dialect, type Supply } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'

/** A hand-made two-rail receiver known by its rails alone (level 1), and a bench for it. */
export const receiver: Equipment = {
  name: 'four-tube receiver',
  level: 1,
  chassis: 'isolated',
  chassis_node: 'chassis',
  hazards: [],
  panel_controls: [],
  modes: { receive: { controls: {}, driven: false } },
  rails: {
    heaters: {
      role: 'heater',
      positive: 'heater line',
      negative: 'chassis',
      polarity: 'positive',
      working_V: 6.3,
      max_V: { value: 6.9, source: 'test' },
      feeds: { positive_at: 'a', negative_at: 'b', lift: [], pull: [] },
      totals: {},
    },
    HT: {
      role: 'HT',
      positive: 'B+',
      negative: 'chassis',
      polarity: 'positive',
      working_V: 250,
      max_V: { value: 300, source: 'test' },
      feeds: { positive_at: 'a', negative_at: 'b', lift: [], pull: [], bench_bleeder_ohm: 100_000 },
      totals: { receive: { at_V: 250, current_A: 0.06, source: 'test' } },
    },
  },
  parts: {},
  rail_capacitors: { C1: { rail: 'HT', F: 16e-6, rated_V: 450, dielectric: 'electrolytic' } },
  tubes: {
    V1: { type: '6V6GT', written: '6V6GT', sections: [], rail: 'HT' },
    V2: { type: '6SK7', written: '6SK7', sections: [], rail: 'HT' },
  },
  spares: [],
  heater_chains: {
    all: { rail: 'heaters', series: [['V1', 'V2']], lead_ohm: 0.02 },
  },
  charts: { within: 0.2, voltages: [], resistances: [] },
  test_points: {},
}

/** Without the colons: a path from the root all the same where each message holds one unit. */
export const plain: Dialect = {
  ...plainScpi,
  name: 'plain',
  set_volts: 'VOLT {v}',
  ask_set_volts: 'VOLT?',
  set_amps: 'CURR {a}',
  ask_set_amps: 'CURR?',
  on: 'OUTP ON',
  off: 'OUTP OFF',
  measure_volts: 'MEAS:VOLT?',
  measure_amps: 'MEAS:CURR?',
}

export const channel: Channel = {
  number: 1,
  feeds: 'HT',
  role: 'HT',
  max_V: 400,
  max_A: 0.5,
  resolution_V: 0.1,
  resolution_A: 0.001,
  set_digits_V: 2,
  set_digits_A: 3,
  accuracy_V: { of_reading: 0.001, plus: 0.2 },
  accuracy_A: { of_reading: 0.002, plus: 0.0005 },
  min_V: 0,
  min_A: 0.001,
  over_voltage: true,
  over_voltage_margin_V: 2,
  output_F: 22e-6,
  lead_ohm: 0.1,
  remote_sense: false,
  sinks: false,
  bleeder_ohm: null,
  off_order: 1,
  bias_release: { below_V: 60, after_s: 300 },
}

function supply(channels: Supply['channels']): Supply {
  return {
    line: { kind: 'virtual', as: 'tcp', baud: 9600, spare_allowed: true },
    identity: null,
    dialect: plain,
    isolation_V: 600,
    interface_isolated: 'yes',
    earthed_negative: false,
    common_output_switch: false,
    reply_s: 0.1,
    channels,
  }
}

export const bench: Bench = {
  name: 'test bench',
  kind: 'virtual',
  equipment: null,
  seed: 1,
  faults: [],
  supplies: {
    main: supply({ ht: channel }),
    low: supply({
      heat: {
        ...channel,
        feeds: 'heaters',
        role: 'heater',
        max_V: 30,
        max_A: 5,
        resolution_V: 0.01,
        resolution_A: 0.001,
        output_F: 1000e-6,
        off_order: 3,
      },
    }),
  },
  meters: {},
  stacks: [],
  leads_max_V: 600,
  stale_s: null,
  late_tick_s: null,
  qualification: null,
  off_time_s: null,
  computer_earthed: true,
}
