import type { PartName } from '../equipment/index.js'
import type { Element, Solution, Solver } from '../network/index.js'
import type { SetPoints } from './guards.js'
import {
  atVolts,
  darkRegulators,
  type GasState,
  type GasStates,
  type Regulator,
  type Supplies,
} from './paths.js'
import { show } from './rail-limits.js'
import { strikeSpread } from './sampling.js'

/** A gas regulator that may or may not have struck at these set-points: no current can be judged while it may be either. */
export interface StrikeDoubt {
  readonly regulator: PartName
  /** Volts across it while dark. */
  readonly dark_V: number
  /** From here to there one may strike and another not. */
  readonly low_V: number
  readonly high_V: number
}

export interface GasHere {
  readonly states: GasStates
  /** Those that come here dark and may strike. */
  readonly strikes: readonly StrikeDoubt[]
  /** What the way here has to do with it, a sentence for each tube of which that matters. */
  readonly notes: readonly string[]
}

/**
 * Which gas tubes are lit once the rails stand at these volts, with nominal parts. A gas tube remembers: one that comes here
 * dark strikes only well above the volts that it holds, one that comes here lit stays so while enough current flows. The
 * solver is left changed.
 */
export function gasHere(
  of: {
    readonly solver: Solver
    readonly supplies: Supplies
    readonly nominalSet: { readonly elements: readonly Element[] }
  },
  volts: SetPoints,
  before: GasStates,
): GasHere {
  const { elements } = of.nominalSet
  const dark = darkRegulators(elements)
  if (dark.length === 0) return { states: {}, strikes: [], notes: [] }
  const others = elements.filter(({ kind }) => kind !== 'regulator')
  const whenDark = of.solver.solve([...atVolts(of.supplies, volts), ...others, ...dark])
  const wasLit = dark.filter(({ name }) => (before[name] ?? 'dark') !== 'dark')
  const whenLit =
    wasLit.length === 0
      ? null
      : of.solver.solve(
          wasLit.map((each) => ({ ...each, lit: true })),
          whenDark.volts,
        )
  const states: Record<PartName, GasState> = {}
  const strikes: StrikeDoubt[] = []
  const notes: string[] = []
  for (const tube of dark) {
    const came = before[tube.name] ?? 'dark'
    const struck = strikesAt(tube, across(whenDark, tube))
    const kept = whenLit === null || came === 'dark' ? null : staysLit(tube, whenDark, whenLit)
    const possible = new Set([
      ...(came === 'lit' ? [] : struck.possible),
      // One that has gone out strikes again where the volts reach for it.
      ...(kept ?? []).flatMap((state) => (state === 'dark' ? struck.possible : [state])),
    ])
    const state = possible.size > 1 ? 'either' : possible.has('lit') ? 'lit' : 'dark'
    states[tube.name] = state
    if (came !== 'lit' && struck.possible.length > 1) strikes.push(struck.doubt)
    const note = noteOf(tube, came, state, struck, whenLit)
    if (note !== null) notes.push(note)
  }
  return { states, strikes, notes }
}

interface Struck {
  readonly possible: readonly ('dark' | 'lit')[]
  readonly doubt: StrikeDoubt
}

/** Strikes for certain beyond two standard deviations of the striking volts, or the most its sheet allows. */
function strikesAt(tube: Regulator, dark_V: number): Struck {
  const { strike_V, strike_most_V = 0 } = tube.model
  const low_V = strike_V * (1 - 2 * strikeSpread)
  const high_V = Math.max(strike_most_V, strike_V * (1 + 2 * strikeSpread))
  return {
    possible: dark_V <= low_V ? ['dark'] : dark_V >= high_V ? ['lit'] : ['dark', 'lit'],
    doubt: { regulator: tube.name, dark_V, low_V, high_V },
  }
}

/**
 * It goes out where its volts fall below extinction, and burns for certain at the least current of its sheet; what it does
 * between the two no sheet says.
 */
function staysLit(tube: Regulator, whenDark: Solution, whenLit: Solution): readonly ('dark' | 'lit')[] {
  if (across(whenDark, tube) < tube.model.extinction_V) return ['dark']
  return through(whenLit, tube) >= tube.model.min_A ? ['lit'] : ['dark', 'lit']
}

function noteOf(
  tube: Regulator,
  came: GasState,
  state: GasState,
  struck: Struck,
  whenLit: Solution | null,
): string | null {
  const { name, model } = tube
  const dark_V = show(struck.doubt.dark_V, 'V')
  // One that has gone out draws what one draws that never struck: nothing to be said.
  if (state === 'dark') return null
  if (came !== 'dark' && whenLit !== null) {
    const keeps = `${show(through(whenLit, tube), 'A')} through it, its least is ${show(model.min_A, 'A')}`
    if (state === 'lit') {
      if (struck.possible.every((each) => each === 'lit')) return null
      return `${name} comes here lit and stays so (${keeps}), though ${dark_V} would not strike it for certain`
    }
    return `${name} was lit and may have gone out (${keeps}): it is expected lit, and the band holds it lit or dark`
  }
  if (state !== 'either') return null
  return `${name} gets ${dark_V} while dark and may have struck or not: the band holds it lit or dark`
}

function across(solution: Solution, { a, b }: { readonly a: string; readonly b: string }): number {
  return (solution.volts[a] ?? 0) - (solution.volts[b] ?? 0)
}

function through(solution: Solution, { name }: Regulator): number {
  return solution.currents[name]?.a ?? 0
}
