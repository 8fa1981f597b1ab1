import * as z from 'zod'
import { chartsShape } from './chart-shape.js'
import { drivenShape } from './driven-shape.js'
import { ownMainsShape } from './own-mains-shape.js'
import { tubeTypeShape } from './tube-types.js'
import { choice, flag, group, list, name, nodes, quantity, ratio, table, text } from '../quantities/index.js'

/*
 * The equipment file as a person writes it. Meaning (do the names fit together, is it electrically sound) is checked
 * in meaning*.ts over whatever could be read.
 */

const source = text('where the figure comes from: a handbook page, a measurement, "from memory"')
const node = (about: string) => name(`node: ${about}`)
const sourcedVolts = group(
  { value: quantity('V', 'the figure', { above: 0 }), source },
  'a figure with its source',
)

const railShape = group(
  {
    role: choice(['heater', 'bias', 'HT', 'screen', 'drive', 'other'], 'what the rail is for'),
    positive: node('positive side of the rail'),
    negative: node('negative side of the rail'),
    polarity: choice(
      ['positive', 'negative', 'floating'],
      'driven side against chassis; follows from the two nodes and may be left out',
    ).optional(),
    class: choice(
      ['programmed', 'watched', 'hand'],
      'who sets it: programmed by slowglow, watched through a meter on a line, or by hand; left out: what the bench can do',
    ).optional(),
    working: quantity('V', 'working voltage of the set at this rail, positive against negative', {
      above: 0,
      most: 20000,
    }),
    max: sourcedVolts.describe('highest voltage anything may put on this rail, with its source'),
    feeds: group(
      {
        positive_at: text('where the positive lead is clipped, in the words of the set'),
        negative_at: text('where the negative lead is clipped'),
        lift: list(text('a wire to lift'), 'wires to lift before, in order').default([]),
        pull: list(name('a tube'), 'tubes to pull before (the rectifier!)').default([]),
        fuse: quantity('A', 'fuse in the feed lead', { above: 0 }).optional(),
        blocking_diode: flag('a diode in the feed lead').optional(),
        series: quantity('Ω', 'resistor between supply and set', { above: 0 }).optional(),
        bench_bleeder: quantity(
          'Ω',
          "fixed bleeder across the supply's terminals, if not in the bench file",
          {
            above: 0,
          },
        ).optional(),
        bench_bleeder_tolerance: ratio('tolerance of that bleeder', 0, 0.5).optional(),
      },
      'how the bench is joined to the rail',
    ),
    totals: table(
      group(
        {
          at: quantity('V', 'rail voltage the total was taken at', { above: 0 }),
          current: quantity('A', 'total current of the rail', { least: 0 }),
          source,
        },
        "the handbook's total",
      ),
      "the handbook's total current by mode",
    ).default({}),
    required_bias: group(
      {
        node: node('the grid return, where the bias must stand'),
        at_least: quantity('V', 'the least bias that keeps the tubes safe, with its sign against chassis'),
        nominal: quantity('V', 'the usual bias, with its sign against chassis'),
        preload: quantity(
          'Ω',
          'resistor fitted from the grid return to chassis, for a file without its circuit',
          {
            above: 0,
          },
        ).optional(),
        source,
      },
      'what must stand at the grid return before HT',
    ).optional(),
    earthed_at: choice(
      ['centre tap', 'hum potentiometer'],
      'what still joins the middle of this heater rail to chassis while the bench feeds it',
    ).optional(),
    winding_connected: flag(
      'a winding of the mains transformer is still connected across this heater rail',
    ).optional(),
    winding: group(
      {
        rated: quantity('A', 'the most that the winding may carry, as direct current', { above: 0 }),
        source,
      },
      'the winding that all of this rail flows through in the set (transformer or choke), for a file without its circuit',
    ).optional(),
    manual: group(
      { trip: quantity('A', 'trip current', { above: 0 }), reason: text('why this limit is set by hand') },
      'a limit set by hand, with its reason',
    ).optional(),
  },
  'a rail',
)

const tolerance = ratio('tolerance').default(0.1)
const rated_W = quantity('W', 'rating', { above: 0 }).optional()
const note = text('what it does, where it sits').optional()

