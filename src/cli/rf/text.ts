import { formatNumber, formatQuantity, type Unit } from '../../quantities/index.js'
import type { FigureUnit, Spread } from '../../rf/index.js'
import { columns } from '../columns.js'

/** Figures as a table: what, value, what the instruments leave open, and the arithmetic. */
export function figuresText(figures: readonly Spread[], accuracy: number): string {
  return columns(
    figures.map(({ what, value, least, most, unit, how }) => [
      what,
      valueText(value, unit),
      accuracy === 0 || least === null || most === null
        ? ''
        : `${valueText(least, unit)} to ${valueText(most, unit)}`,
      how,
    ]),
  ).join('\n')
}

/** `--json`: SI units, ratios as ratios, null without bound; the bounds of each beside it. */
export function figuresDocument(
  given: Readonly<Record<string, unknown>>,
  figures: readonly Spread[],
): Record<string, unknown> {
  return {
    given,
    ...Object.fromEntries(figures.map(({ key, value }) => [key, value])),
    bounds: Object.fromEntries(figures.map(({ key, least, most }) => [key, [least, most]])),
    how: Object.fromEntries(figures.map(({ key, how }) => [key, how])),
  }
}

function valueText(value: number | null, unit: FigureUnit): string {
  if (value === null) return 'without end'
  switch (unit) {
    case 'm':
      return `${value.toFixed(value < 10 ? 3 : 2)} m`
    case 'dB':
    case 'dBm':
    case 'dBµV':
      return `${formatNumber(Number(value.toFixed(3)))} ${unit}`
    case 'S unit':
      return value < 0 ? 'below S0' : `S${formatNumber(value, 2)}`
    case ':1':
      return `${formatNumber(value)}:1`
    default:
      return formatQuantity(value, unit satisfies Unit)
  }
}
