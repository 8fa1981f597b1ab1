import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { worksheetShape, type ApiWorksheet } from '../../service/api/index.js'
import { addressFor, call, type Why } from '../api/call.js'
import { mayDo } from '../live/state.js'
import { By } from '../shell/by.js'
import { QuantityField } from '../shell/quantity.js'
import { Refused, sentence } from '../shell/refused.js'
import { meter, signature } from '../shell/signed.js'
import { moment, quantityTyped } from '../words/figures.js'
import { chosenFirst } from '../words/units.js'
import { Waive } from './waive.js'
import { planAnew, profile } from './state.js'

type Check = ApiWorksheet['checks'][number]
const signs: Readonly<Record<Check['state'], string>> = {
  'in range': '● in range',
  marginal: '△ marginal',
  'out of range': '✕ out of range',
  'not taken': '○ not taken',
  'to be read again': '○ to be read again',
}
const wishes = {
  all: 'all',
  must: 'what must be taken before the first volt',
  open: 'what is not taken yet',
  bad: 'what is out of range or marginal',
} as const
type Wish = keyof typeof wishes
const isOpen = ({ state }: Check): boolean => state === 'not taken' || state === 'to be read again'
const wanted: Readonly<Record<Wish, (check: Check) => boolean>> = {
  all: () => true,
  must: ({ check }) => check?.must === true,
  open: isOpen,
  bad: ({ state }) => state === 'out of range' || state === 'marginal',
}

/** What the cold set should read before any power, and what it did: taken in any order, judged at once. */
export function View() {
  const file = profile.value
  return file === null ? null : <Sheet key={file} file={file} />
}

function Sheet({ file }: { readonly file: string }) {
  const sheet = useSignal<ApiWorksheet | null>(null)
  const why = useSignal<Why | null>(null)
  const wish = useSignal<Wish>('all')
  const fetched = (): void => {
    void call('worksheet', worksheetShape, { query: { file } }).then((came) => {
      if (came.ok) sheet.value = came.value
      why.value = came.ok ? null : came.why
    })
  }
  useEffect(fetched, [file])
  const now = sheet.value
  if (now === null)
    return why.value === null ? <p class="quiet">The sheet is being made.</p> : <Refused why={why.value} />
  const shown = now.checks.filter(wanted[wish.value])
  const groups = [...new Set(shown.map(({ check }) => check?.group ?? 'read once, no longer in the file'))]
  const controls = Object.entries(now.controls).map(([control, at]) => `${control}: ${at}`)
  return (
    <article>
      <h1>Cold checks of {now.equipment}</h1>
      <p class="remark">
        Set off and unplugged, every bench lead off. Measure before touching: stored charge first.
        {controls.length > 0 && ` Controls as in mode ${now.mode}: ${controls.join(', ')}.`}
      </p>
      <section class="panel" aria-label="How it stands">
        {now.summary.map((text, i) => (
          <p key={i}>{text}</p>
        ))}
        {now.not_computed.map((text, i) => (
          <p key={i}>{text}</p>
        ))}
        <p class="quiet">
          Kept in {now.book}.{' '}
          <a href={addressFor('setPage', { query: { file, page: 'worksheet' } })}>
            The sheet on paper, with blank columns
          </a>
        </p>
        <div class="row no-print">
          {mayDo('add to the book') && (
            <>
              <By id="cold-by" />
              <p>
                <label for="cold-meter">Meter</label>
                <input
                  id="cold-meter"
                  type="text"
                  maxLength={200}
                  value={meter.value}
                  onInput={(event) => {
                    meter.value = event.currentTarget.value
                  }}
                />
              </p>
            </>
          )}
          <p>
            <label for="cold-wish">Show</label>
            <select
              id="cold-wish"
              value={wish.value}
              onChange={(event) => {
                const { value } = event.currentTarget
                if (value in wishes) wish.value = value as Wish
              }}
            >
              {Object.entries(wishes).map(([each, words]) => (
                <option key={each} value={each}>
                  {words}
                </option>
              ))}
            </select>
          </p>
        </div>
      </section>
      {shown.length === 0 && <p>Nothing of that.</p>}
      {groups.map((group) => (
        <section key={group} class="panel">
          <h2>{group}</h2>
          <ul class="checks">
            {shown
              .filter(({ check }) => (check?.group ?? 'read once, no longer in the file') === group)
              .map((each) => (
                <One
                  key={each.item}
                  file={file}
                  one={each}
                  kept={(after) => {
                    sheet.value = after
                    planAnew()
                  }}
                  waived={() => {
                    fetched()
                    planAnew()
                  }}
                />
              ))}
          </ul>
        </section>
      ))}
    </article>
  )
}

