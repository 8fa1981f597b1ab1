import { useSignal } from '@preact/signals'
import { meShape } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { me } from '../live/state.js'
import { Refused } from './refused.js'

/** On another device than the bench machine: the code from its terminal, once. */
export function Pairing() {
  const code = useSignal('')
  const name = useSignal('')
  const why = useSignal<Why | null>(null)
  return (
    <section class="panel">
      <h1>This device is not known here yet</h1>
      <p>
        slowglow serve printed a code in its terminal on the bench machine. With it this device sees
        everything and can stop; it may answer a reading and say “hands clear”. Starting and raising stay at
        the bench machine.
      </p>
      <form
        onSubmit={(event) => {
          event.preventDefault()
          void call('pair', meShape, { body: { code: code.value, name: name.value } }).then((came) => {
            if (came.ok) {
              me.value = came.value
              location.reload()
            } else why.value = came.why
          })
        }}
      >
        <p>
          <label for="pair-code">The code</label>
          <input
            id="pair-code"
            autocomplete="off"
            required
            value={code.value}
            onInput={(event) => {
              code.value = event.currentTarget.value
            }}
          />
        </p>
        <p>
          <label for="pair-name">What this device is called in the record</label>
          <input
            id="pair-name"
            required
            maxLength={60}
            value={name.value}
            onInput={(event) => {
              name.value = event.currentTarget.value
            }}
          />
        </p>
        <Refused why={why.value} />
        <button type="submit" class="chief">
          Pair this device
        </button>
      </form>
    </section>
  )
}
