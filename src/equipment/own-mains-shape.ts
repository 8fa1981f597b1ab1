import type * as z from 'zod'
import { flag, group, list, name, quantity, table, text } from '../quantities/index.js'
import type { OwnMains } from './types.js'

/* The set's own transformer and rectifier, as a person writes it. */

const volts = (about: string) => quantity('V', about, { above: 0, most: 20000 })
const source = text('where the figures come from: a handbook page, a measurement, "from memory"')

export const ownMainsShape = group(
  {
    volts: quantity('V', 'mains volts that the primary is set for', { above: 0, most: 500 }),
    transformer: name('its name among the parts'),
    primary: quantity('Ω', 'from pin to pin of the mains plug, its switch on, cold', { above: 0 }),
    windings: table(volts('RMS volts with the primary at its volts and nothing on it'), 'its windings'),
    no_load: group(
      { value: quantity('A', 'what it takes with nothing on it', { above: 0 }), source },
      'its magnetising current, where it is known',
    ).optional(),
    fuse: quantity('A', 'its mains fuse', { above: 0 }),
    HT: group(
      {
        rail: name('the rail it feeds'),
        halves: list(
          name('a winding'),
          'the two halves of a winding with a centre tap, or the one across a bridge',
          2,
        ).min(1, { error: () => 'no winding is named here\nwrite halves: [T1a, T1b]' }),
        taps: table(
          volts('RMS volts of each half in this mode'),
          'volts by mode, where a relay changes taps',
        ).default({}),
        rectifier: name('its rectifier tube; left out where semiconductors do its work').optional(),
        opened_by: text(
          'how HT is kept off while heaters and bias are looked at: "V16 out of its socket", "HT fuse F2 out"',
          200,
        ),
        leaves_charged: name(
          'the node that charges all the same while HT is kept off so: the reservoir before a fuse; left out where the rectifier is pulled',
        ).optional(),
        read_at: text('where its current is read: "milliammeter in place of F1"', 200),
      },
      'how it makes HT',
    ),
    earthed: flag('its cord joins the chassis to the mains earth').default(true),
    source,
  },
  "the set's own mains transformer and rectifier",
)

export function toOwnMains(written: z.output<typeof ownMainsShape>): OwnMains {
  const {
    volts: primary_V,
    primary,
    windings,
    no_load,
    fuse,
    HT,
    transformer,
    earthed,
    source: from,
  } = written
  return {
    volts: primary_V,
    transformer,
    primary_ohm: primary,
    windings,
    ...(no_load !== undefined && { no_load_A: no_load }),
    fuse_A: fuse,
    HT: {
      rail: HT.rail,
      halves: HT.halves,
      taps: HT.taps,
      rectifier: HT.rectifier ?? null,
      opened_by: HT.opened_by,
      ...(HT.leaves_charged !== undefined && { leaves_charged: HT.leaves_charged }),
      read_at: HT.read_at,
    },
    earthed,
    source: from,
  }
}
