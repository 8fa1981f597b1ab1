import { adjusted, type Fault, faultsOf } from '../faults/index.js'
import type { Equipment } from '../equipment/index.js'
import { Option } from 'commander'
import { exits } from './exits.js'
import type { Refusal } from './refuse.js'

/** How often faults come, as a person says it against what is usual. */
export interface Priors {
  readonly weight: (fault: Fault) => number
  /** A sentence; none where nothing was asked for. */
  readonly told: readonly string[]
}

export const priorOption = (): Option =>
  new Option(
    '--prior <what=factor>',
    'how often a part, a kind of fault or one fault comes, against what is usual: "C17=3", "leaky=2", "C17:leaky=5"; may be given again',
  )
    .argParser((text: string, all: readonly string[]) => [...all, text])
    .default([])

/** Names told in a refusal; of more only how many. */
const namesShown = 12

/**
 * Factors on the weights of faults, as a person writes them: `C17=3`, `leaky=2`, `C17:leaky=5`.
 *
 * @param where - what the refusal of one that fits no fault of the set names: the run or the profile
 */
export function priorsOf(written: readonly string[], equipment: Equipment, where: string): Priors | Refusal {
  const faults = faultsOf(equipment)
  const factors: Record<string, number> = {}
  for (const text of written) {
    const cut = text.lastIndexOf('=')
    const what = text.slice(0, Math.max(0, cut)).trim()
    const number = text.slice(cut + 1).trim()
    const factor = Number(number)
    if (what === '' || number === '' || !(factor >= 0 && factor <= 1000))
      return {
        exit: exits.usage,
        where,
        what: `"${text}" says of no fault how often it comes.`,
        remedy: 'Write WHAT=FACTOR, a factor from 0 to 1000: "C17=3", "leaky=2", "C17:leaky=5".',
      }
    if (!faults.some((fault) => namesOf(fault).includes(what)))
      return { exit: exits.usage, where, ...unknownName(what, faults, equipment.name) }
    factors[what] = factor
  }
  return {
    weight: adjusted(factors),
    told: written.length === 0 ? [] : [`Counted otherwise than usual, as asked for: ${written.join(', ')}.`],
  }
}

/** What a factor may name of a fault, as `adjusted` has it. */
const namesOf = ({ fault, part, kind }: Fault): readonly string[] => [fault, part, kind, `${part}:${kind}`]

function unknownName(what: string, faults: readonly Fault[], set: string): Pick<Refusal, 'what' | 'remedy'> {
  const part = what.split(':', 1)[0] ?? ''
  const own = faults.filter((fault) => fault.part === part).map(({ fault }) => fault)
  const kinds = [...new Set(faults.map(({ kind }) => kind))]
  return {
    what: `"${what}" is no part, kind of fault or fault of ${set}, so it would change nothing.`,
    remedy:
      own.length > 0
        ? `Faults of ${part}: ${listed(own)}.`
        : faults.length === 0
          ? 'Its file has no circuit of which a fault could be tried (level 3).'
          : `Kinds are ${kinds.join(', ')}; parts: ${listed([...new Set(faults.map((fault) => fault.part))])}.`,
  }
}

const listed = (names: readonly string[]): string =>
  names.length <= namesShown
    ? names.join(', ')
    : `${names.slice(0, namesShown).join(', ')} and ${names.length - namesShown} more`
