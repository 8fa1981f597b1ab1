import * as z from 'zod'
import { alertShape } from './alert-shape.js'
import { dialectShape } from './dialect-shape.js'
import { choice, count, flag, group, list, name, quantity, ratio, table, text } from '../quantities/index.js'

/* The bench file as a person writes it. */

const lineShape = z
  .discriminatedUnion(
    'kind',
    [
      group(
        {
          kind: z.literal('serial'),
          path: text('the serial port, such as /dev/serial/by-id/usb-…: that name stays the same', 300),
          baud: count('baud rate', 300, 4_000_000),
          parity: choice(['none', 'even', 'odd'], 'parity').default('none'),
          stop_bits: count('stop bits', 1, 2).default(1),
          flow_control: choice(
            ['none', 'RTS CTS'],
            'RTS CTS where the supply holds its line up by its own CTS; where nothing drives that, nothing is ever sent',
          ).default('none'),
        },
        'a serial line',
      ),
      group(
        {
          kind: z.literal('tcp'),
          host: text('host name or address', 255),
          port: count('port number', 1, 65535),
          spare_allowed: flag('the supply takes a second connection, kept for an emergency').default(false),
        },
        'a network line',
      ),
      group(
        {
          kind: z.literal('virtual'),
          as: choice(['pty', 'tcp'], 'a terminal line or a network port').default('pty'),
          baud: count('baud rate', 300, 4_000_000).default(115200),
          spare_allowed: flag('a second connection is possible').default(true),
        },
        'a line of the virtual bench',
      ),
    ],
    {
      error: () =>
        'the line is missing its kind, or the kind is unknown\nwrite { kind: serial, path: /dev/serial/by-id/…, baud: 9600 }, { kind: tcp, host: …, port: 5025 } or { kind: virtual }',
    },
  )
  .describe('the line to the computer')

const accuracy = (unit: 'V' | 'A', about: string) =>
  group(
    { of_reading: ratio('part of the reading', 0, 1), plus: quantity(unit, 'fixed part', { least: 0 }) },
    `${about}, such as { of_reading: 0.1 %, plus: ${unit === 'V' ? '50 mV' : '1 mA'} }`,
  )

const channelShape = group(
  {
    number: count('number of the channel on the line', 0, 99).default(1),
    feeds: name('rail it feeds'),
    role: choice(
      ['heater', 'bias', 'HT', 'screen', 'drive', 'other'],
      'role of that rail: known without the file of the set',
    ),
    max_volts: quantity('V', 'highest volts', { above: 0, most: 20000 }),
    max_amps: quantity('A', 'highest amps', { above: 0, most: 1000 }),
    min_volts: quantity('V', 'lowest volts that can be set', { least: 0 }).optional(),
    min_amps: quantity('A', 'lowest current limit that can be set', { least: 0 }).optional(),
    resolution_volts: quantity('V', 'read-back resolution', { above: 0 }),
    resolution_amps: quantity('A', 'read-back resolution', { above: 0 }),
    set_digits_volts: count('digits after the point when volts are set', 0, 6).default(2),
    set_digits_amps: count('digits after the point when amps are set', 0, 6).default(3),
    accuracy_volts: accuracy('V', 'read-back error of volts'),
    accuracy_amps: accuracy('A', 'read-back error of amps'),
    over_voltage: flag('it has an over-voltage level that can be set').default(false),
    over_voltage_margin: quantity('V', 'least distance of that level above the set-point', {
      least: 0,
    }).optional(),
    output_capacitance: quantity('F', 'capacitor across its output terminals (0 µF if there is none)', {
      least: 0,
    }),
    leads: quantity('Ω', 'resistance of the leads, both ways', { least: 0 }).optional(),
    remote_sense: flag('sense leads are used').default(false),
    sinks: flag('it can take current back').default(false),
    bleeder: quantity('Ω', 'fixed resistor across its terminals', { above: 0 }).optional(),
    bleeder_tolerance: ratio('tolerance of that resistor', 0, 0.5).optional(),
    off_order: count('lower goes off first: HT before heaters before bias', 0, 99).optional(),
    bias_release: group(
      {
        below: quantity('V', 'bias may go once every plate and screen is below this', { above: 0, most: 60 }),
        after: quantity('s', 'or this long after heaters were off', { above: 0 }),
      },
      'when bias may be let go',
    ).optional(),
  },
  'a channel',
)

const supplyShape = group(
  {
    line: lineShape,
    identity: text('must equal the reply to the identification query', 200).optional(),
    dialect: dialectShape.default('plain SCPI'),
    isolation: quantity('V', 'what its outputs may be from earth', { least: 0 }),
    interface_isolated: choice(
      ['yes', 'no', 'unknown'],
      "whether its outputs are isolated from the computer's line",
    ),
    earthed_negative: flag('its negative terminal is joined to earth').default(false),
    common_output_switch: flag('one command switches all its channels').default(false),
    reply_within: quantity('s', 'longest time to a reply', { above: 0, most: 30 }).optional(),
    channels: table(channelShape, 'channels'),
  },
  'a supply',
)

