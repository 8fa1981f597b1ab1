import type { Figure } from './figure.js'

/** Speed of light in vacuum, m/s (SI, exact). */
const light_m_per_s = 299_792_458
/** A thin wire's ends make it electrically longer; 0.95 is the handbooks' factor. */
export const usualEnd = 0.95
/** Where wires end up between insulators, thick tube and surroundings (common practice, no source). */
const endRange = { least: 0.92, most: 0.98 }

/** Said with every length. */
export const aerialCaution =
  'Ends of a transmitting aerial carry high RF voltage: nobody within reach, and field strength where people are within your regulator’s limits. Measure and trim at low power. Ground, insulators and surroundings move the resonance.'

/** What is wrong with a frequency or an end factor, without a full stop; null where lengths can be given. */
export function aerialProblem(frequency_Hz: number, end: number): string | null {
  if (!(frequency_Hz >= 1e4 && frequency_Hz <= 1e9)) return 'wire elements are cut for 10 kHz to 1 GHz'
  return end >= 0.5 && end <= 1 ? null : 'an end factor lies between 0.5 and 1'
}

/** Lengths of wire elements for a frequency. `end`: end factor, 0.5 to 1. */
export function aerialFigures(frequency_Hz: number, end: number = usualEnd): Figure[] {
  const wave_m = light_m_per_s / frequency_Hz
  const cut = (share: number, factor: number): number => wave_m * share * factor
  const least = Math.min(endRange.least, end)
  const most = Math.max(endRange.most, end)
  const times = `× ${end}`
  return [
    { key: 'wavelength_m', what: 'wavelength', value: wave_m, unit: 'm', how: 'speed of light / frequency' },
    {
      key: 'quarter_wave_m',
      what: 'quarter wave in free space',
      value: wave_m / 4,
      unit: 'm',
      how: 'wavelength / 4',
    },
    {
      key: 'quarter_element_m',
      what: 'quarter-wave radiator',
      value: cut(0.25, end),
      unit: 'm',
      how: `quarter wave ${times}`,
    },
    {
      key: 'quarter_shortest_m',
      what: '  adjustable from',
      value: cut(0.25, least),
      unit: 'm',
      how: `end factor ${least}`,
    },
    {
      key: 'quarter_longest_m',
      what: '  cut to begin with',
      value: cut(0.25, most),
      unit: 'm',
      how: `end factor ${most}; trimmed at resonance`,
    },
    {
      key: 'radial_m',
      what: 'raised radial, each',
      value: cut(0.25, end),
      unit: 'm',
      how: `quarter wave ${times}; on or in the ground its length hardly matters`,
    },
    {
      key: 'half_element_m',
      what: 'half-wave dipole, whole',
      value: cut(0.5, end),
      unit: 'm',
      how: `half wave ${times}`,
    },
    { key: 'half_leg_m', what: '  each leg', value: cut(0.25, end), unit: 'm', how: 'half of it' },
    {
      key: 'half_shortest_m',
      what: '  adjustable from',
      value: cut(0.5, least),
      unit: 'm',
      how: `end factor ${least}`,
    },
    {
      key: 'half_longest_m',
      what: '  cut to begin with',
      value: cut(0.5, most),
      unit: 'm',
      how: `end factor ${most}; trimmed at resonance`,
    },
  ]
}
