import type { Plan } from '../plan/index.js'
import { type InForce, inForceNow } from '../sequencer/index.js'
import type { RunEntry } from '../story/index.js'
import { type Exactly, replayExactly } from './exactly.js'

/**
 * What one rail's current was held against from a moment to the next, A; charge included. Null: none of a step's limits was in
 * force. The band is null where the rail was taken down.
 */
export interface HeldFrom {
  readonly t_us: number
  readonly limits: {
    readonly band: { readonly expected_A: number; readonly lower_A: number; readonly upper_A: number } | null
    readonly trip_A: number
    readonly ceiling_A: number
  } | null
}

/** A change of less than this part of the ceiling waits until it has stood for a moment: a rise is a thousand small steps. */
const worth = 0.005
const stands_us = 1_000_000

/**
 * The limits of every rail as they were in force, moment by moment: what the run was fed, through today's decisions. Where those
 * are others than the recorded ones, `replayed` says so, and nothing may be drawn of it.
 */
export function limitsInForce(
  plan: Plan,
  entries: Iterable<RunEntry>,
  from: 'controller' | 'rehearsal',
): { readonly rails: Readonly<Record<string, readonly HeldFrom[]>>; readonly replayed: Exactly } {
  const names = Object.keys(plan.rails)
  const all = new Map(names.map((name) => [name, new Course()]))
  const replayed = replayExactly(plan, entries, from, (state) => {
    for (const [name, course] of all) course.see(state.t_us, inForceNow(state, name))
  })
  return {
    rails: Object.fromEntries([...all].map(([name, course]) => [name, course.ended()])),
    replayed,
  }
}

class Course {
  private readonly held: HeldFrom[] = []
  private now: InForce | null = null
  /** Too small a change to be told at once, with the moment it came. */
  private waits: HeldFrom | null = null

  see(t_us: number, next: InForce | null): void {
    if (isSame(this.now, next)) {
      if (this.waits !== null && t_us - this.waits.t_us > stands_us) this.tellWaiting()
      return
    }
    this.now = next
    const told = toldAt(t_us, next)
    const last = this.held.at(-1)
    if (last !== undefined && isNear(last, told)) {
      this.waits = told
      return
    }
    this.waits = null
    this.held.push(told)
  }

  ended(): readonly HeldFrom[] {
    this.tellWaiting()
    return this.held
  }

  private tellWaiting(): void {
    if (this.waits !== null) this.held.push(this.waits)
    this.waits = null
  }
}

/** Outside a rise the limits are the plan's own object, step by step: most of a run is seen to be the same at a glance. */
function isSame(a: InForce | null, b: InForce | null): boolean {
  if (a === null || b === null) return a === b
  return a.limits === b.limits && a.charge_A === b.charge_A && a.lowering === b.lowering
}

function toldAt(t_us: number, held: InForce | null): HeldFrom {
  if (held === null) return { t_us, limits: null }
  const { limits, charge_A, lowering } = held
  const { expected_A, lower_A, upper_A, trip_A, ceiling_A } = limits
  const band = lowering ? null : { expected_A, lower_A, upper_A }
  return { t_us, limits: { band, trip_A: trip_A + charge_A, ceiling_A: ceiling_A + charge_A } }
}

function isNear({ limits: a }: HeldFrom, { limits: b }: HeldFrom): boolean {
  if (a === null || b === null) return a === b
  if ((a.band === null) !== (b.band === null)) return false
  const room_A = worth * b.ceiling_A
  const near = (x = 0, y = 0): boolean => Math.abs(x - y) <= room_A
  return (
    near(a.trip_A, b.trip_A) &&
    near(a.ceiling_A, b.ceiling_A) &&
    near(a.band?.expected_A, b.band?.expected_A) &&
    near(a.band?.lower_A, b.band?.lower_A) &&
    near(a.band?.upper_A, b.band?.upper_A)
  )
}
