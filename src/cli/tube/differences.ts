import { formatQuantity } from '../../quantities/index.js'
import type { Checkable, Difference } from '../../tubes/index.js'

/* Where an owner's sheet says otherwise than the catalogue, in words. */

/** `25 W`, or the name of a rating system. */
export function figureWords({ unit }: Checkable, value: Difference['check']['value']): string {
  return unit === null || unit === 'number' || typeof value !== 'number'
    ? String(value)
    : formatQuantity(value, unit)
}

/** For a plan that rests on it: what differs, which of both is in force, and what to do. */
export function differenceWords({
  figure,
  check,
  whose,
  tubes,
}: Difference & { readonly tubes: readonly string[] }): { readonly what: string; readonly remedy: string } {
  const of = `${tubes.join(', ')} (${check.type}) ${figure.name}`
  const both = `your sheet (${check.sheet}) prints ${figureWords(figure, check.value)}, the catalogue ${figureWords(figure, figure.value)}`
  return {
    what: `${of}: ${both}. ${inForceWords(figure, whose)}.`,
    remedy:
      "Look at the print on the tube and at the sheet's issue; to use your own sheet whole, define the type under tube_types in the set's file.",
  }
}

/** Which of both is in force, and why. */
export function inForceWords(figure: Checkable, whose: Difference['whose']): string {
  const side = whose === 'sheet' ? 'your sheet’s' : 'the catalogue’s'
  if (figure.unit === null) return `The stricter rating system, ${side}, is in force`
  if (figure.stricter === 'neither')
    return `Which of both is the safe one cannot be said: ${side} stays in force`
  const higher = figure.unit === 's' ? 'longer' : 'higher'
  return `The ${figure.stricter === 'lower' ? 'lower' : higher}, ${side}, is in force`
}
