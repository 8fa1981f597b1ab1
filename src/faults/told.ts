import type { Fault } from './types.js'

/** Nothing that is reckoned is sure, either way. */
export function percent(part: number): string {
  if (part > 0.99) return 'over 99 %'
  return part < 0.01 ? 'under 1 %' : `${(100 * part).toFixed(0)} %`
}

/** How faults that have a size are said. */
export const sized = {
  leaks: (part: string, size: string): string => `${part} leaks (${size})`,
  leaksBackwards: (part: string, size: string): string => `${part} leaks backwards (${size})`,
  drift: (part: string, size: string): string => `${part} drifted to ${size} times its value`,
  weak: (part: string, size: string): string => `${part} is weak (${size} % emission)`,
  strong: (part: string, size: string): string =>
    `${part} draws ${size} times its current (another type in its socket?)`,
}

const figure = (value: number): string => String(Number(value.toPrecision(2)))
export const kilo = (ohm: number): string => `${ohm / 1000}k`

interface Size {
  readonly value: number
  readonly say: (value: number) => string
  readonly words: (part: string, size: string) => string
}

function sizeOf({ part, kind, changes, with: other }: Fault): Size | null {
  const [change] = changes
  if (change === undefined || other !== undefined) return null
  switch (change.is) {
    case 'leaks':
      return {
        value: change.ohm,
        say: (ohm) => kilo(Number(ohm.toPrecision(2))),
        words: change.element === part ? sized.leaks : sized.leaksBackwards,
      }
    case 'ohm times':
      return { value: change.by, say: figure, words: sized.drift }
    case 'emission times':
      if (kind === 'weak') return { value: 100 * change.by, say: figure, words: sized.weak }
      return kind === 'strong' ? { value: change.by, say: figure, words: sized.strong } : null
    case 'resistance':
    case 'gas':
    case 'dark':
    case 'model':
    case 'contact':
      return null
  }
}

/**
 * A single fault by the size that it has, which is about right: it stands for what lies between it and its neighbours too.
 *
 * @param sizes - the same fault in other sizes that explain what was read nearly as well
 */
export function aboutText(fault: Fault, sizes: readonly Fault[] = []): string {
  const own = sizeOf(fault)
  if (own === null) return fault.text
  const { value, say, words } = own
  const all = [value, ...sizes.flatMap((each) => sizeOf(each)?.value ?? [])]
  const [low, high] = [Math.min(...all), Math.max(...all)]
  const range = low < high ? `, ${say(low)} to ${say(high)} fitting nearly as well` : ''
  return `${words(fault.part, `about ${say(value)}`)}${range}`
}

export const pairText = (a: Pick<Fault, 'text'>, b: Pick<Fault, 'text'>): string => `${a.text}, and ${b.text}`
