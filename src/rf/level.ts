import { decibels, type Figure, fromDecibels } from './figure.js'

/** Effective volts across `ohms` at a level in dBm (0 dBm = 1 mW). */
export function voltsOfDbm(level_dBm: number, ohms: number): number {
  return Math.sqrt(0.001 * fromDecibels(level_dBm) * ohms)
}

/** Level in dBm of effective volts across `ohms`; null for none. */
export function dbmOfVolts(volts: number, ohms: number): number | null {
  return decibels((volts * volts) / ohms / 0.001)
}

/** S9 in dBm, by IARU Region 1 Technical Recommendation R.1 (1981): −73 below 30 MHz, −93 above; 6 dB a unit. */
export function s9(above30MHz: boolean): number {
  return above30MHz ? -93 : -73
}

/** A level at a receiver's terminals in every way it is written. The load is matched, so a generator marked in EMF shows twice. */
export function levelFigures(volts: number, ohms: number, above30MHz: boolean): Figure[] {
  const dBm = dbmOfVolts(volts, ohms)
  const over = dBm === null ? null : dBm - s9(above30MHz)
  return [
    { key: 'terminal_V', what: 'at the terminals (PD)', value: volts, unit: 'V', how: 'effective, matched' },
    {
      key: 'emf_V',
      what: 'generator marked in EMF',
      value: 2 * volts,
      unit: 'V',
      how: 'twice the PD, +6.02 dB',
    },
    { key: 'level_dBm', what: 'level', value: dBm, unit: 'dBm', how: `10·lg(V²/${ohms} Ω/1 mW)` },
    {
      key: 'level_dBuV',
      what: 'level',
      value: decibels((volts * volts) / 1e-12),
      unit: 'dBµV',
      how: '20·lg(V/1 µV)',
    },
    {
      key: 's_units',
      what: over === null || over < 0.05 ? 'S meter' : 'S meter, dB over S9',
      value: over === null ? null : over < 0.05 ? 9 + over / 6 : over,
      unit: over === null || over < 0.05 ? 'S unit' : 'dB',
      how: `S9 = ${s9(above30MHz)} dBm in 50 Ω, 6 dB a unit (IARU Region 1, R.1)`,
    },
  ]
}

/**
 * (S+N)/N: audio with the carrier modulated against audio with the same carrier unmodulated (noise is read with the carrier on,
 * the way of field manuals).
 */
export function noiseFigures(modulated_V: number, unmodulated_V: number): Figure[] {
  const ratio = modulated_V / unmodulated_V
  return [
    {
      key: 'signal_plus_noise_to_noise_dB',
      what: '(S+N)/N',
      value: decibels(ratio * ratio),
      unit: 'dB',
      how: '20·lg(modulated/unmodulated), the carrier on in both',
    },
    {
      key: 'signal_to_noise_dB',
      what: 'S/N',
      value: decibels(ratio * ratio - 1),
      unit: 'dB',
      how: '10·lg((modulated/unmodulated)² − 1)',
    },
  ]
}
