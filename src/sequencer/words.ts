import { formatShort } from '../quantities/index.js'

/** Figures in sentences: people read mA and V, and one number is shown one way wherever it stands. */
export const amps = (value: number): string => formatShort(value, 'A')
export const volts = (value: number): string => formatShort(value, 'V')
