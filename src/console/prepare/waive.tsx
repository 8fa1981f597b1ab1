import { useSignal } from '@preact/signals'
import { bookShape } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { Refused } from '../shell/refused.js'
import { signature } from '../shell/signed.js'

/** Letting a cold check stand as it is takes a written reason, and stays for ever. */
export function Waive({
  file,
  item,
  waivable,
  waived,
}: {
  readonly file: string
  readonly item: string
  readonly waivable: boolean
  readonly waived: () => void
}) {
  const reason = useSignal('')
  const why = useSignal<Why | null>(null)
  if (!waivable) return <p>This one is not waived: a life hangs on it, and taking it costs minutes.</p>
  const id = `waive-${item.replace(/\W+/g, '-')}`
  return (
    <form
      class="no-print"
      onSubmit={(event) => {
        event.preventDefault()
        const entry = { kind: 'waiver', item, reason: reason.value }
        void call('writeBook', bookShape, { body: { file, entry, ...signature() } }).then((came) => {
          why.value = came.ok ? null : came.why
          if (!came.ok) return
          reason.value = ''
          waived()
        })
      }}
    >
      <p>
        <label for={id}>Let {item} stand as it is, because (this stays in every later view of the set)</label>
        <textarea
          id={id}
          rows={2}
          cols={50}
          value={reason.value}
          onInput={(event) => {
            reason.value = event.currentTarget.value
          }}
        />
      </p>
      <Refused why={why.value} />
      <button type="submit" disabled={reason.value.trim() === ''}>
        Waive it with this reason
      </button>
    </form>
  )
}