const limitShape = group(
  {
    warn: text('said beyond this, such as above 50 °C', 60).optional(),
    trip: text(
      'the run makes safe beyond this, such as above 70 °C, below 5 V, open, or closed',
      60,
    ).optional(),
    because: text('why, or where it comes from', 300),
  },
  'a limit of a watched input, such as { trip: above 70 °C, because: … }',
)

const meterShape = group(
  {
    line: lineShape.optional(),
    on: name('supply whose line it shares: a read-only channel there').optional(),
    ask: text('its question on the line', 200).optional(),
    answer: text('what stands around its answer: {x} where the answer stands', 80).optional(),
    every: quantity('s', 'how often it is asked', { above: 0, most: 60 }).optional(),
    closed_is: count('what a contact answers when it is closed: 1 or 0', 0, 1).optional(),
    required: flag('when it falls silent the run makes safe').optional(),
    limits: list(limitShape, 'what it must not do', 8).default([]),
    identity: text('must equal the reply to the identification query', 200).optional(),
    dialect: dialectShape.optional(),
    measures: choice(['V', 'A', '°C', 'contact'], 'what it measures'),
    at: name('node it is clipped to').optional(),
    against: name('node its other lead is clipped to').optional(),
    rail: name('rail it measures').optional(),
    resistance: quantity('Ω', 'its own resistance', { above: 0 }).optional(),
    resolution_volts: quantity('V', 'resolution of a voltmeter', { above: 0 }).optional(),
    resolution_amps: quantity('A', 'resolution of an ammeter', { above: 0 }).optional(),
    resolution_temperature: quantity('°C', 'resolution of a thermometer', { above: 0 }).optional(),
    accuracy_volts: accuracy('V', 'error of a voltmeter').optional(),
    accuracy_amps: accuracy('A', 'error of an ammeter').optional(),
    isolation: quantity('V', 'what its leads may be from earth', { least: 0 }).optional(),
    interface_isolated: choice(
      ['yes', 'no', 'unknown'],
      'whether its leads are isolated from a computer line of its own',
    ).optional(),
  },
  'a meter',
)

const cutOffShape = group(
  {
    line: lineShape,
    identity: text('must equal the reply to the identification query', 200).optional(),
    dialect: dialectShape.optional(),
    feed: text('the question that keeps it closed; answered 1 once it is closed, 0 while it is open', 200),
    answer: text('what stands around its answer: {x} where the answer stands', 80).optional(),
    closed_is: count('what it answers when it is closed: 1 or 0', 0, 1).default(1),
    after: quantity('s', 'it opens when nobody has fed it for this long', { least: 2, most: 60 }),
    cuts: list(name('a supply'), 'supplies whose HT it cuts while they go on answering', 8).min(1, {
      error: () => 'no supply is named here\nwrite cuts: with the supplies whose HT it cuts',
    }),
  },
  'a relay outside of the supplies that cuts their HT once nobody feeds it',
)

const outsideTimerShape = group(
  {
    shortest: quantity(
      's',
      'the shortest time that it can be set to, from 1 min on: it is proved with that',
      {
        least: 60,
        most: 900,
      },
    ),
    cuts: list(name('a supply'), 'supplies whose HT it cuts while they go on answering', 8).min(1, {
      error: () => 'no supply is named here\nwrite cuts: with the supplies whose HT it cuts',
    }),
  },
  'a timer outside of the supplies that opens their interlock, or the mains of their HT stage, by itself',
)

export const benchShape = z
  .strictObject({
    slowglow: z.literal('bench 1', {
      error: () => 'the first key says what the file is\nwrite slowglow: bench 1',
    }),
    name: text('name of the bench', 200),
    kind: choice(['real', 'virtual'], 'real supplies, or the virtual bench'),
    equipment: text('virtual bench: relative path of the file of the set behind it', 300).optional(),
    seed: count('virtual bench: the same number gives the same set', 0, 2_147_483_647).default(1),
    faults: list(
      text('a fault: PART:KIND[=VALUE]@WHEN', 120),
      'virtual bench: faults already in the set',
    ).default([]),
    supplies: table(supplyShape, 'supplies').default({}),
    meters: table(meterShape, 'meters').default({}),
    cut_off: cutOffShape.optional(),
    outside_timer: outsideTimerShape.optional(),
    stacks: list(
      group(
        {
          rail: name('rail they feed together'),
          channels: list(text('SUPPLY.CHANNEL', 121), 'channels in series', 8),
        },
        'a stack',
      ),
      'channels in series onto one rail',
    ).default([]),
    leads_max: quantity('V', 'highest volts on bench leads', { above: 0, most: 600 }).optional(),
    stale_after: quantity('s', 'a reading older than this is stale', { above: 0, most: 60 }).optional(),
    late_tick: quantity('s', 'a controller later than this trips', { above: 0, most: 10 }).optional(),
    off_time: quantity('s', 'measured time from decision to confirmed off', {
      above: 0,
      most: 60,
    }).optional(),
    qualification: text('relative path of the file that `slowglow qualify` wrote', 300).optional(),
    alerts: list(alertShape, 'where alerts of a run go', 20).default([]),
    computer_earthed: flag('the computer is joined to mains earth').default(true),
  })
  .describe('A bench: supplies and meters, and what they are joined to')

export type WrittenBench = z.output<typeof benchShape>
