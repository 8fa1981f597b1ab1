import type { Equipment, Part, PartName, Potentiometer } from '../equipment/index.js'
import { formatShort } from '../quantities/index.js'
import { ohmsBy, practice, reading } from './check.js'
import { type ColdOhms, coldOhms, fuseSpread, type Ohms, windingSpread } from './cold-ohms.js'
import type { ColdCheck } from './types.js'

/** A reading this much below the part's own says that other ways stand beside it. */
const beside = 0.9

/** Resistors, potentiometers, fuses, chokes and windings where they stand, tubes cold. */
export function partChecks(equipment: Equipment, mode: string, ohms: ColdOhms): ColdCheck[] {
  return Object.entries(equipment.parts).flatMap(([name, part]) => {
    const own = ownOf(part)
    if (own === null) return []
    // What touches nothing, a winding lifted at both ends, reads as itself.
    const alone = { low: own.ohm * (1 - own.spread), usual: own.ohm, high: own.ohm * (1 + own.spread) }
    const turned = part.kind === 'potentiometer' ? wholeTrack(equipment, mode, name, part) : null
    const found = (turned ?? ohms).between(...own.between) ?? alone
    const coil = part.kind === 'choke' || part.kind === 'winding'
    return [
      reading('Ω', {
        item: name,
        group: coil ? 'windings' : 'resistances',
        what: `${name}${words(equipment, name)}: ${own.between.join(' to ')}, in circuit, tubes cold${turned === null ? '' : ', turned to where it reads most'}`,
        low: found.low,
        high: found.high,
        usual: found.usual,
        because: becauseOf(found, own.ohm, own.why),
        source: coil ? `the set file, ±15 %: ${practice}` : 'computed from the set file and its tolerances',
        ...ohmsBy(found.usual, own.carries_A),
        parts: [name],
      }),
    ]
  })
}

/** Copper at the room's temperature against a handbook's, a fuse and a switch in it (common practice, no source). */
const primarySpread = 0.3

/** From pin to pin of the set's own plug, where the file says what stands behind it. */
export function primaryCheck({ own_mains: own }: Equipment): ColdCheck[] {
  if (own === undefined) return []
  return [
    reading('Ω', {
      item: `${own.transformer} primary`,
      group: 'windings',
      what: "the set's mains plug, in nothing, from pin to pin, its mains switch on",
      low: (1 - primarySpread) * own.primary_ohm,
      high: (1 + primarySpread) * own.primary_ohm,
      usual: own.primary_ohm,
      because:
        'open: a blown fuse, a switch, or a wire burnt through; lower: turns are shorted, and the mains will burn it',
      source: `the set file (${own.source}), ${formatShort(primarySpread, 'ratio')} either way: ${practice}`,
      ...ohmsBy(own.primary_ohm, own.fuse_A),
    }),
  ]
}

/** A track whose wiper is wired to one end reads whole only with the wiper at that end; null where it always does. */
function wholeTrack(
  equipment: Equipment,
  mode: string,
  name: PartName,
  part: Potentiometer,
): ColdOhms | null {
  const { ends, wiper } = part
  if (!ends.includes(wiper)) return null
  const turned = { ...part, position: wiper === ends[0] ? 0 : 1, positions: {} }
  return coldOhms({ ...equipment, parts: { ...equipment.parts, [name]: turned } }, mode)
}

interface Own {
  readonly between: readonly [string, string]
  readonly ohm: number
  readonly spread: number
  readonly carries_A: number
  readonly why: string
}

function ownOf(part: Part | Equipment['parts'][string]): Own | null {
  switch (part.kind) {
    case 'resistor':
    case 'potentiometer':
      return {
        between: part.kind === 'resistor' ? part.between : part.ends,
        ohm: part.ohm,
        spread: part.tolerance,
        carries_A: Math.sqrt((part.rated_W ?? 0.25) / part.ohm),
        why: 'the limits of a run count with this tolerance; old carbon composition drifts high',
      }
    case 'fuse':
      return {
        between: part.between,
        ohm: part.ohm,
        spread: fuseSpread,
        carries_A: part.rated_A,
        why: 'open: it is blown',
      }
    case 'choke':
    case 'winding':
      return {
        between: part.between,
        ohm: part.ohm,
        spread: windingSpread,
        carries_A: part.rated_A ?? 0.01,
        why: 'open: a wire is off or burnt through; lower: turns are shorted, and it will burn',
      }
    default:
      return null
  }
}

