import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type * as z from 'zod'
import { comparisonShape, runsShape, type Runs } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { go } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { stageName } from '../words/course.js'
import { inA, inV, moment } from '../words/figures.js'
import { measuredAt } from './words.js'

/** Another run of the set to be laid over this one. */
export function OtherRun({
  run,
  equipment,
  other,
}: {
  readonly run: string
  readonly equipment: string | null
  readonly other: string | null
}) {
  const runs = useSignal<Runs['runs']>([])
  useEffect(() => {
    if (equipment === null) return
    void call('runs', runsShape, { query: { set: equipment } }).then((came) => {
      if (came.ok) runs.value = came.value.runs.filter((each) => each.run !== run && each.trouble === null)
    })
  }, [run, equipment])
  if (runs.value.length === 0) return null
  return (
    <p class="no-print">
      <label for="other-run">Lay another run over it</label>
      <select
        id="other-run"
        value={other ?? ''}
        onChange={(event) => {
          const { value } = event.currentTarget
          go('review', run, ...(value === '' ? [] : ['with', value]))
        }}
      >
        <option value="">none</option>
        {runs.value.toReversed().map((each) => (
          <option key={each.run} value={each.run}>
            {moment(each.started)}, {each.profile ?? each.run}, {each.outcome ?? 'not known'}
          </option>
        ))}
      </select>
    </p>
  )
}

/** Step by step, whether a rail draws more or less than the instruments may be wrong by. */
export function Compared({ a, b }: { readonly a: string; readonly b: string }) {
  const found = useSignal<z.output<typeof comparisonShape> | null>(null)
  const why = useSignal<Why | null>(null)
  useEffect(() => {
    void call('compare', comparisonShape, { query: { a, b }, within_ms: 120_000 }).then((came) => {
      if (came.ok) found.value = came.value
      why.value = came.ok ? null : came.why
    })
  }, [a, b])
  const now = found.value
  if (now === null) return <Refused why={why.value} />
  return (
    <section class="panel">
      <h2 id="compared">This run and the other</h2>
      <ul>
        {now.differs.map((text) => (
          <li key={text}>{text}</li>
        ))}
      </ul>
      <div class="scroll" tabIndex={0} role="region" aria-labelledby="compared">
        <table>
          <thead>
            <tr>
              <th scope="col">stage</th>
              <th scope="col">step</th>
              <th scope="col">rail</th>
              <th scope="col" class="n">
                for
              </th>
              <th scope="col" class="n">
                this run
              </th>
              <th scope="col" class="n">
                the other
              </th>
              <th scope="col" class="n">
                change
              </th>
              <th scope="col">the other</th>
            </tr>
          </thead>
          <tbody>
            {now.steps.flatMap((step, i) =>
              step.rails.map((rail, j) => (
                <tr key={`${i} ${rail.rail}`}>
                  <td>{stageName(step.stage)}</td>
                  <td>{j === 0 && step.verdict}</td>
                  <td>{rail.rail}</td>
                  <td class="n">{inV(rail.at_V)}</td>
                  <td class="n">{measuredAt(rail.a_A, rail.a_V)}</td>
                  <td class="n">{measuredAt(rail.b_A, rail.b_V)}</td>
                  <td class="n">
                    {rail.change_A === null ? '' : inA(rail.change_A)}
                    {rail.error_A !== null && <span class="quiet"> ± {inA(rail.error_A)}</span>}
                  </td>
                  <td>{rail.verdict}</td>
                </tr>
              )),
            )}
          </tbody>
        </table>
      </div>
    </section>
  )
}