interface Shown {
  readonly file: string
  readonly one: Check
  readonly kept: (after: ApiWorksheet) => void
  readonly waived: () => void
}

function One({ file, one, kept, waived }: Shown) {
  const { item, check, state, text, reading, waiver } = one
  const id = `cold-${item.replace(/\W+/g, '-')}`
  return (
    <li data-state={state}>
      <h3>
        {item} <span class="state">{signs[state]}</span>
        {check?.must === true && <span class="quiet"> must be taken</span>}
      </h3>
      <p>
        {check === null ? text : `${sentence(check.what)} Wanted: ${check.wanted}`}
        {check?.usual != null && `, usually ${check.usual}`}
        {check !== null && '.'}
      </p>
      {reading !== null && check !== null && (
        <p class={state === 'out of range' ? 'finding' : ''}>
          {text}{' '}
          <span class="quiet">
            ({reading.by}, {moment(reading.at)})
          </span>
        </p>
      )}
      {check?.cautions.map((caution) => (
        <p key={caution} class="remark">
          △ {caution}
        </p>
      ))}
      {waiver !== null && <p class="remark">{waiver}</p>}
      {check !== null && mayDo('add to the book') && <Take id={id} file={file} one={one} kept={kept} />}
      {check !== null && (
        <details>
          <summary>How and why</summary>
          <p>{check.method}</p>
          <p>Meter: {check.meter}.</p>
          <p>
            Why: {check.because}. <span class="quiet">Source: {check.source}.</span>
          </p>
          {mayDo('write') && state !== 'in range' && state !== 'marginal' && (
            <Waive file={file} item={item} waivable={check.waivable} waived={waived} />
          )}
        </details>
      )}
    </li>
  )
}

/** Where the reading goes; what cannot be read is said here and nothing is kept. */
function Take({ id, file, one, kept }: Omit<Shown, 'waived'> & { readonly id: string }) {
  const value = useSignal('')
  const units = one.check?.units ?? []
  const unit = useSignal(chosenFirst(units))
  const wrong = useSignal<string | null>(null)
  const why = useSignal<Why | null>(null)
  const busy = useSignal(false)
  const keep = (text: string): void => {
    if (busy.value || text.trim() === '') return
    busy.value = true
    const body = { file, readings: [{ item: one.item, value: text }], meter: meter.value, ...signature() }
    void call('keepReadings', worksheetShape, { body }).then((came) => {
      busy.value = false
      why.value = came.ok ? null : came.why
      if (!came.ok) return
      value.value = ''
      kept(came.value)
    })
  }
  return (
    <form
      class="row no-print"
      onSubmit={(event) => {
        event.preventDefault()
        const typed = quantityTyped(value.value, unit.value)
        wrong.value = 'wrong' in typed ? typed.wrong : null
        if ('text' in typed) keep(typed.text)
      }}
    >
      {one.check?.kind === 'look' ? (
        <div role="group" aria-label={one.item}>
          {(['good', 'bad'] as const).map((answer) => (
            <button
              key={answer}
              type="button"
              disabled={busy.value}
              onClick={() => {
                keep(answer)
              }}
            >
              {answer === 'good' ? 'Good' : 'Bad'}
            </button>
          ))}
        </div>
      ) : (
        <>
          <QuantityField
            id={id}
            of={one.item}
            words="Reading, with its unit"
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
          <button type="submit" disabled={busy.value || value.value.trim() === ''}>
            Keep it
          </button>
          {units.includes('Ω') && (
            <button
              type="button"
              disabled={busy.value}
              onClick={() => {
                keep('open')
              }}
            >
              It shows open
            </button>
          )}
        </>
      )}
      {wrong.value !== null && (
        <p class="finding" role="alert">
          {wrong.value}
        </p>
      )}
      <Refused why={why.value} />
    </form>
  )
}
