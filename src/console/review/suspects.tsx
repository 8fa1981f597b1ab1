import { useMemo } from 'preact/hooks'
import type { ApiDiagnosis } from '../../service/api/index.js'
import { drawNetwork, type Drawing } from '../prepare/drawing.js'
import { Sketch } from '../prepare/sketch.js'
import '../prepare/prepare.css'

/** The suspects that are worth a mark. */
const marked = 5

/** The network as the set's file has it, with the likeliest causes and the place of the next reading marked on it. */
export function Suspects({ found }: { readonly found: ApiDiagnosis }) {
  const { drawing, marks, rail } = useMemo(() => drawn(found), [found])
  if (drawing === null) return null
  return (
    <figure>
      <figcaption>
        On {rail}: {[...marks.values()].join(', ')}
      </figcaption>
      <Sketch
        drawing={drawing}
        scale={null}
        marks={marks}
        label={`Network of ${rail} with ${[...marks.values()].join(', ')}`}
      />
    </figure>
  )
}

/** The rail on which most of what is spoken of can be seen. */
function drawn({ equipment, hypotheses, next }: ApiDiagnosis): {
  readonly drawing: Drawing | null
  readonly marks: ReadonlyMap<string, string>
  readonly rail: string
} {
  const wanted = new Map<string, string>()
  for (const [i, { part }] of hypotheses.slice(0, marked).entries())
    if (!wanted.has(`part ${part}`)) wanted.set(`part ${part}`, `suspect ${i + 1}: ${part}`)
  if (next !== null) wanted.set(`node ${next.place}`, `next reading: ${next.place}`)
  let best: { drawing: Drawing | null; marks: Map<string, string>; rail: string } = {
    ...{ drawing: null, marks: new Map(), rail: '' },
  }
  for (const [rail, { role }] of Object.entries(equipment.rails)) {
    if (role === 'heater') continue
    const drawing = drawNetwork(equipment, rail)
    const marks = new Map(
      drawing.boxes.flatMap(({ id }) => {
        const words = wanted.get(id)
        return words === undefined ? [] : [[id, words] as const]
      }),
    )
    if (marks.size > best.marks.size) best = { drawing, marks, rail }
  }
  return best
}
