import { by, sign } from './signed.js'

/** Who writes: asked once, remembered by this browser. */
export function By({ id }: { readonly id: string }) {
  return (
    <p>
      <label for={id}>By (your name or initials)</label>
      <input
        id={id}
        type="text"
        autocomplete="name"
        maxLength={60}
        value={by.value}
        onInput={(event) => {
          sign(event.currentTarget.value)
        }}
      />
    </p>
  )
}
