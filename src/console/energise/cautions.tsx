import { useSignal } from '@preact/signals'
import * as z from 'zod'
import { call, type Why } from '../api/call.js'
import { stale } from '../live/clock.js'
import { mayDo, snapshot } from '../live/state.js'
import { Refused } from '../shell/refused.js'
import { Title } from './title.js'

/** In full, at every start; acknowledged by typing the word drawn for this start, and by nothing else. */
export function Cautions() {
  const typed = useSignal('')
  const why = useSignal<Why | null>(null)
  const now = snapshot.value
  if (now?.cautions == null) return <p class="quiet">The cautions are on their way.</p>
  const { text, word } = now.cautions
  const send = (): void => {
    why.value = null
    void call('acknowledge', z.unknown(), { body: { live: now.live, word: typed.value } }).then((came) => {
      if (!came.ok) why.value = came.why
      typed.value = ''
    })
  }
  return (
    <>
      <Title run={now.run} />
      <h2>Before anything is energised</h2>
      <CautionText text={text} />
      {word === null || !mayDo('start') ? (
        <p class="remark">
          {mayDo('start')
            ? 'This browser does not say that the page is the service’s own, so the word is not shown to it. Open the page at http://127.0.0.1 in another one, or run it in a terminal: slowglow run PROFILE. Nothing is energised before.'
            : 'The word is typed on the bench machine. Nothing is energised before.'}
        </p>
      ) : (
        <form
          class="panel word"
          onSubmit={(event) => {
            event.preventDefault()
            send()
          }}
        >
          <p>
            <label for="caution-word">
              You have read the cautions above. To acknowledge them for this start, type the word:{' '}
              <strong class="typed">{word}</strong>
            </label>
            <input
              id="caution-word"
              autocomplete="off"
              autocapitalize="off"
              spellcheck={false}
              value={typed.value}
              onInput={(event) => {
                typed.value = event.currentTarget.value
              }}
            />
          </p>
          <Refused why={why.value} />
          <div class="row">
            <button type="submit" class="chief" disabled={stale.value || typed.value.trim() === ''}>
              Acknowledge and start
            </button>
            <button
              type="button"
              onClick={() => {
                void call('stop', z.unknown(), { body: { by: 'control' } })
              }}
            >
              Give up: nothing is energised
            </button>
          </div>
        </form>
      )}
    </>
  )
}

/** The text as the service sends it: paragraphs, each led by its own first words, and lists of this run's figures. */
export function CautionText({ text }: { readonly text: string }) {
  const blocks = text.trim().split(/\n\s*\n/)
  return (
    <div class="cautions">
      {blocks.map((block, i) => {
        const lines = block.split('\n')
        const items = itemsOf(lines)
        if (items.length > 0)
          return (
            <div key={i} class="this-run">
              {lines
                .filter((line) => !/^ *- /.test(line))
                .map((line) => (
                  <p key={line}>
                    <strong>{line}</strong>
                  </p>
                ))}
              <ul>
                {items.map(({ text, under }) => (
                  <li key={text}>
                    {text}
                    {under.length > 0 && (
                      <ul>
                        {under.map((line) => (
                          <li key={line}>{line}</li>
                        ))}
                      </ul>
                    )}
                  </li>
                ))}
              </ul>
            </div>
          )
        const lead = /^[^.]{2,60}\./.exec(block)?.[0] ?? ''
        return (
          <p key={i}>
            <strong>{lead}</strong>
            {block.slice(lead.length)}
          </p>
        )
      })}
    </div>
  )
}

/** Items of a list, each with those that stand under it. */
function itemsOf(lines: readonly string[]): { readonly text: string; readonly under: string[] }[] {
  const items: { readonly text: string; readonly under: string[] }[] = []
  for (const line of lines)
    if (line.startsWith('- ')) items.push({ text: line.slice(2), under: [] })
    else if (line.startsWith('  - ')) items.at(-1)?.under.push(line.slice(4))
  return items
}
