import { group, list, name, quantity, ratio, table, text } from '../quantities/index.js'

/* The handbook's charts as a person types them: what holds for a whole chart once, above its lines. */

const source = text('where the figure comes from: a handbook page, a measurement, "from memory"')
const node = (about: string) => name(`node: ${about}`)
const ohms_per_volt = quantity('Ω', 'resistance of the meter, ohms per volt of its range', { above: 0 })
const meter_resistance = quantity('Ω', 'resistance of a meter that has the same on every range', { above: 0 })
const volts_above = { above: 0 } as const

const through = group(
  {
    ohm: quantity('Ω', 'resistor as marked', { above: 0 }),
    to: node('its other end; left out: the chassis').optional(),
  },
  'a resistor that ends at this node, so that the volts tell a current',
)

export const chartsShape = group(
  {
    source: source.optional(),
    ohms_per_volt: ohms_per_volt.optional(),
    ranges: list(quantity('V', 'a range of the meter', volts_above), 'ranges of the meter', 20).optional(),
    meter_resistance: meter_resistance.optional(),
    within: ratio('how far the handbook allows a reading to be off its chart; left out: 20 %').optional(),
    voltages: list(
      group(
        {
          node: node('where it is measured'),
          mode: name('mode'),
          volts: quantity('V', 'voltage against chassis'),
          is: text(
            'tube and electrode, such as V4 cathode, where the name of the node does not say it',
            80,
          ).optional(),
          through: through.optional(),
          rail: name('rail it hangs on, where the file has several').optional(),
          controls: table(
            text('a position'),
            'control positions it was taken at, where its mode has others',
          ).optional(),
          ohms_per_volt: ohms_per_volt.optional(),
          range: quantity('V', 'range of the meter it was taken on', volts_above).optional(),
          meter_resistance: meter_resistance.optional(),
          source: source.optional(),
        },
        'a line of the voltage chart',
      ),
      'voltage chart',
    ).default([]),
    resistances: list(
      group(
        {
          node: node('where it is measured'),
          to: node('the other end of the ohmmeter; left out: the chassis').optional(),
          mode: name('mode, where the controls of a mode matter to it; left out: in every mode').optional(),
          ohm: quantity('Ω', 'resistance', { least: 0 }),
          is: text(
            'tube and electrode, such as V4 cathode, where the name of the node does not say it',
            80,
          ).optional(),
          source: source.optional(),
        },
        'a line of the resistance chart',
      ),
      'resistance chart',
    ).default([]),
  },
  "the handbook's charts",
)
