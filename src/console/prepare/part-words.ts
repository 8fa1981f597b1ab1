import type { Equipment } from '../../equipment/index.js'
import { formatShort } from '../../quantities/index.js'

type Part = Equipment['parts'][string]

/** A part in a few words: what it is and its value. */
export function partWords(part: Part): string {
  return `${part.kind} ${valueOf(part)}`.trim()
}

export function valueOf(part: Part): string {
  switch (part.kind) {
    case 'resistor':
    case 'potentiometer':
    case 'heater resistor':
      return formatShort(part.ohm, 'Ω')
    case 'capacitor':
      return `${formatShort(part.F, 'F')}, ${formatShort(part.rated_V, 'V')}`
    case 'choke':
    case 'winding':
      return `${formatShort(part.H, 'H')}, ${formatShort(part.ohm, 'Ω')}`
    case 'fuse':
      return formatShort(part.rated_A, 'A')
    case 'lamp':
      return `${formatShort(part.volts, 'V')}, ${formatShort(part.amps, 'A')}`
    case 'contact':
      return part.control
    case 'diode':
      return ''
  }
}

/** Nodes it joins, in the file's order; none where it only lives in a heater chain. */
export function endsOf(part: Part): readonly string[] {
  switch (part.kind) {
    case 'potentiometer':
      return [...new Set([part.ends[0], part.wiper, part.ends[1]])]
    case 'heater resistor':
      return []
    case 'lamp':
      return part.between ?? []
    default:
      return part.between
  }
}
