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
import { duration, quantityTyped } from '../words/figures.js'
import { Alarms } from './messages.js'
import { takesPhotograph } from '../words/hands-work.js'
import { chosenFirst, scalesOf } from '../words/units.js'
import { windowOf } from '../words/window.js'
import { Standing } from './standing.js'
import { Title } from './title.js'
import { Watched } from './watched.js'

/** A question is not answered before it can have been seen, ms. */
const unread_ms = 700

export function QuestionScreen({ prompt }: { readonly prompt: Prompt }) {
  const heading =
    prompt.needs === 'hands clear'
      ? 'Hands clear?'
      : (headings[prompt.about] ?? (prompt.inside ? 'Inside the set' : 'Hook-up check'))
  return (
    <div class="whole-screen">
      <Title run={snapshot.value?.run ?? null} />
      <Alarms />
      <h2 class="very-large">{heading}</h2>
      <Question key={keyOf(prompt)} prompt={prompt} />
      <Standing />
    </div>
  )
}
/** Asked again in other words it is another question: nothing typed before, and unread until it can have been read. */
export const keyOf = ({ prompt, text }: Prompt): string => `${prompt} ${text}`

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
  // A window in volts asks for volts.
  const units =
    prompt.wants.kind === 'reading' ? (prompt.wants.unit === 'V' ? ['V'] : scalesOf(prompt.wants.unit)) : []
  const unit = useSignal(chosenFirst(units))
  const why = useSignal<Why | null>(null)
  const local = useSignal<string | null>(null)
  const first = useRef<HTMLElement>(null)
  const read = useSignal(false)
  const { wants, needs, meter } = prompt
  // Made anew for each question (its key). A key or a click that was meant for the one before must not answer it.
  useEffect(() => {
    // On a touch screen a field in focus brings up a keyboard, which would lie over the stop.
    if (!matchMedia('(pointer: coarse)').matches || wants.kind !== 'reading') first.current?.focus()
    const given = setTimeout(() => {
      read.value = true
    }, unread_ms)
    return () => {
      clearTimeout(given)
    }
  }, [])
  const waits = stale.value || !read.value
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
    const given = quantityTyped(text, unit.value)
    local.value = 'wrong' in given ? given.wrong : null
    if ('text' in given) answer(given.text)
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
      {prompt.figure !== null && <Watched rail={prompt.figure} />}
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
              <label for="reading">What the meter shows{units.length > 1 ? '' : `, ${wants.unit}`}</label>
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
            {units.length > 1 &&
              units.map((each) => (
                <label key={each}>
                  <input
                    type="radio"
                    name="reading-unit"
                    checked={unit.value === each}
                    onChange={() => {
                      unit.value = each
                    }}
                  />{' '}
                  {each}
                </label>
              ))}
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
      {takesPhotograph(prompt) && <AttachPhotograph prompt={prompt} />}
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
