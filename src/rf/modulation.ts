import type { Figure } from './figure.js'

/** Depth from the envelope's largest and smallest volts: (max−min)/(max+min). */
export function depthOfEnvelope(most_V: number, least_V: number): number {
  return (most_V - least_V) / (most_V + least_V)
}

/** Depth from carrier and peak envelope power: √(PEP/Pc) − 1. */
export function depthOfPeak(carrier_W: number, peak_W: number): number {
  return Math.sqrt(peak_W / carrier_W) - 1
}

/** Depth from how much the aerial current rises under a steady tone, as a share (0.1 = 10 %): √(2·((1+r)²−1)). */
export function depthOfRise(rise: number): number {
  return Math.sqrt(2 * ((1 + rise) * (1 + rise) - 1))
}

/** What a sine of this depth (0 to 1) makes of a carrier. `how`: how the depth was found. */
export function modulationFigures(depth: number, how: string, carrier_W: number | null): Figure[] {
  const total = 1 + (depth * depth) / 2
  const peak = (1 + depth) * (1 + depth)
  return [
    { key: 'depth', what: 'modulation depth m', value: depth, unit: 'ratio', how },
    {
      key: 'current_rise',
      what: 'rise of aerial current',
      value: Math.sqrt(total) - 1,
      unit: 'ratio',
      how: '√(1+m²/2) − 1',
    },
    ...(carrier_W === null
      ? []
      : ([
          { key: 'carrier_W', what: 'carrier', value: carrier_W, unit: 'W', how: 'as given' },
          {
            key: 'total_W',
            what: 'total power',
            value: carrier_W * total,
            unit: 'W',
            how: 'carrier × (1+m²/2)',
          },
          {
            key: 'sideband_W',
            what: 'each sideband',
            value: (carrier_W * (total - 1)) / 2,
            unit: 'W',
            how: 'carrier × m²/4',
          },
          {
            key: 'peak_envelope_W',
            what: 'peak envelope power',
            value: carrier_W * peak,
            unit: 'W',
            how: 'carrier × (1+m)²',
          },
        ] as const)),
  ]
}
