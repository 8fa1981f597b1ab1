import { signal, useSignal } from '@preact/signals'
import type { ComponentType } from 'preact'
import { useEffect } from 'preact/hooks'
import { diagnosisShape, type ApiDiagnosis } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { addressOf } from '../shell/places.js'
import { QuantityField } from '../shell/quantity.js'
import { Refused } from '../shell/refused.js'
import { quantityTyped } from '../words/figures.js'
import { chosenFirst, scalesOf } from '../words/units.js'
import { written } from './si.js'
import { worthDrawing } from './suspects-said.js'
import { Usual } from './usual.js'

const shownFirst = 8
/** The drawing carries its own layout: it comes when there is something to draw. */
const Drawn = signal<ComponentType<{ readonly found: ApiDiagnosis }> | null>(null)

/** What may be wrong with the set, as this run measured it, and where the meter goes next. */
export function Causes({ run }: { readonly run: string }) {
  const found = useSignal<ApiDiagnosis | null>(null)
  const readings = useSignal<readonly string[]>([])
  const why = useSignal<Why | null>(null)
  const busy = useSignal(false)
  const fails = useSignal(false)
  const priors = useSignal<readonly string[]>([])
  const ask = (all: readonly string[], counted = priors.value): void => {
    busy.value = true
    void call('diagnosis', diagnosisShape, {
      params: { run },
      body: { readings: all, fails: fails.value, priors: counted },
      within_ms: 120_000,
    }).then((came) => {
      busy.value = false
      why.value = came.ok ? null : came.why
      if (!came.ok) return
      readings.value = all
      priors.value = counted
      found.value = came.value
    })
  }
  useEffect(() => {
    if (found.value === null || Drawn.peek() !== null) return
    void import('./suspects.js').then(
      ({ Suspects }) => {
        Drawn.value = Suspects
      },
      () => undefined,
    )
  }, [found.value])
  const now = found.value
  const Drawing = Drawn.value
  return (
    <section class="panel causes" aria-label="What may be wrong">
      <h2>What may be wrong</h2>
      {now === null && (
        <p class="no-print">
          <button
            type="button"
            disabled={busy.value}
            onClick={() => {
              ask([])
            }}
          >
            {busy.value ? 'Every fault of the set is reckoned …' : 'Rank the causes of what was measured'}
          </button>
        </p>
      )}
      <Refused why={why.value} />
      <div aria-live="polite">
        {now !== null && (
          <>
            <p class="verdict">{now.verdict}</p>
            <Ranked found={now} />
            {Drawing !== null && worthDrawing(now) && <Drawing found={now} />}
            <Taken
              readings={readings.value}
              without={(text) => {
                ask(readings.value.filter((each) => each !== text))
              }}
            />
            {now.next !== null && (
              <Next
                key={`${now.next.place} ${readings.value.length}`}
                next={now.next}
                busy={busy.value}
                take={(text) => {
                  ask([...readings.value, text])
                }}
              />
            )}
            {now.search_ends !== null && (
              <>
                <p class="remark">{now.search_ends}</p>
                <p>
                  Found it? Write it in the set’s book as a finding, with the part that it was (
                  <a href={addressOf('prepare', 'book')}>Prepare, Book</a>): later runs of this set are
                  diagnosed with it.
                </p>
              </>
            )}
            {now.next === null && now.hypotheses.length === 0 && !fails.value && (
              <p class="no-print">
                <button
                  type="button"
                  disabled={busy.value}
                  onClick={() => {
                    fails.value = true
                    ask(readings.value)
                  }}
                >
                  {busy.value
                    ? 'Every fault of the set is reckoned …'
                    : 'It fails all the same: where to measure'}
                </button>
              </p>
            )}
            {now.learned.length > 0 && (
              <>
                <h3>What was learned of this set</h3>
                <ul>
                  {now.learned.map((text) => (
                    <li key={text}>{text}</li>
                  ))}
                </ul>
              </>
            )}
            <Usual
              busy={busy.value}
              count={(counted) => {
                ask(readings.value, counted)
              }}
            />
            <details>
              <summary>What this is reckoned from</summary>
              <ul>
                {[...now.from, ...now.notes].map((text, i) => (
                  <li key={i}>{text}</li>
                ))}
              </ul>
            </details>
          </>
        )}
      </div>
    </section>
  )
}

