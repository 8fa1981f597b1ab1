import { useMemo } from 'preact/hooks'
import type { ApiDiagnosis } from '../../service/api/index.js'
import { Sketch } from '../prepare/sketch.js'
import { type Drawn, suspectsDrawn } from './suspects-drawn.js'
import '../prepare/prepare.css'

/** The network as the set's file has it, with the likeliest causes and the place of the next reading marked on it. */
export function Suspects({ found }: { readonly found: ApiDiagnosis }) {
  const drawings = useMemo(() => suspectsDrawn(found), [found])
  return (
    <>
      {drawings.map((each) => (
        <OnRail key={each.rail} drawn={each} />
      ))}
    </>
  )
}

function OnRail({ drawn: { drawing, marks, rail } }: { readonly drawn: Drawn }) {
  return (
    <figure>
      <figcaption>
        On {rail}, what lies between it and them: {[...marks.values()].join(', ')}
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
