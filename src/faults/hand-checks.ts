import type { Equipment } from '../equipment/index.js'
import type { FaultKind } from './types.js'

/**
 * What a person looks for where no reading of the run shows a fault. Cold: the set is off, its charge measured away, before
 * anything is touched.
 */
export function handCheck(equipment: Equipment, part: string, kinds: readonly FaultKind[]): string {
  const own = equipment.parts[part]
  const has = (...of: readonly FaultKind[]): boolean => kinds.some((kind) => of.includes(kind))
  const lifted = 'set off, charge measured away, one end lifted'
  if (equipment.tubes[part] !== undefined) {
    const told = [
      ...(has('missing', 'heater-open') ? ['look whether it glows or warms'] : []),
      ...(has('heater-short') ? ['measure its heater with an ohmmeter'] : []),
      ...(has('no-emission', 'weak', 'strong', 'gassy')
        ? ['try it in a tube tester or change it for a known good one']
        : []),
      ...(has('short', 'grid-short', 'screen-short', 'heater-leak')
        ? ['out of its socket, look with an ohmmeter for electrodes that touch']
        : []),
      ...(has('wrong-type') ? ["read the type on it against the set's list"] : []),
      ...(has('plate-open', 'screen-open', 'grid-open', 'cathode-open')
        ? ['clean its pins and socket, and ring each pin out to its part']
        : []),
    ]
    return `${part}: ${told.join('; ')}.`
  }
  switch (own?.kind) {
    case 'capacitor': {
      const told = [
        ...(has('short', 'leaky')
          ? [
              own.dielectric === 'electrolytic'
                ? 'form it and read its leakage'
                : 'read its insulation at its working volts',
            ]
          : []),
        ...(has('open', 'low') ? ['measure its capacitance'] : []),
      ]
      return `${part}: ${lifted}: ${told.join('; ')}.`
    }
    case 'potentiometer':
      return `${part}: measure its track (${lifted} where anything lies across it), then from wiper to one end while it is turned slowly.`
    case 'resistor':
    case 'heater resistor':
      return `${part}: measure its resistance (${lifted} where anything lies across it).`
    case 'choke':
    case 'winding':
      return `${part}: measure its resistance${has('short') ? '; shorted turns show in its inductance only' : ''}.`
    case 'contact':
      return `${part}: ${own.control} in each position, ohmmeter across it.`
    case 'diode':
      return `${part}: ohmmeter across it both ways, set off${has('leaky') ? '; backwards it should read far above what a leak leaves' : ''}.`
    case 'fuse':
    case 'lamp':
      return `${part}: ohmmeter across it, set off.`
    case undefined:
      return `${part}: look whether its lead sits where the hook-up sheet has it.`
  }
}
