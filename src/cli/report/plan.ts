import type { Plan, Step } from '../../plan/index.js'
import { formatShort } from '../../quantities/index.js'
import { escaped, list, paragraph, table } from './html.js'

/** The plan as it was to be obeyed: what was confirmed at the leads, and what was to be done to which rail, how fast, how long. */
export function planParts(plan: Plan): string[] {
  return [
    paragraph('As planned; what was done and measured stands under Steps.'),
    heading('Hook-up, confirmed line by line before the first volt'),
    list([
      ...plan.prove_dead.map(
        ({ rail, at }) => `Proved dead before anything is touched: ${rail} at ${at}, 5 V at most`,
      ),
      ...wires(plan, 'first'),
      ...plan.hookup.flatMap(({ rail, supply, proved_by }) => [
        ...wires(plan, rail).map((text) => `${rail}, from ${supply}: ${text}`),
        `${rail}: proved by ${proved_by}`,
      ]),
      ...wires(plan, 'meters').map((text) => `Meter that stays clipped on: ${text}`),
    ]),
    heading('Steps, targets and holds'),
    table(
      ['step', 'stage, mode', 'what', 'to', 'at most', 'hold', 'asked'],
      plan.steps.map((step) => [
        String(step.index),
        `${step.stage}, ${step.mode}`,
        whatOf(step),
        isMove(step) ? formatShort(step.target_V, 'V') : '',
        step.slew_V_per_s > 0 ? formatShort(step.slew_V_per_s, 'V/s') : '',
        step.hold_s > 0 ? formatShort(step.hold_s, 's') : '',
        step.ask?.text.replaceAll(/\s+/g, ' ') ?? '',
      ]),
    ),
  ]
}

const heading = (text: string): string => `<h3>${escaped(text)}</h3>`
const wires = (plan: Plan, of: string): string[] =>
  plan.wires.filter((wire) => wire.of === of).map(({ text }) => text)
const isMove = ({ do: what }: Step): boolean =>
  what === 'raise' || what === 'lower' || what === 'hook-up check'

function whatOf({ do: what, rail, hands_clear }: Step): string {
  if (what === 'ask') return 'a question'
  const words = what === 'hook-up check' ? 'check of the hook-up' : what
  return `${hands_clear ? 'hands clear, ' : ''}${words} ${rail ?? ''}`.trim()
}
