import type { Plan } from '../plan/index.js'
import { formatQuantity } from '../quantities/index.js'

/** What a person who leaves a run alone confirms, with a word of its own, before the cautions of the run itself. */
export function unattendedCautions(plan: Plan): string {
  const { layers } = plan.unattended ?? { layers: [] }
  const timed = layers.filter(({ by }) => by === 'outside timer').map(({ port }) => port)
  const lines = [
    'UNATTENDED: this run is to go on with nobody there. Leave only when all of this is so:',
    '- Fire watch: the bench is clear of what burns, parts that may burst are behind something, and somebody who can act within minutes hears the alarm.',
    '- A smoke alarm stands in this room; you tried it today, and it is heard where that person is.',
    '- Nobody is able to reach live parts: no person, no child, no animal. Room or case is locked, a sign hangs on it, and it stays so until the set has been measured.',
    '- One switch cuts the mains of all HT sources, and not of the bias; it can be reached without passing the bench, and that person knows it.',
    '- You stay until the first step with HT has been held. Being told by alerts is no watch: an alert can fail.',
    ...layers.map(({ text }) => `- ${text}.`),
  ]
  if (plan.reform !== undefined)
    lines.push(
      '- Each part stands on something that does not burn, behind something that stops what a vent throws, and clear of the next one.',
      '- A part that is given up ends the run for all of them: outputs off, nothing is taken off or begun again by itself. The others are taken up another time.',
    )
  if (timed.length > 0)
    lines.push(
      `- THE OUTSIDE TIMER in the mains of ${timed.join(', ')} is set, you saw it switch off, and it does so at the latest ${formatQuantity(plan.time_budget_s, 's')} from now; ${formatQuantity(plan.expected_s, 's')} are planned.`,
    )
  lines.push(
    'What a run does when nobody is there: the same as ever. A trip puts everything off and confirms it; nothing starts again by itself; charge stays in the set, and whoever comes first measures before touching.',
  )
  return lines.join('\n')
}
