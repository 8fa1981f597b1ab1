import { between, quantileOf, type Seen, spanOf } from './seen.js'
import type { ChannelFigures } from './types.js'

type Polled = Pick<ChannelFigures, 'poll_s' | 'poll_longest_s' | 'jitter_s'>

/** Time from one reading of volts to the next while the channel holds and nothing else is asked of its line. */
export function pollOf(seen: Seen): Polled {
  const gaps: number[] = []
  for (const step of seen.plan.steps) {
    const span = step.stage.startsWith('read-back') ? spanOf(seen, step) : null
    if (span === null) continue
    const V = between(seen.V, span.to_s - step.hold_s + 1, span.to_s)
    for (let i = 1; i < V.length; i++) gaps.push((V[i]?.t_s ?? 0) - (V[i - 1]?.t_s ?? 0))
  }
  if (gaps.length < 5) return { poll_s: null, poll_longest_s: null, jitter_s: null }
  const usual = quantileOf(gaps, 0.5)
  const high = quantileOf(gaps, 0.95)
  const longest = Math.max(...gaps)
  const how = (which: string): string =>
    `${which} of ${gaps.length} times from one reading of volts to the next`
  return {
    poll_s: { value: usual, unit: 's', uncertainty: high - usual, how: how('median') },
    poll_longest_s: { value: longest, unit: 's', uncertainty: 0, how: how('longest') },
    jitter_s: {
      value: high - usual,
      unit: 's',
      uncertainty: longest - high,
      how: how('95 % point less the median'),
    },
  }
}
