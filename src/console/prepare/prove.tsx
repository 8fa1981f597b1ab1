import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import {
  type ApiBook,
  type ApiProofs,
  type ApiProved,
  proofsShape,
  provedShape,
} from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { By } from '../shell/by.js'
import { Field } from '../shell/field.js'
import { QuantityField } from '../shell/quantity.js'
import { Refused } from '../shell/refused.js'
import { signature } from '../shell/signed.js'
import { quantityTyped } from '../words/figures.js'
import { chosenFirst, scalesOf } from '../words/units.js'

type Way = ApiProofs['ways'][number]

/** Readings at radio frequency: what to do and what it can do to you, what was read, and what that shows. */
export function Prove({
  file,
  written,
}: {
  readonly file: string
  readonly written: (after: ApiBook) => void
}) {
  const ways = useSignal<readonly Way[]>([])
  const of = useSignal<Way['of']>('receive')
  useEffect(() => {
    void call('proofs', proofsShape, { query: { file } }).then((came) => {
      if (came.ok) ways.value = came.value.ways
    })
  }, [file])
  const way = ways.value.find((each) => each.of === of.value)
  if (way === undefined) return null
  return (
    <section class="panel no-print">
      <h2>Prove it at radio frequency</h2>
      <p>
        <label for="proof-of">Which proof</label>
        <select
          id="proof-of"
          value={of.value}
          onChange={({ currentTarget: { value } }) => {
            of.value = ways.value.find((each) => each.of === value)?.of ?? of.value
          }}
        >
          {ways.value.map((each) => (
            <option key={each.of} value={each.of}>
              {each.of}: {each.about}
            </option>
          ))}
        </select>
      </p>
      <Form key={way.of} way={way} file={file} written={written} />
    </section>
  )
}

function Form({
  way,
  file,
  written,
}: {
  readonly way: Way
  readonly file: string
  readonly written: (after: ApiBook) => void
}) {
  const first = Object.fromEntries(
    way.choices.map(({ name, among, must }) => [name, must ? '' : (among?.[0] ?? '')]),
  )
  const readings = useSignal<Readonly<Record<string, string>>>(first)
  const instruments = useSignal('')
  const accuracy = useSignal('5')
  const units = useSignal<Readonly<Record<string, string>>>({})
  const wrong = useSignal<string | null>(null)
  const why = useSignal<Why | null>(null)
  const shown = useSignal<ApiProved | null>(null)
  const set = (name: string, value: string): void => {
    readings.value = { ...readings.value, [name]: value }
  }
  const unitOf = ({ name, unit, words }: Way['readings'][number]): string =>
    units.value[name] ?? namedIn(words, scalesOf(unit)) ?? chosenFirst(scalesOf(unit))
  /** With their units; null where one cannot be read, which is said. */
  const typed = (): { readings: Readonly<Record<string, string>>; accuracy: string } | null => {
    const all = { ...readings.value }
    wrong.value = null
    for (const each of way.readings) {
      const given = quantityTyped(all[each.name] ?? '', unitOf(each))
      if ('wrong' in given) wrong.value = `${each.name}: ${given.wrong}`
      else all[each.name] = given.text
    }
    const right = quantityTyped(accuracy.value, '%')
    if ('wrong' in right) wrong.value = right.wrong
    return 'wrong' in right || wrong.value !== null ? null : { readings: all, accuracy: right.text }
  }
  const named = instruments.value.split(';').flatMap((each) => (each.trim() === '' ? [] : [each.trim()]))
  const whole =
    named.length > 0 &&
    way.choices.every(({ name, must }) => !must || (readings.value[name] ?? '') !== '') &&
    way.readings.every(({ name, needed }) => !needed || (readings.value[name] ?? '').trim() !== '')
  return (
    <form
      onSubmit={(event) => {
        event.preventDefault()
        const given = typed()
        if (given === null) return
        const body = { file, of: way.of, ...given, instruments: named, ...signature() }
        void call('prove', provedShape, { body }).then((came) => {
          why.value = came.ok ? null : came.why
          shown.value = came.ok ? came.value : null
          if (came.ok) written(came.value.book)
        })
      }}
    >
      {way.cautions.map((text) => (
        <p class="remark" key={text}>
          ▲ {text}
        </p>
      ))}
      <div class="row">
        {way.choices.map(({ name, words, among, must }) =>
          among === null ? (
            <p key={name}>
              <label>
                <input
                  type="checkbox"
                  checked={readings.value[name] === 'yes'}
                  onChange={({ currentTarget: { checked } }) => {
                    set(name, checked ? 'yes' : '')
                  }}
                />{' '}
                {words}
              </label>
            </p>
          ) : (
            <p key={name}>
              <label for={`proof-${name}`}>{words}</label>
              <select
                id={`proof-${name}`}
                value={readings.value[name] ?? ''}
                onChange={({ currentTarget: { value } }) => {
                  set(name, value)
                }}
              >
                {must && <option value="">choose one</option>}
                {among.map((each) => (
                  <option key={each}>{each}</option>
                ))}
              </select>
            </p>
          ),
        )}
      </div>
      <div class="row">
        {way.readings.map((each) => (
          <QuantityField
            key={each.name}
            id={`proof-${each.name}`}
            of={each.name}
            words={`${each.words}${each.needed ? '' : ' (may stay empty)'}`}
            size={12}
            units={scalesOf(each.unit)}
            unit={unitOf(each)}
            choose={(chosen) => {
              units.value = { ...units.value, [each.name]: chosen }
            }}
            text={readings.value[each.name] ?? ''}
            set={(text) => {
              set(each.name, text)
            }}
          />
        ))}
      </div>
      <div class="row">
        <Field
          id="proof-instruments"
          words="Read with (parted by ;)"
          size={40}
          text={instruments.value}
          set={(text) => {
            instruments.value = text
          }}
        />
        <Field
          id="proof-accuracy"
          words="Readings are right to, %"
          numeric
          size={6}
          text={accuracy.value}
          set={(text) => {
            accuracy.value = text
          }}
        />
        <By id="proof-by" />
      </div>
      {wrong.value !== null && (
        <p class="finding" role="alert">
          {wrong.value}
        </p>
      )}
      <Refused why={why.value} />
      <button type="submit" disabled={!whole}>
        Judge it and keep it
      </button>
      <div aria-live="polite">
        {shown.value !== null && (
          <div class={shown.value.verdict === 'not shown' ? 'finding' : 'remark'}>
            <p>
              {shapes[shown.value.verdict]} {shown.value.of}, {shown.value.what}: {shown.value.verdict}
            </p>
            <ul>
              {shown.value.figures.map((text) => (
                <li key={text}>{text}</li>
              ))}
              {shown.value.judged.map(({ verdict, text, source }) => (
                <li key={text}>
                  {verdict}: {text} <span class="quiet">({source})</span>
                </li>
              ))}
            </ul>
          </div>
        )}
      </div>
    </form>
  )
}

const shapes = { shown: '●', marginal: '△', 'not shown': '✕' } as const
/** The unit of the words' own example: `level at the aerial terminals, as 5µV`. */
const namedIn = (words: string, among: readonly string[]): string | undefined => {
  const named = /\bas [\d.]+ ?([^\s;,)]+)/.exec(words)?.[1]
  return among.find((each) => each === named)
}
