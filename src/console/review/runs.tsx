import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { runsShape, type Runs as Found } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { addressOf } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { durationWords, moment } from '../words/figures.js'
import { parted } from '../words/parted.js'
import { endedAs, outputsOf } from './words.js'

const kinds = [
  ['', 'everything'],
  ['run', 'runs'],
  ['rehearse', 'rehearsals'],
  ['qualify', 'qualifications'],
] as const
const shapes: Readonly<Record<string, string>> = {
  completed: '●',
  tripped: '■',
  stopped: '◆',
  failed: '✕',
  interrupted: '…',
}

/** All runs of the folder, newest first. */
export function Runs() {
  const found = useSignal<Found | null>(null)
  const why = useSignal<Why | null>(null)
  const set = useSignal('')
  const kind = useSignal('')
  useEffect(() => {
    const asked = new AbortController()
    const timer = setTimeout(() => {
      const query = { set: set.value.trim() || undefined, kind: kind.value || undefined }
      void call('runs', runsShape, { query, signal: asked.signal }).then((came) => {
        if (asked.signal.aborted) return
        if (came.ok) found.value = came.value
        why.value = came.ok ? null : came.why
      })
    }, 200)
    return () => {
      clearTimeout(timer)
      asked.abort()
    }
  }, [set.value, kind.value])
  const runs = found.value?.runs ?? []
  const sets = [...new Set(runs.flatMap(({ equipment }) => (equipment === null ? [] : [equipment])))]
  return (
    <article>
      <h1>Runs</h1>
      <form
        class="row no-print"
        onSubmit={(event) => {
          event.preventDefault()
        }}
      >
        <p>
          <label for="runs-set">Set</label>
          <input
            id="runs-set"
            type="search"
            value={set.value}
            onInput={(event) => {
              set.value = event.currentTarget.value
            }}
          />
        </p>
        <p>
          <label for="runs-kind">Show</label>
          <select
            id="runs-kind"
            value={kind.value}
            onChange={(event) => {
              kind.value = event.currentTarget.value
            }}
          >
            {kinds.map(([value, words]) => (
              <option key={value} value={value}>
                {words}
              </option>
            ))}
          </select>
        </p>
      </form>
      <Refused why={why.value} />
      {found.value !== null && runs.length === 0 && (
        <p>No run here yet. A run is written as it goes; its list begins with the first.</p>
      )}
      {runs.length > 0 && (
        <div class="scroll" tabIndex={0} role="region" aria-label="Runs">
          <table>
            <thead>
              <tr>
                <th scope="col">started</th>
                <th scope="col">set and profile</th>
                <th scope="col">how it ended</th>
                <th scope="col">outputs</th>
                <th scope="col" class="n">
                  lasted
                </th>
              </tr>
            </thead>
            <tbody>
              {runs.toReversed().map((run) => (
                <tr key={run.run}>
                  <th scope="row">
                    <a href={addressOf('review', run.run)}>{moment(run.started)}</a>
                    <span class="quiet"> {run.command === 'rehearse' ? 'rehearsal' : run.command}</span>
                  </th>
                  <td>
                    {run.equipment ?? run.run}
                    {run.profile !== null && `: ${run.profile}`}
                  </td>
                  <td>
                    {run.under_way ? (
                      <a href={addressOf('energise')}>under way</a>
                    ) : run.trouble !== null ? (
                      `✕ ${run.trouble}`
                    ) : (
                      <>
                        {shapes[run.outcome ?? ''] ?? ''} {endedAs(run)}
                        {run.reason !== null && `, ${parted(run.reason)[0]}`}
                        {run.damage.length > 0 && ' ✕ damaged'}
                        {run.rest.map((file) => (
                          <span key={file}> What it did not take lies in {file}.</span>
                        ))}
                      </>
                    )}
                  </td>
                  <td>{run.under_way ? 'may be on' : <Outputs run={run} />}</td>
                  <td class="n">{run.duration_s === null ? '' : durationWords(run.duration_s)}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )}
      {sets.length > 0 && (
        <section class="panel">
          <h2>A set over its runs</h2>
          <ul>
            {sets.map((name) => (
              <li key={name}>
                <a href={addressOf('review', 'trend', name)}>{name}</a>
              </li>
            ))}
          </ul>
        </section>
      )}
      {found.value?.unlisted.map(({ file, trouble }) => (
        <p class="finding" key={file}>
          ✕ {file}: {trouble}
        </p>
      ))}
      {(found.value?.elsewhere.length ?? 0) > 0 && (
        <p class="quiet">
          Runs are also kept in {found.value?.elsewhere.join(', ')}; they are not listed here.
        </p>
      )}
      <p class="quiet">Folder {found.value?.folder ?? ''}</p>
    </article>
  )
}

/** Marked where anything may be on: a list must not read as all well. */
function Outputs({ run }: { readonly run: Found['runs'][number] }) {
  const { words, open } = outputsOf(run)
  return open ? <strong>✕ {words.join(', ')}</strong> : <>{words.join(', ')}</>
}
