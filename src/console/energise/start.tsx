import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import * as z from 'zod'
import { filesShape, plannedShape, type Files, type Planned } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { mayDo, me } from '../live/state.js'
import { choseProfile, lastProfile } from '../shell/chosen.js'
import { addressOf } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { durationWords } from '../words/figures.js'
import { firstOffered } from '../words/offered.js'

export interface StartOrder {
  readonly profile: string
  readonly faults: readonly string[]
  readonly speed: number
  readonly seed?: number
  readonly continues?: boolean
  /** Hash of the plan that was read: what has changed since then is read before it is started. */
  readonly plan?: string
}
/** Asks for a run. Nothing is energised by it: its cautions come next. */
export const askForRun = (order: StartOrder) => call('start', z.unknown(), { body: order })

/** No run is under way: which one shall it be. */
export function Start({ after = false }: { readonly after?: boolean }) {
  const files = useSignal<Files['files']>([])
  const chosen = useSignal('')
  const speed = useSignal('1')
  const fault = useSignal('')
  const why = useSignal<Why | null>(null)
  const unfinished = useSignal<Planned['unfinished']>(null)
  const continues = useSignal(false)
  useEffect(() => {
    void call('files', filesShape).then((came) => {
      if (came.ok) files.value = came.value.files
      else why.value = came.why
    })
  }, [])
  const profiles = files.value.filter(({ kind }) => kind === 'profile')
  const named = chosen.value === '' ? lastProfile() : chosen.value
  const found = profiles.find(({ path }) => path === named) ?? firstOffered(profiles)
  const bench = files.value.find(({ path }) => path === found?.bench)
  const virtual = bench?.is === 'virtual'
  const reform = found?.is === 'reform' ? found.path : null
  useEffect(() => {
    unfinished.value = null
    continues.value = false
    if (reform === null) return
    const asked = new AbortController()
    void call('plan', plannedShape, {
      body: { profile: reform },
      within_ms: 120_000,
      signal: asked.signal,
    }).then((came) => {
      if (came.ok && !asked.signal.aborted) unfinished.value = came.value.unfinished
    })
    return () => {
      asked.abort()
    }
  }, [reform])
  const begin = (): void => {
    if (found === undefined) return
    why.value = null
    const faults = fault.value.split(/[\n,]/).flatMap((each) => (each.trim() === '' ? [] : [each.trim()]))
    void askForRun({
      profile: found.path,
      faults: virtual ? faults : [],
      speed: virtual ? Number(speed.value) : 1,
      continues: continues.value,
    }).then((came) => {
      if (!came.ok) why.value = came.why
    })
  }
  return (
    <section class="panel" aria-labelledby="start-title">
      {after ? (
        <h2 id="start-title">Another run</h2>
      ) : (
        <h1 id="start-title">No run of this service is under way</h1>
      )}
      {me.value !== null && !mayDo('start') ? (
        <p>
          A run is started on the bench machine, at its own page or terminal. It shows here as soon as it is.
        </p>
      ) : (
        <form
          onSubmit={(event) => {
            event.preventDefault()
            begin()
          }}
        >
          <div class="row">
            <p>
              <label for="start-profile">Profile</label>
              <select
                id="start-profile"
                value={found?.path ?? ''}
                onChange={(event) => {
                  chosen.value = event.currentTarget.value
                  choseProfile(chosen.value)
                }}
              >
                {profiles.map(({ path, name }) => (
                  <option key={path} value={path}>
                    {name ?? path} ({path})
                  </option>
                ))}
              </select>
            </p>
            {virtual && (
              <>
                <p>
                  <label for="start-speed">Speed, virtual bench</label>
                  <select
                    id="start-speed"
                    value={speed.value}
                    onChange={(event) => {
                      speed.value = event.currentTarget.value
                    }}
                  >
                    {['1', '5', '10', '20'].map((each) => (
                      <option key={each} value={each}>
                        {each} × life
                      </option>
                    ))}
                  </select>
                </p>
                <p>
                  <label for="start-fault">Faults put in, virtual bench</label>
                  <input
                    id="start-fault"
                    placeholder="C12:short@HT>150V"
                    value={fault.value}
                    onInput={(event) => {
                      fault.value = event.currentTarget.value
                    }}
                  />
                </p>
              </>
            )}
            <p>
              <button type="submit" class="chief" disabled={found === undefined}>
                To the cautions
              </button>
            </p>
          </div>
          {unfinished.value !== null && (
            <Unfinished
              of={unfinished.value}
              goOn={continues.value}
              choose={(goOn) => {
                continues.value = goOn
              }}
            />
          )}
          <p class="quiet">
            Nothing is energised by this: the cautions are read and their word is typed first. What the plan
            will do stands in <a href={addressOf('prepare')}>Prepare</a>.
          </p>
          <KeepOpen profile={found?.path ?? 'PROFILE'} overnight={reform !== null} />
        </form>
      )}
      <Refused why={why.value} />
    </section>
  )
}

/** A run of this page lasts as long as somebody watches; what is to be left alone is started elsewhere. */
export function KeepOpen({ profile, overnight }: { readonly profile: string; readonly overnight: boolean }) {
  const unwatched_s = me.value?.unwatched_s
  if (unwatched_s === undefined) return null
  return (
    <p class={overnight ? 'remark' : 'quiet'}>
      A page has to stay open: once none has watched for {durationWords(unwatched_s)}, the run is run down. To
      leave a run alone{overnight && ' for a night'}, start it in a terminal of the bench machine, which says
      what that needs: <code>slowglow run {profile} --unattended</code>
    </p>
  )
}

/** A reform that was left on the way: it goes on only where a person says so. */
export function Unfinished({
  of: { text, offer, why_not },
  goOn,
  choose,
}: {
  readonly of: NonNullable<Planned['unfinished']>
  readonly goOn: boolean
  readonly choose: (goOn: boolean) => void
}) {
  return (
    <div class="remark">
      <p>{text}</p>
      {offer === null ? (
        <p>{why_not}</p>
      ) : (
        <p>
          <label>
            <input
              type="checkbox"
              checked={goOn}
              onChange={(event) => {
                choose(event.currentTarget.checked)
              }}
            />{' '}
            Go on with it. {offer}
          </label>
        </p>
      )}
    </div>
  )
}
