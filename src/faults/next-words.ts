import type { Equipment, ModeName, NodeName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import type { Step } from '../plan/index.js'
import type { Ends } from './place.js'
import type { Model } from './signals.js'
import { percent } from './told.js'
import type { Fault } from './types.js'

/** How the next reading is taken, in words, and why there is none. */

/** Causes told by name. */
const named = 6

/** How the search stands where it ends. */
interface Ended {
  /** Causes that are left, likeliest first; `tied` where no open reading parts it from the first. */
  readonly left: readonly {
    readonly fault: Fault
    readonly probability: number
    readonly tied: boolean
  }[]
  /** Whatever else shows: pairs of faults mostly. */
  readonly others: number
  /** That nothing shows, or that no known fault explains it. */
  readonly unshown: number
  /** Causes that keep volts from being read where the rails stood; null where they stood nowhere. */
  readonly burning: readonly Fault[] | null
}

/** Why the search ends: one cause is left, or those that are left read alike wherever a meter can still be put. */
export function endWords({ left, others, unshown, burning }: Ended): string {
  const isNothing = unshown > others + left.reduce((sum, { probability }) => sum + probability, 0)
  const cold =
    burning === null
      ? '; no volts can be read, since no rail stood where that may be repeated'
      : burning.length > 0
        ? `; volts are not read, since ${burning[0]?.text ?? ''}${burning.length > 1 ? ` and ${burning.length - 1} more` : ''} would put a part above its rating there`
        : ''
  if (isNothing || left.length === 0)
    return `No next reading: what is left is mostly that nothing shows, or that no known fault explains it${cold}.`
  const rest = [
    ...(others >= told_at ? [`other causes, two faults at once among them, ${percent(others)}`] : []),
    ...(unshown >= told_at ? [`that nothing shows or no known fault explains it ${percent(unshown)}`] : []),
  ]
  return `No next reading: ${[leftWords(left), ...rest].join('; ')}${cold}. Confirm it at the part itself, set off and its charge measured away, before anything is replaced.`
}

/** Less likely than this is not worth a word beside what is. */
const told_at = 0.01

function leftWords(left: Ended['left']): string {
  const tied = left.filter((each) => each.tied)
  const apart = left.filter((each) => !each.tied)
  if (tied.length > 1)
    return `${tied.length} causes are left that cannot be told apart by a reading still open: ${listed(tied)}${apart.length === 0 ? '' : `; less likely ${apart.length === 1 ? 'stands' : 'stand'} ${listed(apart)}`}`
  if (apart.length === 0) return `one cause is left: ${listed(tied)}`
  return `the likeliest cause is ${listed(tied)}; no reading still open is worth it to part it from what still ${apart.length === 1 ? 'stands' : 'stand'}: ${listed(apart)}`
}

function listed(causes: Ended['left']): string {
  const words = causes
    .slice(0, named)
    .map(({ fault, probability }) => `${fault.text} (${percent(probability)})`)
  return causes.length <= named ? words.join(', ') : `${words.join(', ')} and ${causes.length - named} more`
}

export function inWords({ test_points }: Equipment, node: NodeName): string {
  const told = test_points[node]
  return told === undefined ? node : `${node} (${told})`
}

export function coldWords(mode: ModeName, from: string, to: string, meter: string): string {
  return `Set off, all leads of the supplies off, every capacitor's charge measured away first; tubes cold and in their sockets; controls as in mode ${mode}. Put ${meter} from ${from} to ${to}, until the reading stands still.`
}

/**
 * The safe sequence: nobody holds anything while it is energised, and no command keeps the rails there: it is read during the
 * hold that the plan has at that step.
 */
export function hotWords(
  { chassis_node: chassis }: Equipment,
  { b }: Ends,
  from: string,
  to: string,
  meter: string,
  { step, point }: Model['stood'][number],
): string {
  const at = Object.entries(point.volts)
    .map(([rail, V]) => `${rail} ${show(V, 'V')}`)
    .join(', ')
  const [dead, floats, clips] =
    b === chassis
      ? [from, '', 'the clip comes']
      : [
          `${from} and at ${to}`,
          ' The whole meter then stands at the volts of the set against chassis, both its leads too: leads and meter must be rated for them, on battery, joined to nothing else.',
          'the clips come',
        ]
  return `HT off and watched down; measure that it is dead at ${dead}; clip ${meter} between ${from} and ${to}, red lead at ${from}; hands clear; slowglow run of the same profile, with its cautions and limits, brings it to ${at} in mode ${point.mode} in step ${step.index}; ${holdWords(step)}; then, before the plan goes on, end the run by its orderly run-down (r, or Ctrl-C once, in the terminal; "run down" on the page); HT off and watched down again, and measured dead, before ${clips} off.${floats}`
}

/** How long a person has for it. */
function holdWords({ index, hold_s, settle_within_s: more_s }: Step): string {
  if (!(hold_s > 0))
    return 'the plan does not hold there: write a hold at these volts into the profile first; read without touching while it lasts'
  const more = more_s > 0 ? `, and up to ${show(more_s, 's')} more until the current has settled` : ''
  return `read without touching during the hold of step ${index}, which lasts ${show(hold_s, 's')}${more}: no command makes it longer`
}
