import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type * as z from 'zod'
import { trendShape } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { addressOf } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { inA, inV, moment } from '../words/figures.js'
import { capacitorCell, capacitorNames } from './words.js'

/** A set over its runs: what was done to it, what each rail drew at each of its volts, and its capacitors. */
export function TrendOf({ set }: { readonly set: string }) {
  const found = useSignal<z.output<typeof trendShape> | null>(null)
  const why = useSignal<Why | null>(null)
  const rehearsals = useSignal(false)
  useEffect(() => {
    const query = { set, rehearsals: rehearsals.value ? 'yes' : 'no' }
    void call('trend', trendShape, { query, within_ms: 120_000 }).then((came) => {
      if (came.ok) found.value = came.value
      why.value = came.ok ? null : came.why
    })
  }, [set, rehearsals.value])
  const now = found.value
  return (
    <article>
      <p class="no-print">
        <a href={addressOf('review')}>All runs</a>
      </p>
      <h1>{set} over its runs</h1>
      <p class="no-print">
        <label>
          <input
            type="checkbox"
            checked={rehearsals.value}
            onChange={(event) => {
              rehearsals.value = event.currentTarget.checked
            }}
          />{' '}
          rehearsals too
        </label>
      </p>
      <Refused why={why.value} />
      {now !== null && now.runs.length === 0 && <p>No run of this set to follow yet.</p>}
      {now !== null && now.series.length > 0 && (
        <div class="scroll" tabIndex={0} role="region" aria-label="What each rail drew, run by run">
          <table>
            <thead>
              <tr>
                <th scope="col">stage</th>
                <th scope="col">rail</th>
                <th scope="col" class="n">
                  at
                </th>
                {now.runs.map(({ run, started }) => (
                  <th scope="col" class="n" key={run}>
                    <a href={addressOf('review', run)}>{moment(started)}</a>
                  </th>
                ))}
                <th scope="col" class="n">
                  change
                </th>
              </tr>
            </thead>
            <tbody>
              {now.series.map(({ stage, mode, rail, at_V, points, change }) => (
                <tr key={`${stage} ${mode} ${rail} ${at_V}`}>
                  <th scope="row">
                    {stage}, {mode}
                  </th>
                  <td>{rail}</td>
                  <td class="n">{inV(at_V)}</td>
                  {now.runs.map(({ run }) => (
                    <td class="n" key={run}>
                      {points.some((point) => point.run === run)
                        ? inA(points.find((point) => point.run === run)?.amps ?? null)
                        : ''}
                    </td>
                  ))}
                  <td class="n">
                    {change === null
                      ? ''
                      : `${inA(change.amps)} ${change.beyond_error ? '▲ beyond error' : '○ within error'}`}
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
      {now !== null && now.runs.length > 0 && <Capacitors found={now} />}
      {now !== null && now.life.length > 0 && (
        <section class="panel">
          <h2>Its runs, and what was done between</h2>
          <ol>
            {now.life.map(({ at, what, by, text, run }, i) => (
              <li key={i}>
                {moment(at)},{' '}
                {what === 'run' && run !== null ? <a href={addressOf('review', run)}>run</a> : what}
                {by !== null && `, ${by}`}: {text}
              </li>
            ))}
          </ol>
          {now.no_book !== null && <p class="quiet">{now.no_book}</p>}
        </section>
      )}
      {(now?.elsewhere.length ?? 0) > 0 && (
        <p class="quiet">Runs in {now?.elsewhere.join(', ')} are not counted here.</p>
      )}
      {now?.unread.map(({ file, trouble }) => (
        <p class="finding" key={file}>
          ✕ left out: {file}: {trouble}
        </p>
      ))}
    </article>
  )
}

/** A set whose capacitors nothing judged says so: an empty place would be taken for good ones. */
function Capacitors({ found }: { readonly found: z.output<typeof trendShape> }) {
  const judged = found.capacitors.filter(({ leakage }) => leakage !== 'not judged')
  if (judged.length === 0)
    return (
      <p class="quiet">
        Leakage and capacitance of each capacitor: not judged
        {found.capacitors.some(({ reformed }) => reformed)
          ? ': formed in the circuit, where other paths draw through the same rail.'
          : '; none of these runs was a reform.'}
      </p>
    )
  const startedOf = (run: string): string | null =>
    found.runs.find((each) => each.run === run)?.started ?? null
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Leakage and capacitance of each capacitor">
      <table>
        <thead>
          <tr>
            <th scope="col">lifted electrolytic</th>
            {judged.map(({ run }) => (
              <th scope="col" key={run}>
                <a href={addressOf('review', run)}>{moment(startedOf(run))}</a>
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {capacitorNames(judged).map((part) => (
            <tr key={part}>
              <th scope="row">{part}</th>
              {judged.map((each) => (
                <td key={each.run}>{capacitorCell(each, part)}</td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  )
}
