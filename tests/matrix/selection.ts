import type { Way } from './cell.js'
import { type Kind, type Moment, moments } from './kind.js'

export interface Cell {
  readonly kind: Kind
  readonly moment: Moment
  readonly as: Way
}

const lines: readonly Way[] = ['pty', 'tcp']
const energised: readonly Moment[] = moments.filter((moment) => moment !== 'make-safe')

/**
 * The line itself is spoilt, or whoever makes safe opens it anew: what comes of it may differ between the two kinds of line. A controller that
 * is gone is the same to the line however it went, so of those only the killed one and the stopped one, which still holds the line.
 */
function meetsTheLine({ name, fault }: Kind): boolean {
  return fault?.startsWith('line.') === true || /^(controller|supervisor|both) (killed|stopped)/.test(name)
}

/** Every kind at every moment; over both kinds of line in turn, so that each kind and each moment meets both. */
export function everyCell(kinds: readonly Kind[]): Cell[] {
  return kinds.flatMap((kind, i) =>
    moments.map((moment, j) => ({ kind, moment, as: kind.only ?? lines[(i + j) % 2] ?? 'pty' })),
  )
}

/**
 * What continuous integration has time for. Each kind once with HT up, at each of those moments equally often and over both lines; and those
 * for which the line matters a second time over the other one, at another moment, make-safe among them. Pairs of moment and line are all
 * there, pairs of kind and line where the line matters; pairs of kind and moment are the whole matrix, and are not.
 */
export function selection(kinds: readonly Kind[]): Cell[] {
  let again = 0
  return kinds.flatMap((kind, i): Cell[] => {
    const moment = energised[i % energised.length] ?? 'hold'
    // Each moment comes over the one line, and four kinds later over the other.
    const as = kind.only ?? lines[Math.floor(i / energised.length) % 2] ?? 'pty'
    const first = { kind, moment, as }
    const other = lines.find((line) => line !== as)
    if (kind.only !== undefined || other === undefined || !meetsTheLine(kind)) return [first]
    const later = moments.filter((one) => one !== moment)
    const second = later[(later.length - 1 + again++) % later.length] ?? 'make-safe'
    return [first, { kind, moment: second, as: other }]
  })
}
