import type { Plan } from '../plan/index.js'
import { formatQuantity } from '../quantities/index.js'

/**
 * What a person who leaves a run alone confirms, with a word of its own, before the cautions of the run itself. `told`: the places that
 * its alerts go to.
 */
export function unattendedCautions(plan: Plan, told: readonly string[]): string {
  const { layers } = plan.unattended ?? { layers: [] }
  const timed = layers.filter(({ by }) => by === 'outside timer').map(({ port }) => port)
  const lines = [
    'UNATTENDED: this run is to go on with nobody there. Leave only when all of this is so:',
    '- Fire watch: the bench is clear of what burns, parts that may burst are behind something, and somebody who can act within minutes hears the alarm.',
    '- A smoke alarm stands in this room; you tried it today, and it is heard where that person is.',
    '- Nobody is able to reach live parts: no person, no child, no animal. Room or case is locked, a sign hangs on it, and it stays so until the set has been measured.',
    '- One switch cuts the mains of all HT sources, and not of the bias; it can be reached without passing the bench, and that person knows it.',
    '- You stay until the first step with HT has been held. Being told by alerts is no watch: an alert can fail.',
    told.length === 0
      ? '- NOBODY IS TOLD: the bench file names no place under alerts:, so that a trip, a stall and the end are known to nobody until somebody looks.'
      : `- Told of it: ${told.join(', ')}. Each must take an alert on trial before anything is energised; whoever reads it there knows what to do.`,
    ...layers.map(({ text }) => `- ${text}.`),
  ]
  if (plan.reform !== undefined)
    lines.push(
      '- Each part stands on something that does not burn, behind something that stops what a vent throws, and clear of the next one.',
      '- A part that is given up ends the run for all of them: outputs off, nothing is taken off or begun again by itself. The others are taken up another time.',
    )
  if (timed.length > 0)
    lines.push(
      `- THE OUTSIDE TIMER of ${timed.join(', ')} stands on "on" as the run begins. You are asked to start it twice: at its shortest time, to see it cut at no more than 5 V, and then for the night, to cut ${formatQuantity(plan.time_budget_s, 's')} from then at the latest; ${formatQuantity(plan.expected_s, 's')} are planned. That it is set so is yours to see.`,
    )
  lines.push(
    'What a run does when nobody is there: the same as ever. A trip puts everything off and confirms it; nothing starts again by itself; charge stays in the set, and whoever comes first measures before touching.',
  )
  return lines.join('\n')
}
