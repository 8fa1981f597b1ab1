interface Given {
  readonly id: string
  /** What is read, in a word or two: heard before words that do not name it. */
  readonly of: string
  readonly words: string
  readonly text: string
  readonly set: (text: string) => void
  /** What it may be in. One alone is named by the words. */
  readonly units: readonly string[]
  readonly unit: string
  readonly choose: (unit: string) => void
  readonly size?: number
}

/** A figure off a meter: a phone brings up digits and its own decimal mark, and what they are in is chosen beside them. */
export function QuantityField({ id, of, words, text, set, units, unit, choose, size }: Given) {
  const whose = <span class="heard">{of}: </span>
  return (
    <>
      <p>
        <label for={id}>
          {!words.includes(of) && whose}
          {words}
        </label>
        <input
          id={id}
          type="text"
          inputMode="decimal"
          autocomplete="off"
          {...(size !== undefined && { size })}
          value={text}
          onInput={(event) => {
            set(event.currentTarget.value)
          }}
        />
      </p>
      {units.length > 1 && (
        <p>
          <label for={`${id}-unit`}>
            {whose}
            in
          </label>
          <select
            id={`${id}-unit`}
            value={unit}
            onChange={(event) => {
              choose(event.currentTarget.value)
            }}
          >
            {unit === '' && <option value="">choose</option>}
            {units.map((each) => (
              <option key={each}>{each}</option>
            ))}
          </select>
        </p>
      )}
    </>
  )
}
