import { useSignal } from '@preact/signals'
import { bookShape, most_picture_bytes, type ApiBook } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { Refused } from './refused.js'
import { signature } from './signed.js'

/** A photograph into the book of a set: from a file, or from the camera of a telephone. */
export function Picture({
  id,
  file,
  caption,
  label,
  attached,
}: {
  readonly id: string
  /** The set's file, or a profile that names it. */
  readonly file: string
  readonly caption: string
  readonly label: string
  readonly attached: (after: ApiBook, name: string) => void
}) {
  const why = useSignal<Pick<Why, 'what' | 'remedy' | 'problems'> | null>(null)
  const sending = useSignal(false)
  const attach = (picture: File | undefined): void => {
    if (picture === undefined) return
    if (picture.size > most_picture_bytes) {
      why.value = {
        what: `${picture.name} is larger than 32 million bytes.`,
        remedy: 'Attach it with slowglow book --photo, or make it smaller.',
        problems: [],
      }
      return
    }
    sending.value = true
    const query = { file, name: picture.name, caption, ...signature() }
    void call('addPhotograph', bookShape, { query, picture, within_ms: 120_000 }).then((came) => {
      sending.value = false
      why.value = came.ok ? null : came.why
      if (came.ok) attached(came.value, picture.name)
    })
  }
  return (
    <>
      <p>
        <label for={id}>{sending.value ? 'Being attached …' : label}</label>
        <input
          id={id}
          type="file"
          accept="image/jpeg,image/png,image/webp"
          disabled={sending.value}
          onChange={(event) => {
            const { currentTarget } = event
            attach(currentTarget.files?.[0])
            currentTarget.value = ''
          }}
        />
      </p>
      <Refused why={why.value} />
    </>
  )
}