const partShape = z
  .discriminatedUnion(
    'kind',
    [
      group(
        {
          kind: z.literal('resistor'),
          between: nodes('its two nodes'),
          value: quantity('Ω', 'resistance', { above: 0 }),
          tolerance,
          rated: rated_W,
          make: choice(['carbon composition', 'film', 'wirewound'], 'how it is made').default(
            'carbon composition',
          ),
          note,
        },
        'a resistor',
      ),
      group(
        {
          kind: z.literal('capacitor'),
          between: nodes('its two nodes, positive first for electrolytics'),
          value: quantity('F', 'capacitance', { above: 0 }),
          rated: quantity('V', 'voltage rating', { above: 0 }),
          dielectric: choice(['electrolytic', 'paper', 'film', 'mica', 'ceramic'], 'dielectric'),
          can: name('name of the can, shared by its sections').optional(),
          note,
        },
        'a capacitor',
      ),
      group(
        {
          kind: choice(['choke', 'winding'], 'choke or winding'),
          between: nodes('its two nodes'),
          value: quantity('H', 'inductance', { above: 0 }),
          ohm: quantity('Ω', 'resistance of the wire', { above: 0 }),
          rated: quantity('A', 'rated current', { above: 0 }).optional(),
          of: name('transformer it belongs to').optional(),
          note,
        },
        'a choke or winding',
      ),
      group(
        {
          kind: z.literal('potentiometer'),
          ends: nodes('its two ends'),
          wiper: node('its wiper'),
          value: quantity('Ω', 'resistance of the track', { above: 0 }),
          tolerance,
          position: ratio('wiper, 0 at the first end, 1 at the second'),
          positions: table(ratio('wiper position in this mode'), 'positions by mode').default({}),
          rated: rated_W,
          note,
        },
        'a potentiometer',
      ),
      group(
        {
          kind: z.literal('contact'),
          between: nodes('its two nodes'),
          closed_in: list(name('a mode'), 'modes in which it is closed'),
          control: text('the relay or switch it belongs to'),
          note,
        },
        'a contact',
      ),
      group(
        {
          kind: z.literal('fuse'),
          between: nodes('its two nodes'),
          rated: quantity('A', 'rated current', { above: 0 }),
          ohm: quantity('Ω', 'cold resistance', { above: 0 }).default(1),
          note,
        },
        'a fuse',
      ),
      group(
        {
          kind: z.literal('lamp'),
          type: text(
            'its type, in place of volts and amps: a lamp of the catalogue (lamp 47, or its number alone), or one under tube_types',
            60,
          ).optional(),
          volts: quantity('V', 'rated voltage', { above: 0 }).optional(),
          amps: quantity('A', 'rated current', { above: 0 }).optional(),
          between: nodes('its two nodes, where it stands in no heater chain').optional(),
          note,
        },
        'a lamp',
      ),
      group({ kind: z.literal('diode'), between: nodes('anode, cathode'), note }, 'a semiconductor diode'),
      group(
        {
          kind: z.literal('heater resistor'),
          value: quantity('Ω', 'resistance', { above: 0 }),
          tolerance,
          rated: rated_W,
          note,
        },
        'a resistor that stands in a heater chain only',
      ),
    ],
    {
      error: (issue) => {
        const kinds =
          'resistor, capacitor, choke, winding, potentiometer, contact, fuse, lamp, diode, heater resistor'
        const refused = unsupported(issue.input)
        if (refused !== null) return refused
        return typeof issue.input === 'object' && issue.input !== null && !Array.isArray(issue.input)
          ? `this part's kind is missing or unknown\nwrite kind: one of ${kinds}`
          : `a part is a group of keys\nwrite { kind: resistor, between: [one node, other node], value: 47k }; kinds: ${kinds}`
      },
    },
  )
  .describe('a part')

/** What makes HT out of a battery has no model here: said by name, with where the bench takes its place. */
const converters = ['vibrator', 'dynamotor', 'rotary converter', 'motor generator', 'inverter']

function unsupported(part: unknown): string | null {
  const kind = typeof part === 'object' && part !== null && 'kind' in part ? part.kind : null
  return typeof kind === 'string' && converters.includes(kind)
    ? `a ${kind} is not supported: nothing here tells what it draws or makes\nleave it out, disconnect it, and write the rail behind it, fed by a bench supply, under rails (lift: [its wires])`
    : null
}

const electrodes = {
  plate: node('plate (anode)').optional(),
  screen: node('screen').optional(),
  grid: node('control grid').optional(),
  cathode: node('cathode (filament return)').optional(),
  triode_connected: flag('screen joined to plate').optional(),
  driven: drivenShape.optional(),
}
const tubeShape = group(
  {
    type: text('tube type as in the catalogue', 60),
    does: text('what it does in the set').optional(),
    ...electrodes,
    sections: list(
      group(electrodes, 'one section of the tube'),
      'sections, where there are several',
      4,
    ).optional(),
    rail: name('rail it draws from, where no nodes are given').optional(),
    modes: list(name('a mode'), 'modes in which it conducts, where no nodes are given').optional(),
    pulled: flag('pulled for work on bench supplies').optional(),
    jumper: nodes("the two nodes joined by the link inside a gas regulator's base").optional(),
    mercury: choice(
      ['first use', 'moved'],
      'mercury-vapour rectifier: new, or moved since it last worked: its filament runs alone for the long time at every start until this line is taken out',
    ).optional(),
  },
  'a tube',
)

