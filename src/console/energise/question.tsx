import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import * as z from 'zod'
import type { Prompt } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { leftOf } from '../live/left.js'
import { stale } from '../live/clock.js'
import { mayDo, snapshot } from '../live/state.js'
import { Picture } from '../shell/picture.js'
import { Refused } from '../shell/refused.js'
import { duration, inA, inV, typedNumber } from '../words/figures.js'
import { Alarms } from './messages.js'
import { Title } from './title.js'

/** A question is not answered before it can have been seen, ms. */
const unread_ms = 700

/** Done with hands at the set, before the first volt or before HT: nothing else is on the screen. */
const handsWork = new Set([
  'wire',
  'stored charge',
  'nothing moved',
  'clear hands',
  'hands clear',
  'polarity',
  'ohmmeter',
])
export const isWholeScreen = ({ about, needs }: Prompt): boolean =>
  needs === 'hands clear' || handsWork.has(about) || /^hook-up/.test(about)

export function QuestionScreen({ prompt }: { readonly prompt: Prompt }) {
  const heading =
    prompt.needs === 'hands clear' ? 'Hands clear?' : (headings[prompt.about] ?? 'Hook-up check')
  return (
    <div class="whole-screen">
      <Title run={snapshot.value?.run ?? null} />
      <Alarms />
      <h2 class="very-large">{heading}</h2>
      <Question key={prompt.prompt} prompt={prompt} />
    </div>
  )
}
const headings: Readonly<Record<string, string>> = {
  wire: 'Hook-up, wire by wire',
  'nothing moved': 'Hook-up',
  'stored charge': 'Measure before touching',
}

/** HT rises in a moment: the one thing to read from anywhere in the room. */
export function HandsClear({ until_ms }: { readonly until_ms: number }) {
  const left_s = leftOf(until_ms)
  return (
    <div class="whole-screen hands-clear">
      <Alarms />
      <h1 class="very-large">HANDS CLEAR</h1>
      <p class="very-large" aria-hidden="true">
        {stale.value ? '?' : Math.ceil(left_s)}
      </p>
      <p class="large">HT rises then. One hand, nothing inside the set. Not clear? Stop.</p>
    </div>
  )
}

