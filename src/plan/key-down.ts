import { drivenStages, figuresOf, type Equipment, type ModeName } from '../equipment/index.js'
import { show } from '../limits/index.js'
import { low_V } from './discharge.js'
import { isHot } from './stages.js'
import type { TimeLimit } from './types.js'

/** The key held down: where the power goes, and for how long. */

/** ICAS: on for no more than five minutes, then off as long (from memory: transmitting tube manuals). */
const intermittent_s = 300

/** How long the key may be down in a mode: none of it where every stage is rated for continuous duty. */
export function keyDownLimits(equipment: Equipment, mode: ModeName): TimeLimit[] {
  const stages = drivenStages(equipment, mode).filter(({ stage }) => stage.duty === 'ICAS')
  const rail = Object.keys(equipment.rails).find((name) => isHot(equipment, name))
  if (stages.length === 0 || rail === undefined) return []
  const who = stages.map(({ tube, type }) => `${tube} (${type})`).join(', ')
  return [
    {
      name: `${mode}, ICAS`,
      rail,
      above_V: low_V,
      s: intermittent_s,
      text: `${who} in intermittent duty (ICAS): the key is down no longer than ${show(intermittent_s, 's')}, and then up as long`,
      source: 'from memory: ratings for intermittent duty, transmitting tube manuals',
    },
  ]
}

/** The question before the key goes down: where the power goes. Null where no RF stage is driven. */
export function dummyLoadQuestion(equipment: Equipment, mode: ModeName): string | null {
  const finals = drivenStages(equipment, mode).filter(
    ({ tube, stage }) =>
      stage.by === 'RF' && !drivenStages(equipment, mode).some((other) => other.stage.from === tube),
  )
  if (finals.length === 0) return null
  const W = finals.reduce((sum, of) => {
    const figures = figuresOf(equipment, of)?.figures
    return sum + (figures === undefined ? 0 : figures.plate_V * figures.plate_A)
  }, 0)
  return `The key goes down next: ${finals.map(({ tube }) => tube).join(' and ')} will give power. Is a dummy load for ${W > 0 ? `${show(W, 'W')} (its whole plate input, more than it gives) ` : 'its power '}on the output, and no aerial? A stage without its load burns, and an aerial would radiate. Looked at, with HT down.`
}