const chainShape = group(
  {
    rail: name('heater rail'),
    series: list(
      z.union(
        [
          name('a tube, lamp or resistor'),
          list(name('a tube, lamp or resistor'), 'elements in parallel', 60),
        ],
        {
          error: () =>
            'an element of a chain is a name, or a list of names that are in parallel\nwrite [V1, V2] or [V1, [V2, V3]]',
        },
      ),
      'elements in series from the positive to the negative side; an inner list is in parallel',
      60,
    ),
    warm_up: group(
      { value: quantity('s', 'warm-up time', { above: 0, most: 3600 }), source },
      'warm-up time, with its source',
    ).optional(),
    leads: quantity('Ω', 'resistance of the leads to this chain, both ways', { least: 0 }).optional(),
  },
  'a heater chain',
)

export const equipmentShape = z
  .strictObject({
    slowglow: z.literal('equipment 1', {
      error: () => 'the first key says what the file is\nwrite slowglow: equipment 1',
    }),
    name: text('name of the set', 200),
    id: text("a short name for the set's book, which then finds its set whatever the file is called", 60)
      .regex(/^[\p{L}\p{N}][\p{L}\p{N} ._-]*$/u, {
        error: () =>
          'this cannot be the name of a file\nbegin with a letter or digit; then letters, digits, spaces and . _ - are allowed',
      })
      .optional(),
    book: text(
      'where its book lies, from this file, where that is not beside it: several files of one set name the same; ends in .book',
      300,
    )
      .regex(/^(?![/\\]|[a-zA-Z]:).*\.book$/, {
        error: () => 'this is no relative path of a book\nwrite for example ../books/my-set.book',
      })
      .optional(),
    cold_readings_stand: quantity('s', 'how long a reading of the cold set stands before it is taken again', {
      above: 0,
    }).optional(),
    chassis: choice(['isolated', 'live'], 'whether the metal chassis is joined to the mains'),
    power: choice(
      ['mains', 'battery'],
      'what the set itself lives on; battery: it has no mains plug and no mains transformer',
    ).optional(),
    isolating_transformer: text('the isolating transformer a live chassis is worked on').optional(),
    chassis_node: name('name of the node that is the metal chassis').default('chassis'),
    hazards: list(
      choice(
        [
          'live chassis',
          'HT on key jack',
          'HT on phone jack',
          'aerial behind blocking capacitor',
          'mercury',
          'radium',
          'PCB oil',
          'asbestos',
          'beryllia',
          'selenium',
          'X-rays',
        ],
        'a hazard of this set',
      ),
      'hazards of this set',
    ).default([]),
    panel_controls: list(text('a control'), 'insulated controls outside the case').default([]),
    modes: table(
      group(
        {
          controls: table(text('a position'), 'control positions that matter in this mode').default({}),
          driven: flag('a driven stage is keyed in this mode').default(false),
        },
        'a mode',
      ),
      'modes of the set',
    ),
    rails: table(railShape, 'rails'),
    parts: table(partShape, 'parts').default({}),
    rail_capacitors: table(
      group(
        {
          rail: name('rail it hangs on'),
          value: quantity('F', 'capacitance', { above: 0 }),
          rated: quantity('V', 'voltage rating', { above: 0 }),
          dielectric: choice(['electrolytic', 'paper', 'film', 'mica', 'ceramic'], 'dielectric').default(
            'electrolytic',
          ),
          can: name('name of the can').optional(),
        },
        'a capacitor on a rail',
      ),
      'capacitors, where no nodes are given',
    ).default({}),
    tubes: table(tubeShape, 'tubes'),
    tube_types: table(
      tubeTypeShape,
      "tube types of the owner's own: a type the catalogue lacks, or one whose sheet says otherwise",
    ).default({}),
    own_mains: ownMainsShape.optional(),
    spares: list(text('a tube type', 60), 'spare tubes at hand').default([]),
    heater_chains: table(chainShape, 'heater chains').default({}),
    charts: chartsShape.optional(),
    test_points: table(text('words for people'), 'nodes worth watching, with words for people').default({}),
  })
  .describe('A set: what slowglow knows of it')

export type Written = z.output<typeof equipmentShape>
