import { formatShort } from '../../quantities/index.js'

/** A reading as a person reads it off a meter. */
export const written = (value: number, unit: 'V' | 'A' | 'Ω'): string => formatShort(value, unit)
