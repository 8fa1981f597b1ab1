import type { RunEnding } from '../../src/story/index.js'

/** What `show` should say of a run that was killed, and does not: that it has no ending, or how it ended, and the step that it had come to. */
export function unsaidBy(
  shown: string,
  ending: Pick<RunEnding, 'outcome' | 'reason'> | null,
  last_step: number | null,
): string[] {
  const flat = shown.replaceAll(/\s+/g, ' ')
  const [, steps = ''] = shown.split(/^Steps: /m)
  const wrong: string[] = []
  if (ending === null && !shown.includes('INTERRUPTED')) wrong.push('show does not say that it has no ending')
  const reason = ending?.reason?.text.replaceAll(/\s+/g, ' ') ?? ''
  if (ending !== null && !flat.includes(reason)) wrong.push(`show does not say why it ended: ${reason}`)
  const begun = [...steps.matchAll(/^ {2}(\d+) {2,}/gm)].map(([, number]) => Number(number))
  if (last_step !== null && begun.at(-1) !== last_step)
    wrong.push(`show tells of step ${begun.at(-1) ?? 'none'} as the last, and it was ${last_step}`)
  return wrong
}
