import type { Proof, RailPlan, Step } from '../plan/index.js'
import { nextStep } from './hold.js'
import type { Draft, RailState } from './state.js'

/* What every proof of a supply has in common. */

export interface Under {
  readonly d: Draft
  readonly step: Step
  readonly proof: Proof
  readonly rail: RailPlan
  readonly state: RailState
}

export const idle = ({ d, proof }: Under): boolean =>
  !Object.values(d.s.pending).some((pending) => pending.channel === proof.channel)

/** Counts one reading once; true at three in a row. */
export function inRow(state: RailState, at_us: number, good: boolean): boolean {
  const before = state.in_window
  if (!good) state.in_window = null
  else if (before?.at_us !== at_us) state.in_window = { count: (before?.count ?? 0) + 1, at_us }
  return (state.in_window?.count ?? 0) >= 3
}

/** On to the next step; what is off now stands at nothing. */
export function leave({ d, step, proof, rail }: Under): void {
  for (const each of [{ channel: proof.channel, rail: rail.name }, ...(proof.others ?? [])]) {
    const channel = d.s.channels[each.channel]
    const state = d.s.rails[each.rail]
    if (channel?.output !== 'off' || state === undefined) continue
    state.energised = false
    state.set_V = 0
    channel.set_V = null
  }
  d.s.proof = null
  nextStep(d, step)
}
