import { takenShape } from './document.js'
import type { Seen } from './seen.js'
import type { Order, Proved, Verdict } from './types.js'
import { provable } from './types.js'

const verdicts: readonly Verdict[] = [
  'as it should',
  'fired',
  'did not fire',
  'does not hold',
  'refused',
  'contradicts',
  'does not tell',
]

/** What the run judged of each proof; one that it did not come to is not proved. */
export function proofsOf(order: Order, seen: Seen): Proved[] {
  return provable.map((of): Proved => {
    const judged = seen.events.filter(({ what, data }) => what === 'judgement' && data.proof === of).at(-1)
    const result = judged?.data.result
    const verdict = verdicts.find((each) => each === result)
    if (judged === undefined || verdict === undefined) {
      const unproved = seen.plan.unproved.find((text) => text.startsWith(of))
      const planned = seen.plan.steps.some((step) => step.proof?.of === of)
      const text =
        unproved ?? (planned ? `${of}: the run did not come to it` : `${of}: not asked of ${order.channel}`)
      return { of, verdict: 'not proved', said: null, after_s: null, text }
    }
    const { said, after_s } = judged.data
    const outputs = takenShape.safeParse(judged.data.outputs)
    return {
      of,
      verdict,
      said: typeof said === 'boolean' ? said : null,
      after_s: typeof after_s === 'number' ? after_s : null,
      text: judged.text,
      ...(outputs.success && { outputs: outputs.data }),
    }
  })
}
