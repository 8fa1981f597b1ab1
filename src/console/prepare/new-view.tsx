import { useSignal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import { newSetShape, type NewSet, writtenShape } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { mayDo } from '../live/state.js'
import { Refused } from '../shell/refused.js'
import { draft, listFiles, openView } from './state.js'

/** The first evening: the questions of `slowglow new`, one after the other; at the end files that are yours. */
export function View() {
  const answers = useSignal<readonly string[]>([])
  const found = useSignal<NewSet | null>(null)
  const why = useSignal<Why | null>(null)
  const typed = useSignal('')
  const folder = useSignal('my-set')
  const field = useRef<HTMLInputElement>(null)
  const ask = async (next: readonly string[]): Promise<void> => {
    const came = await call('newSet', newSetShape, { body: { answers: next } })
    if (!came.ok) {
      why.value = came.why
      return
    }
    why.value = null
    found.value = came.value
    // What was refused does not count among the asked.
    answers.value = next.slice(0, came.value.asked.length)
    typed.value = ''
    field.current?.focus()
  }
  useEffect(() => {
    void ask([])
  }, [])
  const now = found.value
  const write = async (): Promise<void> => {
    if (now?.done !== true) return
    const base = folder.value.trim().replace(/^\/+|\/+$/g, '')
    for (const [name, text] of Object.entries(now.files)) {
      const path = base === '' ? name : `${base}/${name}`
      const came = await call('writeFile', writtenShape, { body: { path, text, replaces: null } })
      if (!came.ok) {
        why.value = came.why
        return
      }
    }
    await listFiles()
    openView('plan', base === '' ? now.bring_up : `${base}/${now.bring_up}`)
  }
  return (
    <article>
      <h1>A new set</h1>
      <p>
        Questions about the set, its tubes by type, its electrolytics and own transformer, and what supplies
        and meters there are. An empty answer takes what stands in brackets. They make files of set, benches
        and profiles that work at once and can grow: handbook charts and the circuit come later.
      </p>
      <Refused why={why.value} />
      {now !== null && now.asked.length > 0 && (
        <ol class="panel">
          {now.asked.map(({ ask: question, answer }, i) => (
            <li key={i}>
              {question} <strong>{answer === '' ? '(as suggested)' : answer}</strong>{' '}
              <button
                type="button"
                onClick={() => {
                  void ask(answers.value.slice(0, i))
                }}
              >
                again from here<span class="heard">: {question}</span>
              </button>
            </li>
          ))}
        </ol>
      )}
      {now?.done === false && (
        <form
          class="panel"
          onSubmit={(event) => {
            event.preventDefault()
            void ask([...answers.value, typed.value])
          }}
        >
          {now.told.map((text, i) => (
            <p class="remark" key={i}>
              {text}
            </p>
          ))}
          {now.problem !== null && (
            <p class="finding" role="alert">
              ✕ {now.problem}
            </p>
          )}
          <p>
            <label for="new-answer">
              {now.next.ask}
              {now.next.fallback !== null && ` [${now.next.fallback === '' ? 'none' : now.next.fallback}]`}
            </label>
            <input
              id="new-answer"
              ref={field}
              autocomplete="off"
              size={50}
              value={typed.value}
              onInput={(event) => {
                typed.value = event.currentTarget.value
              }}
            />
          </p>
          <button type="submit" class="chief">
            Next
          </button>
        </form>
      )}
      {now?.done === true && (
        <section class="panel">
          <h2>All asked. These are the files</h2>
          {Object.entries(now.files).map(([name, text]) => (
            <details key={name}>
              <summary>{name}</summary>
              <pre>{text}</pre>
            </details>
          ))}
          <p>
            <label for="new-folder">Folder they are written to</label>
            <input
              id="new-folder"
              value={folder.value}
              onInput={(event) => {
                folder.value = event.currentTarget.value
              }}
            />
          </p>
          <div class="row">
            {mayDo('write') && (
              <button
                type="button"
                class="chief"
                onClick={() => {
                  void write()
                }}
              >
                Write them and see the plan
              </button>
            )}
            <button
              type="button"
              onClick={() => {
                for (const [name, text] of Object.entries(now.files)) draft(name, text)
                openView('plan', now.bring_up)
              }}
            >
              See the plan without writing
            </button>
          </div>
        </section>
      )}
    </article>
  )
}
