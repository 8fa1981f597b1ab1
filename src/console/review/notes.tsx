import { useSignal } from '@preact/signals'
import { noteShape, type ApiStory } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { mayDo } from '../live/state.js'
import { By } from '../shell/by.js'
import { Refused } from '../shell/refused.js'
import { signature } from '../shell/signed.js'
import { moment } from '../words/figures.js'

/** What was written to a run afterwards; it stands beside the record and changes nothing in it. */
export function Notes({
  run,
  notes,
  added,
}: {
  readonly run: string
  readonly notes: ApiStory['notes']
  readonly added: () => void
}) {
  const text = useSignal('')
  const why = useSignal<Why | null>(null)
  return (
    <section class="panel">
      <h2>Notes</h2>
      {notes.length === 0 && <p class="quiet">None yet.</p>}
      <ul>
        {notes.map(({ written, by, text: said }, i) => (
          <li key={i}>
            {moment(written)}, {by}: {said}
          </li>
        ))}
      </ul>
      {mayDo('write') && (
        <form
          class="no-print"
          onSubmit={(event) => {
            event.preventDefault()
            const body = { text: text.value, ...signature() }
            void call('addNote', noteShape, { params: { run }, body }).then((came) => {
              if (came.ok) {
                text.value = ''
                added()
              }
              why.value = came.ok ? null : came.why
            })
          }}
        >
          <p>
            <label for="note">What was found, repaired, changed</label>
            <textarea
              id="note"
              rows={3}
              cols={60}
              value={text.value}
              onInput={(event) => {
                text.value = event.currentTarget.value
              }}
            />
          </p>
          <By id="note-by" />
          <Refused why={why.value} />
          <button type="submit" disabled={text.value.trim() === ''}>
            Add the note
          </button>
        </form>
      )}
    </section>
  )
}