function Ranked({ found }: { readonly found: ApiDiagnosis }) {
  const { hypotheses, none, nothing } = found
  if (hypotheses.length === 0 && nothing.probability === 0) return null
  const more = hypotheses.length - shownFirst
  return (
    <>
      <ol class="ranked">
        {hypotheses.slice(0, shownFirst).map(({ fault, text, probability, rivals, explains }) => (
          <li key={fault}>
            <Likely part={probability} /> <strong>{text}</strong>
            {rivals.length > 0 && <span class="quiet"> cannot be told from {listed(rivals)}</span>}
            <p>{explains}</p>
          </li>
        ))}
      </ol>
      {more > 0 && <p class="quiet">and {more} less likely.</p>}
      <ul class="ranked">
        <li>
          <Likely part={nothing.probability} /> nothing that shows here (a whole set, or one of{' '}
          {nothing.cannot_show} faults that these readings neither show nor rule out)
        </li>
        <li>
          <Likely part={none} /> none of the known faults
        </li>
      </ul>
    </>
  )
}

function Likely({ part }: { readonly part: number }) {
  // Nothing that is reckoned is sure, either way.
  const percent = part > 0.99 ? 'over 99 %' : part < 0.01 ? 'under 1 %' : `${Math.round(part * 100)} %`
  return (
    <span class="likely">
      <span class="likely-bar" aria-hidden="true">
        <span style={{ width: `${Math.round(part * 100)}%` }} />
      </span>
      {percent}
    </span>
  )
}

function Taken({
  readings,
  without,
}: {
  readonly readings: readonly string[]
  readonly without: (text: string) => void
}) {
  if (readings.length === 0) return null
  return (
    <>
      <h3>Readings taken since</h3>
      <ul>
        {readings.map((text) => (
          <li key={text}>
            {text}{' '}
            <button
              type="button"
              class="no-print"
              onClick={() => {
                without(text)
              }}
            >
              Leave it out
            </button>
          </li>
        ))}
      </ul>
    </>
  )
}

function Next({
  next,
  busy,
  take,
}: {
  readonly next: NonNullable<ApiDiagnosis['next']>
  readonly busy: boolean
  readonly take: (text: string) => void
}) {
  const value = useSignal('')
  const units = next.measure === 'volts' ? ['V', 'mV'] : scalesOf('Ω')
  const unit = useSignal(chosenFirst(units))
  const wrong = useSignal<string | null>(null)
  const within = useSignal('')
  return (
    <div class="remark">
      <h3>
        Next: {next.measure} at {next.where}
      </h3>
      <p>{next.how}</p>
      <p>{next.why}</p>
      <p>It would read:</p>
      <ul>
        {next.predicts.map(({ value: reads, unit, causes, whole }) => (
          <li key={reads}>
            <strong>{written(reads, unit)}</strong>:{' '}
            {listed([...(whole ? ['nothing wrong'] : []), ...causes])}
          </li>
        ))}
      </ul>
      <form
        class="row no-print"
        onSubmit={(event) => {
          event.preventDefault()
          const typed = quantityTyped(value.value, unit.value)
          wrong.value = 'wrong' in typed ? typed.wrong : null
          if ('text' in typed)
            take(
              `${next.place}=${typed.text}${within.value.trim() === '' ? '' : ` ± ${within.value.trim()}`}${next.step === null ? '' : ` at step ${next.step}`}`,
            )
        }}
      >
        <QuantityField
          id="next-reading"
          of={next.place}
          words={`${next.place} reads, with its unit`}
          units={units}
          unit={unit.value}
          choose={(chosen) => {
            unit.value = chosen
          }}
          text={value.value}
          set={(text) => {
            value.value = text
          }}
        />
        <p>
          <label for="next-off">may be off by (0.3 V, 5 %), where not as your meter in the bench file</label>
          <input
            id="next-off"
            type="text"
            autocomplete="off"
            value={within.value}
            onInput={(event) => {
              within.value = event.currentTarget.value
            }}
          />
        </p>
        <button type="submit" disabled={busy || value.value.trim() === ''}>
          {busy ? 'Ranked again …' : 'Rank again with it'}
        </button>
      </form>
      {wrong.value !== null && (
        <p class="finding" role="alert">
          {wrong.value}
        </p>
      )}
    </div>
  )
}

const listed = (names: readonly string[]): string =>
  names.length <= 6 ? names.join(', ') : `${names.slice(0, 6).join(', ')} and ${names.length - 6} more`
