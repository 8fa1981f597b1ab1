import type { Equipment } from '../../equipment/index.js'
import { drawNetwork } from '../prepare/drawing.js'
import type { Drawing } from '../prepare/drawing-shape.js'
import { type Found, wordsOf } from './suspects-said.js'

/** What hangs on one rail of what is spoken of, and the words beside it, by the ids of its boxes. */
export interface Drawn {
  readonly rail: string
  readonly drawing: Drawing
  readonly marks: ReadonlyMap<string, string>
}

/** What is spoken of, on the rail on which most of it can be seen, and what cannot be seen there on others. */
export function suspectsDrawn(found: Found): Drawn[] {
  const { equipment } = found
  const wanted = wordsOf(found)
  const drawings: Drawn[] = []
  while (wanted.size > 0) {
    const best = nearest(equipment, wanted)
    if (best === null) break
    drawings.push(best)
    for (const id of best.marks.keys()) wanted.delete(id)
  }
  return drawings
}

/** Seen from as many rails, it is drawn from the one that it is nearest to. */
function nearest(equipment: Equipment, wanted: ReadonlyMap<string, string>): Drawn | null {
  let best: Drawn | null = null
  for (const [rail, { role }] of Object.entries(equipment.rails)) {
    if (role === 'heater') continue
    const marks = new Map(
      drawNetwork(equipment, rail).boxes.flatMap(({ id }) => {
        const words = wanted.get(id)
        return words === undefined ? [] : [[id, words] as const]
      }),
    )
    if (marks.size === 0 || (best !== null && marks.size < best.marks.size)) continue
    const drawing = drawNetwork(equipment, rail, new Set(marks.keys()))
    if (best === null || marks.size > best.marks.size || drawing.boxes.length < best.drawing.boxes.length)
      best = { rail, drawing, marks }
  }
  return best
}
