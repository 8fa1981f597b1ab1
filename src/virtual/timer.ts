import type { OutsideTimer } from '../bench/index.js'
import type { FaultSpec } from './types.js'

/**
 * The outside timer before each of its supplies: on until its time is over, then open until a hand starts it again. `stuck`: it never
 * cuts; `closed`: it closes again by itself; `open`: it does not close again once it has cut.
 */
interface Timers {
  /** Whether it keeps this supply's HT from its terminals now. */
  open(supply: string, t_us: number): boolean
  /** Started by hand for so long; null = for the night. */
  start(supply: string, s: number | null, t_us: number): void
  faults(active: readonly FaultSpec[]): void
}

/** So long a timer that closes again stays open, µs. */
const closesAgain_us = 8e6

export function createTimers({ cuts }: OutsideTimer): Timers {
  const cuts_us = new Map(cuts.map((supply) => [supply, Infinity]))
  const worn = new Set<string>()
  let active: readonly FaultSpec[] = []
  const has = (supply: string, kind: string): boolean =>
    active.some((fault) => fault.part === `timer.${supply}` && fault.kind === kind)
  return {
    open(supply, t_us) {
      const at_us = cuts_us.get(supply)
      if (at_us === undefined || t_us < at_us || has(supply, 'stuck')) return worn.has(supply)
      if (has(supply, 'open')) worn.add(supply)
      return !has(supply, 'closed') || t_us < at_us + closesAgain_us
    },
    start(supply, s, t_us) {
      if (cuts_us.has(supply)) cuts_us.set(supply, s === null ? Infinity : t_us + s * 1e6)
    },
    faults(now) {
      active = now
    },
  }
}

/** What a person does with it, as a question names it: `timer high 60`, or `timer high` for the night. */
export function timerSet(what: string): { readonly supply: string; readonly s: number | null } | null {
  const [, supply, s] = /^timer (\S+)(?: (\d+(?:\.\d+)?))?$/.exec(what) ?? []
  return supply === undefined ? null : { supply, s: s === undefined ? null : Number(s) }
}