/** What to do, what is expected, where to put what was read. */
export function Question({ prompt }: { readonly prompt: Prompt }) {
  const typed = useSignal('')
  const unit = useSignal(prompt.wants.kind === 'reading' && prompt.wants.unit === 'A' ? 'mA' : '')
  const why = useSignal<Why | null>(null)
  const local = useSignal<string | null>(null)
  const first = useRef<HTMLElement>(null)
  const read = useSignal(false)
  // Made anew for each question (its key). A key or a click that was meant for the one before must not answer it.
  useEffect(() => {
    first.current?.focus()
    const given = setTimeout(() => {
      read.value = true
    }, unread_ms)
    return () => {
      clearTimeout(given)
    }
  }, [])
  const waits = stale.value || !read.value
  const { wants, needs, meter } = prompt
  const live = snapshot.value?.live ?? ''
  const came = (result: Awaited<ReturnType<typeof call>>): void => {
    why.value = result.ok ? null : result.why
  }
  const answer = (text: string): void => {
    if (needs === 'hands clear') {
      const body = { live, prompt: prompt.prompt, clear: text === 'y' }
      void call('hands', z.unknown(), { body }).then(came)
    } else
      void call('answer', z.unknown(), { body: { live, prompt: prompt.prompt, answer: text } }).then(came)
  }
  const sendReading = (): void => {
    if (wants.kind !== 'reading' || !read.value) return
    const text = typed.value.trim()
    if (text === '' && meter !== null) {
      answer('')
      return
    }
    const value = typedNumber(text)
    local.value = null
    if (value !== null) answer(`${value} ${wants.unit === 'A' ? unit.value : wants.unit}`)
    else if (text !== '' && /[a-zΩ∞]/i.test(text)) answer(text.replace(',', '.'))
    else local.value = 'This is no number. Type what the meter shows, such as 245 or 3,2.'
  }
  if (!mayDo(needs))
    return (
      <section class="question" aria-label="Question">
        <p class="large">{prompt.text}</p>
        <p class="quiet">This is answered on the bench machine. Anyone who sees this can stop.</p>
      </section>
    )
  const left_s = leftOf(prompt.until_ms)
  const asksToGoOn = /Go on, or stop\?$/.test(prompt.text)
  return (
    <section class="question" aria-label="Question">
      <p
        class="large"
        id="question-text"
        tabIndex={-1}
        {...(wants.kind === 'reading' ? {} : { ref: first as { current: HTMLParagraphElement | null } })}
      >
        {prompt.text}
      </p>
      {wants.kind === 'reading' ? (
        <form
          onSubmit={(event) => {
            event.preventDefault()
            sendReading()
          }}
        >
          <p>
            Expected: <strong>{windowOf(wants)}</strong>
            {wants.node !== null && ` at ${wants.node}`}
          </p>
          {meter !== null && (
            <p class="remark">
              The virtual meter shows {meter.text}. Sent with the field empty, that is taken.
            </p>
          )}
          <div class="row">
            <p>
              <label for="reading">What the meter shows{wants.unit === 'A' ? '' : `, ${wants.unit}`}</label>
              <input
                id="reading"
                ref={first as { current: HTMLInputElement | null }}
                inputMode="decimal"
                autocomplete="off"
                aria-describedby="question-text"
                value={typed.value}
                onInput={(event) => {
                  typed.value = event.currentTarget.value
                }}
              />
            </p>
            {wants.unit === 'A' && (
              <p>
                <label for="reading-unit">in</label>
                <select
                  id="reading-unit"
                  value={unit.value}
                  onChange={(event) => {
                    unit.value = event.currentTarget.value
                  }}
                >
                  <option>mA</option>
                  <option>A</option>
                </select>
              </p>
            )}
            <button type="submit" class="chief" disabled={waits}>
              {typed.value.trim() === '' && meter !== null ? `Take ${meter.text}` : 'Send the reading'}
            </button>
            {wants.unit === 'Ω' && (
              <button
                type="button"
                disabled={waits}
                onClick={() => {
                  answer('OL')
                }}
              >
                It shows open
              </button>
            )}
            <button
              type="button"
              onClick={() => {
                answer('n')
              }}
            >
              No <small>({prompt.no_means})</small>
            </button>
          </div>
          {local.value !== null && (
            <p class="finding" role="alert">
              {local.value}
            </p>
          )}
        </form>
      ) : (
        <div class="row">
          <button
            type="button"
            class="chief"
            aria-describedby="question-text"
            disabled={waits}
            onClick={() => {
              answer('y')
            }}
          >
            {needs === 'hands clear' ? 'Yes, all hands are clear' : asksToGoOn ? 'Go on' : 'Yes, it is so'}
          </button>
          <button
            type="button"
            disabled={stale.value}
            onClick={() => {
              answer('n')
            }}
          >
            {asksToGoOn ? 'Stop' : 'No'} <small>({prompt.no_means})</small>
          </button>
        </div>
      )}
      <Refused why={why.value} />
      <AttachPhotograph prompt={prompt} />
      <p class="quiet">
        Unanswered in <span class="figure">{duration(left_s)}</span>,{' '}
        {prompt.about.startsWith('hand off') ? 'the rail is taken as on' : 'the run is stopped'}.
      </p>
    </section>
  )
}

/** What the answer rests on, kept in the set's book; the answer does not wait for it. */
function AttachPhotograph({ prompt: { text } }: { readonly prompt: Prompt }) {
  const attached = useSignal<string | null>(null)
  const run = snapshot.value?.run ?? null
  if (run === null || !mayDo('add to the book')) return null
  return (
    <details class="no-print">
      <summary>A photograph with it, for the set’s book</summary>
      <Picture
        id="question-photograph"
        file={run.profile}
        caption={`${run.run ?? run.profile_name}: ${text}`.slice(0, 900)}
        label="Photograph"
        attached={(_, name) => {
          attached.value = name
        }}
      />
      {attached.value !== null && <p role="status">{attached.value} stands in the set’s book.</p>}
    </details>
  )
}

function windowOf({ low, high, unit }: Extract<Prompt['wants'], { kind: 'reading' }>): string {
  if (unit === 'V') return `${inV(low)} to ${inV(high)}`
  if (unit === 'A') return `${inA(low, high >= 2)} to ${inA(high, high >= 2)}`
  const ohm = (value: number): string =>
    value >= 9e8
      ? 'open'
      : value >= 1e6
        ? `${round(value / 1e6)} MΩ`
        : value >= 1e3
          ? `${round(value / 1e3)} kΩ`
          : `${round(value)} Ω`
  return `${ohm(low)} to ${ohm(high)}`
}
const round = (value: number): string => Number(value.toPrecision(3)).toLocaleString()
