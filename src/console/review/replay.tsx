import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { filesShape, type Files } from '../../service/api/index.js'
import { replayShape, type Replay as Found } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { Refused } from '../shell/refused.js'
import { replayedAs } from './words.js'

/** The recorded readings through today's logic, or judged by the limits that a profile makes now. */
export function Replay({ run }: { readonly run: string }) {
  const files = useSignal<Files['files']>([])
  const profile = useSignal('')
  const found = useSignal<Found | null>(null)
  const why = useSignal<Why | null>(null)
  const working = useSignal(false)
  useEffect(() => {
    void call('files', filesShape).then((came) => {
      if (came.ok) files.value = came.value.files.filter(({ kind }) => kind === 'profile')
    })
  }, [])
  const go = (): void => {
    working.value = true
    found.value = null
    const query = { profile: profile.value === '' ? undefined : profile.value }
    void call('replay', replayShape, { params: { run }, query, within_ms: 300_000 }).then((came) => {
      working.value = false
      if (came.ok) found.value = came.value
      why.value = came.ok ? null : came.why
    })
  }
  return (
    <section class="panel no-print">
      <h2>Replay</h2>
      <div class="row">
        <p>
          <label for="replay-profile">Judged by</label>
          <select
            id="replay-profile"
            value={profile.value}
            onChange={(event) => {
              profile.value = event.currentTarget.value
            }}
          >
            <option value="">its own limits, today’s logic</option>
            {files.value.map(({ path, name }) => (
              <option key={path} value={path}>
                the limits of {name ?? path} ({path}) now
              </option>
            ))}
          </select>
        </p>
        <button type="button" onClick={go} disabled={working.value}>
          {working.value ? 'Replaying …' : 'Replay'}
        </button>
      </div>
      <div aria-live="polite">
        {found.value !== null && (
          <div class={found.value.agrees ? 'remark' : 'finding'}>
            <p>{replayedAs(found.value)}</p>
            <pre>{found.value.text}</pre>
          </div>
        )}
      </div>
      <Refused why={why.value} />
    </section>
  )
}
