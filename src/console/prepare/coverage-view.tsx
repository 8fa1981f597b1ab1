import { useSignal } from '@preact/signals'
import type { ComponentChildren } from 'preact'
import { useEffect } from 'preact/hooks'
import { type ApiCoverage, coverageShape } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { Refused } from '../shell/refused.js'
import { pairWords } from './pair-words.js'
import { drafts, profile } from './state.js'

type CoveredFault = ApiCoverage['faults'][number]

/** Rows of a list before the rest waits for a press. */
const shownFirst = 30

/** Every single fault tried against the plan before any power: what it would notice, when, and what it would never see. */
export function View() {
  const file = profile.value
  return file === null ? null : <Covered key={file} file={file} />
}

function Covered({ file }: { readonly file: string }) {
  const found = useSignal<ApiCoverage | null>(null)
  const why = useSignal<Why | null>(null)
  const texts = drafts.value
  useEffect(() => {
    const asked = new AbortController()
    found.value = null
    void call('coverage', coverageShape, {
      body: { profile: file, texts },
      within_ms: 180_000,
      signal: asked.signal,
    }).then((came) => {
      if (asked.signal.aborted) return
      if (came.ok) found.value = came.value
      why.value = came.ok ? null : came.why
    })
    return () => {
      asked.abort()
    }
  }, [file, texts])
  const now = found.value
  if (now === null)
    return why.value === null ? (
      <p role="status">Every part of the set is failed in turn and the plan run through it.</p>
    ) : (
      <Refused why={why.value} />
    )
  const { faults, caught, total, late, burns_unseen, harmless_unseen, share, likely_share } = now
  const stacks = [
    { key: 'caught', n: caught, words: 'noticed before any part stands beyond its rating' },
    { key: 'late', n: late, words: 'noticed too late' },
    { key: 'burns', n: burns_unseen, words: 'burn a part and are never noticed' },
    { key: 'unseen', n: harmless_unseen, words: 'never noticed; no known rating is passed' },
  ] as const
  return (
    <article>
      <h1>What this plan would notice</h1>
      {total > 0 && (
        <section class="panel">
          <p class="share">
            <strong>{Math.round(share * 100)} %</strong> of {total} single faults are noticed before any part
            stands beyond what its rating allows; counted by how often faults come,{' '}
            {Math.round(likely_share * 100)} %.
          </p>
          <div class="stack" role="img" aria-label={stacks.map(({ n, words }) => `${n} ${words}`).join('; ')}>
            {stacks.map(({ key, n }) => (
              <span key={key} class={key} style={{ flexGrow: n }} />
            ))}
          </div>
          <ul class="stack-key">
            {stacks.map(({ key, n, words }) => (
              <li key={key}>
                <span class={`swatch ${key}`} aria-hidden="true" /> {n} {words}
              </li>
            ))}
          </ul>
        </section>
      )}
      <Faults
        title="Burns a part and is never noticed"
        faults={faults.filter((each) => !each.caught && !each.early)}
      />
      <Faults title="Noticed too late" faults={faults.filter((each) => each.caught && !each.early)} />
      <Faults title="Noticed in time" faults={faults.filter((each) => each.caught && each.early)} />
      <Pairs found={now} />
      <Harmless faults={faults.filter((each) => !each.caught && each.early)} />
      {now.suggestions.length > 0 && (
        <section class="panel">
          <h2>What would see more</h2>
          <ul>
            {now.suggestions.map(({ text, saved }) => (
              <li key={text}>
                {text}
                {saved > 0 && ` ${saved} of them burn a part now.`}
              </li>
            ))}
          </ul>
        </section>
      )}
      {now.hand_checks.length > 0 && (
        <section class="panel">
          <h2>To look for by hand</h2>
          <p>With the set off and its charge measured away first.</p>
          <ul>
            {now.hand_checks.map(({ text, burns, items }) => (
              <li key={text}>
                {burns && <strong>△ A part may burn here. </strong>}
                {text}
                {items.length > 0 && <span class="quiet"> On the sheet: {items.join(', ')}.</span>}
              </li>
            ))}
          </ul>
        </section>
      )}
      {now.learned.length > 0 && (
        <section class="panel">
          <h2>What was learned of this set</h2>
          <ul>
            {now.learned.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        </section>
      )}
      <section class="panel">
        <h2>What was tried</h2>
        <ul>
          {now.notes.map((text) => (
            <li key={text}>{text}</li>
          ))}
        </ul>
      </section>
    </article>
  )
}

/** The likeliest pairs: how they do, and those of which one hides the other. */
function Pairs({ found: { pairs, hiding } }: { readonly found: ApiCoverage }) {
  if (pairs.length === 0) return null
  const hidden = pairs.filter(({ fault }) => hiding.includes(fault))
  return (
    <>
      <section class="panel">
        <h2>Two faults at once</h2>
        <p>{pairWords(pairs)}</p>
      </section>
      <Faults title="Pairs that hide one another" faults={hidden}>
        <p class="quiet">Not noticed in time, though one of them alone is.</p>
      </Faults>
    </>
  )
}

/** Long, and nothing burns: folded away. */
function Harmless({ faults }: { readonly faults: readonly CoveredFault[] }) {
  if (faults.length === 0) return null
  return (
    <details class="panel">
      <summary>Never noticed; no known rating is passed ({faults.length})</summary>
      <ul>
        {faults.map(({ fault, text }) => (
          <li key={fault}>{text}</li>
        ))}
      </ul>
    </details>
  )
}

interface Listed {
  readonly title: string
  readonly faults: readonly CoveredFault[]
  /** Under the table. */
  readonly children?: ComponentChildren
}

function Faults({ title, faults, children }: Listed) {
  const whole = useSignal(false)
  if (faults.length === 0) return null
  const id = title.replace(/\W+/g, '-')
  const shown = whole.value ? faults : faults.slice(0, shownFirst)
  return (
    <section class="panel">
      <h2 id={id}>
        {title} ({faults.length})
      </h2>
      <div class="scroll" tabIndex={0} role="region" aria-labelledby={id}>
        <table>
          <thead>
            <tr>
              <th scope="col">fault</th>
              <th scope="col" class="n">
                step
              </th>
              <th scope="col">noticed</th>
              <th scope="col">worst until then</th>
            </tr>
          </thead>
          <tbody>
            {shown.map((each) => (
              <tr key={each.fault}>
                <td>{each.text}</td>
                <td class="n">{each.step}</td>
                <td>
                  {each.how !== null && `${each.how}: `}
                  {each.noticed}
                  {each.caught && !each.surely && ' (not in every set)'}
                </td>
                <td>{stressWords(each)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
      {shown.length < faults.length && (
        <button
          type="button"
          class="no-print"
          onClick={() => {
            whole.value = true
          }}
        >
          {faults.length - shown.length} more
        </button>
      )}
      {children}
    </section>
  )
}

const stressWords = ({ stress, no_stress }: CoveredFault): string =>
  stress === null
    ? (no_stress ?? '')
    : `${stress.what} at ${Math.round(stress.of_rating * 100)} % of ${stress.rating} in step ${stress.step}${stress.as_whole ? ', as in a whole set' : ''}`