function becauseOf(found: Ohms, ohm: number, why: string): string {
  return found.usual < beside * ohm
    ? `${formatShort(ohm, 'Ω')} by itself; the rest of the circuit stands beside it, so lift one end where the part itself is in question. ${why}`
    : why
}

function words(equipment: Equipment, name: PartName): string {
  const note = equipment.parts[name]?.note
  return note === undefined ? '' : ` (${note})`
}

/** A closed contact of a relay or switch has next to no resistance (common practice, no source). */
const closed_ohm = 0.1
const open_ohm = 10e6

/** Contacts outside of the circuit, which no file lists: plugs of every set, key and microphone of one that sends. */
export function cordChecks({ modes }: Equipment): ColdCheck[] {
  const sends = Object.entries(modes).some(([name, { driven }]) => driven || /transmit|send|key/i.test(name))
  const one = (item: string, what: string, because: string): ColdCheck =>
    reading('Ω', {
      item,
      group: 'contacts',
      what: `${what}; of several the worst`,
      low: 0,
      high: closed_ohm,
      because,
      source: `0.1 Ω: ${practice}`,
      ...ohmsBy(closed_ohm / 2, 1),
    })
  return [
    one(
      'plug contacts',
      'a plug in its socket, each pin: from the wire at the pin to the tag of the socket',
      'an oxidised pin opens a heater chain or the bias, or gets hot',
    ),
    ...(sends
      ? [
          one(
            'key contacts',
            'the key pressed and its plug in: across each of its contacts, not through the cord',
            'a key that does not close clean chatters the stage behind it; unplugged and measured first: some keys carry HT or bias',
          ),
          one(
            'microphone contacts',
            'the send switch of the microphone pressed and its plug in: across each contact, not through cord and capsule (a carbon capsule bears no such current)',
            'it pulls the send relay: a bad one drops it under speech',
          ),
        ]
      : []),
  ]
}

/** Each contact in both positions. */
export function contactChecks(equipment: Equipment, ohmsIn: (mode: string) => ColdOhms): ColdCheck[] {
  const modes = Object.keys(equipment.modes)
  return Object.entries(equipment.parts).flatMap(([name, part]) => {
    if (part.kind !== 'contact') return []
    const closedIn = modes.find((mode) => part.closed_in.includes(mode))
    const openIn = modes.find((mode) => !part.closed_in.includes(mode))
    const common = { group: 'contacts', parts: [name] } as const
    const where = `${name} of ${part.control} (${part.between.join(' to ')})`
    const controls = (mode: string): string =>
      `${part.control} as in mode ${mode}, moved by hand or by its own coil from the bench, never by the set's mains`
    const found = openIn === undefined ? null : ohmsIn(openIn).between(...part.between)
    return [
      ...(closedIn === undefined
        ? []
        : [
            reading('Ω', {
              ...common,
              item: `${name} closed`,
              what: `${where}, ${controls(closedIn)}`,
              low: 0,
              high: closed_ohm,
              because: 'an oxidised contact gets hot, or lets a stage go without its HT or its bias',
              source: `0.1 Ω: ${practice}`,
              ...ohmsBy(closed_ohm / 2, 1),
            }),
          ]),
      ...(openIn === undefined
        ? []
        : [
            reading('Ω', {
              ...common,
              item: `${name} open`,
              what: `${where}, ${controls(openIn)}`,
              low: found === null ? open_ohm : found.low * 0.8,
              because:
                found === null
                  ? 'nothing else joins its two sides; less is a welded or carbonised contact'
                  : `the rest of the circuit reads ${formatShort(found.usual, 'Ω')} there; less is a welded or carbonised contact`,
              source: found === null ? practice : 'computed from the set file',
              method: 'Ohmmeter.',
              meter: 'ohmmeter',
            }),
          ]),
    ]
  })
}
