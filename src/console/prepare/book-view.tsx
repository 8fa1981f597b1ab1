import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { bookShape, type ApiBook, type BookWriting } from '../../service/api/index.js'
import { addressFor, call, type Why } from '../api/call.js'
import { mayDo } from '../live/state.js'
import { By } from '../shell/by.js'
import { Field } from '../shell/field.js'
import { Picture } from '../shell/picture.js'
import { addressOf } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { signature } from '../shell/signed.js'
import { moment } from '../words/figures.js'
import { Prove } from './prove.js'
import { planAnew, profile } from './state.js'

/** One record of the set over its whole life: what stands in it stays. */
export function View() {
  const file = profile.value
  return file === null ? null : <TheBook key={file} file={file} />
}

function TheBook({ file }: { readonly file: string }) {
  const book = useSignal<ApiBook | null>(null)
  const why = useSignal<Why | null>(null)
  useEffect(() => {
    void call('book', bookShape, { query: { file } }).then((came) => {
      if (came.ok) book.value = came.value
      why.value = came.ok ? null : came.why
    })
  }, [file])
  const now = book.value
  if (now === null)
    return why.value === null ? <p class="quiet">The book is being read.</p> : <Refused why={why.value} />
  const written = (after: ApiBook): void => {
    book.value = after
    planAnew()
  }
  return (
    <article>
      <h1>The book of {now.equipment}</h1>
      {now.waived.length > 0 && (
        <section class="panel">
          <h2>Cold checks that were waived</h2>
          {now.waived.map((text) => (
            <p key={text} class="remark">
              {text}
            </p>
          ))}
        </section>
      )}
      <section class="panel">
        <h2>Shown at radio frequency</h2>
        <ul>
          {now.shown.map(({ of, verdict }) => (
            <li key={of}>
              {of}: {verdict}
            </li>
          ))}
        </ul>
        <p class="no-print">
          <a href={addressFor('setPage', { query: { file, page: 'record sheet' } })}>
            The test record, to print and sign
          </a>
        </p>
      </section>
      {mayDo('write') && <Write file={file} parts={now.parts} written={written} />}
      {mayDo('write') && <Prove file={file} written={written} />}
      <Photographs file={file} book={now} written={written} />
      <section class="panel">
        <h2 id="book-lines">All of it, in order</h2>
        {now.lines.length === 0 && <p class="quiet">Nothing is written in it yet.</p>}
        <div class="scroll" tabIndex={0} role="region" aria-labelledby="book-lines">
          <table>
            <thead>
              <tr>
                <th scope="col">written</th>
                <th scope="col">what</th>
                <th scope="col">by</th>
                <th scope="col">in words</th>
              </tr>
            </thead>
            <tbody>
              {now.lines.toReversed().map(({ at, seq, by: who, kind, text, run }, i) => (
                <tr key={seq ?? `run ${i}`}>
                  <td>{moment(at)}</td>
                  <td>{run === null ? kind : <a href={addressOf('review', run)}>{kind}</a>}</td>
                  <td>{who}</td>
                  <td>{text}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </div>
        <ul class="no-print">
          <li>
            <a href={addressFor('setPage', { query: { file, page: 'book' } })}>
              The book as one page to print
            </a>
          </li>
          <li>
            <a href={addressFor('archive', { query: { file } })} download>
              This set as one archive (tar); what it could not take stands in its missing.txt
            </a>
          </li>
        </ul>
        <p class="quiet">
          {now.book}
          {now.last !== null && `, last link ${now.last.slice(0, 16)}…`}
        </p>
      </section>
    </article>
  )
}

const kinds = {
  finding: 'a finding',
  repair: 'a repair',
  replaced: 'a part replaced',
  description: 'what the set is',
  serial: 'a number on it',
} as const
type Kind = keyof typeof kinds

interface Writes {
  readonly file: string
  readonly written: (after: ApiBook) => void
}

function Write({ file, parts, written }: Writes & { readonly parts: readonly string[] }) {
  const kind = useSignal<Kind>('finding')
  const text = useSignal('')
  const part = useSignal('')
  const was = useSignal('')
  const now = useSignal('')
  const on = useSignal('')
  const why = useSignal<Why | null>(null)
  const entry = (): BookWriting => {
    const named = part.value.split(',').flatMap((each) => (each.trim() === '' ? [] : [each.trim()]))
    switch (kind.value) {
      case 'finding':
      case 'repair':
        return { kind: kind.value, text: text.value, parts: named }
      case 'replaced':
        return { kind: 'replaced', part: part.value, was: was.value, now: now.value, text: text.value }
      case 'description':
        return { kind: 'description', text: text.value }
      case 'serial':
        return { kind: 'serial', what: was.value, number: now.value }
    }
  }
  const ofParts = kind.value === 'finding' || kind.value === 'repair' || kind.value === 'replaced'
  const pair = kind.value === 'replaced' || kind.value === 'serial'
  const whole =
    kind.value === 'serial'
      ? was.value.trim() !== '' && now.value.trim() !== ''
      : kind.value === 'replaced'
        ? part.value.trim() !== '' && was.value.trim() !== '' && now.value.trim() !== ''
        : text.value.trim() !== ''
  return (
    <section class="panel no-print">
      <h2>Write into it</h2>
      <form
        onSubmit={(event) => {
          event.preventDefault()
          const body = { file, entry: entry(), ...(on.value !== '' && { on: on.value }), ...signature() }
          void call('writeBook', bookShape, { body }).then((came) => {
            why.value = came.ok ? null : came.why
            if (!came.ok) return
            for (const each of [text, part, was, now]) each.value = ''
            written(came.value)
          })
        }}
      >
        <div class="row">
          <p>
            <label for="book-kind">What</label>
            <select
              id="book-kind"
              value={kind.value}
              onChange={(event) => {
                const { value } = event.currentTarget
                if (value in kinds) kind.value = value as Kind
              }}
            >
              {Object.entries(kinds).map(([each, words]) => (
                <option key={each} value={each}>
                  {words}
                </option>
              ))}
            </select>
          </p>
          <By id="book-by" />
          <p>
            <label for="book-on">Done on, if not today</label>
            <input
              id="book-on"
              type="date"
              value={on.value}
              onInput={(event) => {
                on.value = event.currentTarget.value
              }}
            />
          </p>
        </div>
        <div class="row">
          {ofParts && (
            <Field
              id="book-part"
              words={kind.value === 'replaced' ? 'Part' : 'Parts it is about, if any (C3, V2)'}
              text={part.value}
              set={(text) => {
                part.value = text
              }}
              list={parts}
            />
          )}
          {pair && (
            <>
              <Field
                id="book-was"
                words={kind.value === 'serial' ? 'Which number (serial, type)' : 'It was'}
                text={was.value}
                set={(text) => {
                  was.value = text
                }}
              />
              <Field
                id="book-now"
                words={kind.value === 'serial' ? 'Number' : 'It is now'}
                text={now.value}
                set={(text) => {
                  now.value = text
                }}
              />
            </>
          )}
        </div>
        {kind.value !== 'serial' && (
          <p>
            <label for="book-text">{kind.value === 'replaced' ? 'Why (may stay empty)' : 'In words'}</label>
            <textarea
              id="book-text"
              rows={3}
              cols={60}
              value={text.value}
              onInput={(event) => {
                text.value = event.currentTarget.value
              }}
            />
          </p>
        )}
        {(kind.value === 'repair' || kind.value === 'replaced') && (
          <p class="quiet">
            After it the cold checks of the part, and those that must be taken, are read again before power.
          </p>
        )}
        <Refused why={why.value} />
        <button type="submit" disabled={!whole}>
          Write it
        </button>
      </form>
    </section>
  )
}

function Photographs({ file, book, written }: Writes & { readonly book: ApiBook }) {
  const caption = useSignal('')
  if (book.photographs.length === 0 && !mayDo('add to the book')) return null
  return (
    <section class="panel">
      <h2>Photographs</h2>
      <div class="photographs">
        {book.photographs.map(({ seq, name, caption: said, at }) => (
          <figure key={seq}>
            <a href={addressFor('photograph', { query: { file, seq } })}>
              <img
                src={addressFor('photograph', { query: { file, seq } })}
                alt={said === '' ? name : said}
                loading="lazy"
              />
            </a>
            <figcaption>
              {said === '' ? name : said}, {moment(at)}
            </figcaption>
          </figure>
        ))}
      </div>
      {mayDo('add to the book') && (
        <div class="row no-print">
          <p>
            <label for="photo-caption">What the next one shows</label>
            <input
              id="photo-caption"
              type="text"
              maxLength={400}
              value={caption.value}
              onInput={(event) => {
                caption.value = event.currentTarget.value
              }}
            />
          </p>
          <Picture
            id="photo-file"
            file={file}
            caption={caption.value}
            label="Photograph"
            attached={(after) => {
              caption.value = ''
              written(after)
            }}
          />
        </div>
      )}
    </section>
  )
}
