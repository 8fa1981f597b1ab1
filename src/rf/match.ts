import { decibels, type Figure, fromDecibels } from './figure.js'

/** Magnitude of the reflection coefficient, 0 to 1, from an SWR of 1 or more: (S−1)/(S+1). */
export function reflectionOfSwr(swr: number): number {
  return Number.isFinite(swr) ? (swr - 1) / (swr + 1) : 1
}

/** The same from forward and reflected power: √(Pr/Pf), never above 1. */
export function reflectionOfPowers(forward_W: number, reflected_W: number): number {
  return Math.min(1, Math.sqrt(reflected_W / forward_W))
}

/** The same from return loss, dB. */
export function reflectionOfReturnLoss(loss_dB: number): number {
  return Math.sqrt(fromDecibels(-loss_dB))
}

/** What a reflection of this magnitude means. `forward_W`: what goes up the line, where it is known. */
export function matchFigures(reflection: number, forward_W: number | null): Figure[] {
  const square = reflection * reflection
  const swr = reflection < 1 ? (1 + reflection) / (1 - reflection) : null
  const loss = decibels(square)
  const mismatch = decibels(1 - square)
  return [
    { key: 'swr', what: 'SWR', value: swr, unit: ':1', how: '(1+ρ)/(1−ρ)' },
    {
      key: 'reflection',
      what: 'reflection ρ',
      value: reflection,
      unit: 'ratio',
      how: '(S−1)/(S+1), or √(reflected/forward)',
    },
    {
      key: 'return_loss_dB',
      what: 'return loss',
      value: loss === null ? null : 0 - loss,
      unit: 'dB',
      how: '−20·lg ρ',
    },
    {
      key: 'mismatch_loss_dB',
      what: 'mismatch loss',
      value: mismatch === null ? null : 0 - mismatch,
      unit: 'dB',
      how: '−10·lg(1−ρ²)',
    },
    { key: 'reflected_share', what: 'reflected', value: square, unit: 'ratio', how: 'ρ²' },
    ...(forward_W === null
      ? []
      : [
          {
            key: 'delivered_W',
            what: 'delivered to the load',
            value: forward_W * (1 - square),
            unit: 'W',
            how: 'forward × (1−ρ²)',
          } as const,
        ]),
  ]
}
