interface Given {
  readonly id: string
  readonly words: string
  readonly text: string
  readonly set: (text: string) => void
  /** Offered while it is typed. */
  readonly list?: readonly string[]
  readonly size?: number
  readonly placeholder?: string
  /** A figure: a phone brings up its digits. */
  readonly numeric?: boolean
}

/** One line to be typed, with its words above it. */
export function Field({ id, words, text, set, list, size, placeholder, numeric = false }: Given) {
  return (
    <p>
      <label for={id}>{words}</label>
      <input
        id={id}
        type="text"
        autocomplete="off"
        {...(numeric && { inputMode: 'decimal' as const })}
        {...(size !== undefined && { size })}
        {...(placeholder !== undefined && { placeholder })}
        {...(list !== undefined && { list: `${id}-list` })}
        value={text}
        onInput={(event) => {
          set(event.currentTarget.value)
        }}
      />
      {list !== undefined && (
        <datalist id={`${id}-list`}>
          {list.map((each) => (
            <option key={each} value={each} />
          ))}
        </datalist>
      )}
    </p>
  )
}
