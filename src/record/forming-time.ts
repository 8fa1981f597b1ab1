import type { Plan } from '../plan/index.js'
import type { RunEvent } from '../story/index.js'

/** How long a reform of lifted parts took, as far as that can be known before the next. */
export interface FormingTime {
  readonly parts: readonly string[]
  /** From its first volts to the last, with every climb that was begun again, s. */
  readonly climb_s: number
  /** What the last volts took beyond what was planned for them, s. */
  readonly longer_s: number
}

/** Null where it never came to its last volts, or was taken up from another: that says nothing of a whole one. */
export function formingTimeOf(
  plan: Plan,
  events: readonly Pick<RunEvent, 't_us' | 'what' | 'step'>[],
): FormingTime | null {
  const { reform } = plan
  if (reform === undefined || reform.parts.some(({ formed_V }) => formed_V > 0)) return null
  const began = events.flatMap(({ t_us, what, step }) =>
    what === 'step' && step !== null ? [{ s: t_us / 1e6, index: step }] : [],
  )
  const first = plan.steps.find((step) => step.reform !== undefined)
  const top = plan.steps.find((step) => step.reform?.what === 'top')
  const from = began.find(({ index }) => index === first?.index)
  const at = began.findLastIndex(({ index }) => index === top?.index)
  const [reached, after] = [began[at], began[at + 1]]
  if (from === undefined || reached === undefined || after === undefined) return null
  return {
    parts: reform.parts.map(({ name }) => name),
    climb_s: reached.s - from.s,
    longer_s: Math.max(0, after.s - reached.s - reform.top_s),
  }
}
