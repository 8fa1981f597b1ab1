import { useSignal } from '@preact/signals'
import { Field } from '../shell/field.js'

interface Given {
  readonly busy: boolean
  /** WHAT=FACTOR each, one after the other as typed; none: as usual. */
  readonly count: (priors: readonly string[]) => void
}

/** Faults that a person knows to come more or less often than usual, in one line. */
export function Usual({ busy, count }: Given) {
  const typed = useSignal('')
  return (
    <details class="no-print">
      <summary>Count some faults more or less often than usual</summary>
      <form
        class="row"
        onSubmit={(event) => {
          event.preventDefault()
          count(priorsIn(typed.value))
        }}
      >
        <Field
          id="priors"
          words="A part, a kind of fault or one fault, and how many times as often as usual: C17=3, leaky=2, C17:leaky=5. Empty: as usual"
          text={typed.value}
          set={(text) => {
            typed.value = text
          }}
        />
        <button type="submit" disabled={busy}>
          {busy ? 'Ranked again …' : 'Rank again so'}
        </button>
      </form>
    </details>
  )
}

const priorsIn = (text: string): string[] =>
  text
    .split(/[,;]/)
    .map((each) => each.trim())
    .filter((each) => each !== '')
