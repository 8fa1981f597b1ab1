import type { Plan } from '../../src/plan/index.js'
import { draftOf } from '../../src/sequencer/draft.js'
import { begin, type State } from '../../src/sequencer/index.js'
import type { Draft, OffNow, RailState } from '../../src/sequencer/state.js'

/** A rail at a moment: switched on and read just now, unless `over` says otherwise. */
export const standing = (plan: Plan, name: string, V: number, A: number, over: Partial<RailState> = {}) => ({
  [name]: {
    ...begin(plan).rails[name]!,
    ...{ set_V: V, V: { value: V, t_us: now_us }, A: { value: A, t_us: now_us }, energised: true, on_us: 0 },
    ...over,
  },
})
export const now_us = 1000e6

/**
 * A running plan at one moment of its step at this place, with nothing played before: what a function of the sequencer is given to
 * decide by. What it decided stands in `s`, `out` and `broken`.
 */
export function momentOf(plan: Plan, step: number, more: Partial<State> = {}, offNow?: OffNow): Draft {
  const from = begin(plan)
  return draftOf(
    {
      ...from,
      ...{ phase: 'running', t_us: now_us, tick_us: now_us, begun_us: 0, step, outputs_proved: true },
      ...{ wires_done: plan.wires.length, proved_dead: plan.prove_dead.length, mercury: 'as it worked' },
      ...more,
      rails: { ...from.rails, ...more.rails },
    },
    offNow ?? (() => undefined),
  )
}

/** What was put into the record, as one text. */
export const recorded = (d: Draft): string =>
  d.out.flatMap((command) => (command.kind === 'record' ? [command.entry.text] : [])).join('\n')
