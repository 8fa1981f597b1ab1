import type { Fault } from './types.js'

/** Nothing that is reckoned is sure, either way. */
export function percent(part: number): string {
  if (part > 0.99) return 'over 99 %'
  return part > 0 && part < 0.01 ? 'under 1 %' : `${(100 * part).toFixed(0)} %`
}

/** How the library says faults that have a size; `about` where milder and worse ones are weighed with it. */
export const sized = {
  leaks: (part: string, ohm: number, about = ''): string => `${part} leaks (${about}${kilo(ohm)})`,
  leaksBackwards: (part: string, ohm: number, about = ''): string =>
    `${part} leaks backwards (${about}${kilo(ohm)})`,
  drifted: (part: string, by: number, about = ''): string =>
    `${part} drifted to ${about}${figure(by)} times its value`,
  weak: (part: string, by: number, about = ''): string =>
    `${part} is weak (${about}${figure(100 * by)} % emission)`,
  strong: (part: string, by: number, about = ''): string =>
    `${part} draws ${about}${figure(by)} times its current (another type in its socket?)`,
}

const figure = (value: number): string => String(Number(value.toPrecision(2)))
const kilo = (ohm: number): string => `${ohm / 1000}k`

/** A single fault by the size that it has, which is about right: it stands for what lies between it and its neighbours too. */
export function aboutText({ part, kind, text, changes, with: other }: Fault): string {
  const [change] = changes
  if (change === undefined || other !== undefined) return text
  const about = 'about '
  switch (change.is) {
    case 'leaks': {
      const ohm = Number(change.ohm.toPrecision(2))
      return change.element === part ? sized.leaks(part, ohm, about) : sized.leaksBackwards(part, ohm, about)
    }
    case 'ohm times':
      return sized.drifted(part, change.by, about)
    case 'emission times':
      return kind === 'weak' || kind === 'strong' ? sized[kind](part, change.by, about) : text
    case 'resistance':
    case 'gas':
    case 'dark':
    case 'model':
    case 'contact':
      return text
  }
}

export const pairText = (a: Pick<Fault, 'text'>, b: Pick<Fault, 'text'>): string => `${a.text}, and ${b.text}`
