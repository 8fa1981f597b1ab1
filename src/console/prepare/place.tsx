import { effect } from '@preact/signals'
import type { ComponentType } from 'preact'
import { signal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { askForRun, KeepOpen, Unfinished } from '../energise/start.js'
import { isLive, mayDo } from '../live/state.js'
import { addressOf, go } from '../shell/places.js'
import { Refused, sentence } from '../shell/refused.js'
import type { Why } from '../api/call.js'
import { Drop } from './drop.js'
import { PlanView } from './plan-view.js'
import './prepare.css'
import {
  drafts,
  files,
  filesWhy,
  listFiles,
  lookAgain,
  openView,
  plan,
  planned,
  planning,
  planWhy,
  profile,
  profiles,
  replanned,
  view,
  type ViewName,
  views,
} from './state.js'

const titles: Readonly<Record<ViewName, string>> = {
  plan: 'Plan',
  set: 'The set',
  cold: 'Cold checks',
  coverage: 'Coverage',
  book: 'Book',
  aerial: 'Aerial',
  rehearse: 'Rehearse',
  bench: 'Bench',
  files: 'Files',
  new: 'A new set',
}

/** Editor, drawing and the core are large: each comes when it is gone to. */
const later: Readonly<Record<Exclude<ViewName, 'plan'>, () => Promise<{ readonly View: ComponentType }>>> = {
  set: () => import('./set-view.js'),
  cold: () => import('./cold-view.js'),
  coverage: () => import('./coverage-view.js'),
  book: () => import('./book-view.js'),
  aerial: () => import('./aerial-view.js'),
  rehearse: () => import('./rehearse-view.js'),
  bench: () => import('./bench-view.js'),
  files: () => import('./files-view.js'),
  new: () => import('./new-view.js'),
}
const loaded = signal<Partial<Record<ViewName, ComponentType>>>({ plan: PlanView })

const startWhy = signal<Why | null>(null)
const goOn = signal(false)
/** Unwritten texts are settled for a moment before they are planned. */
const settle_ms = 500

export function Place() {
  const now = view.value
  useEffect(() => {
    void listFiles()
    let timer: ReturnType<typeof setTimeout> | undefined
    const stop = effect(() => {
      const [path, texts] = [profile.value, drafts.value]
      clearTimeout(timer)
      timer = setTimeout(() => {
        void plan(path, texts)
      }, settle_ms)
    })
    const back = (): void => {
      if (!document.hidden) void lookAgain()
    }
    // Also who comes from another place of this page.
    back()
    addEventListener('focus', back)
    document.addEventListener('visibilitychange', back)
    return () => {
      stop()
      removeEventListener('focus', back)
      document.removeEventListener('visibilitychange', back)
      clearTimeout(timer)
    }
  }, [])
  useEffect(() => {
    if (now === 'plan' || loaded.peek()[now] !== undefined) return
    void later[now]().then(
      ({ View }) => {
        loaded.value = { ...loaded.peek(), [now]: View }
      },
      () => undefined,
    )
  }, [now])
  const View = loaded.value[now]
  return (
    <>
      <Head />
      <nav class="tabs no-print" aria-label="Prepare">
        <ul>
          {views.map((each) => (
            <li key={each}>
              <a
                href={addressOf('prepare', each, ...(profile.value === null ? [] : [profile.value]))}
                aria-current={each === now ? 'page' : undefined}
              >
                {titles[each]}
              </a>
            </li>
          ))}
        </ul>
      </nav>
      {(now === 'plan' || now === 'set' || now === 'rehearse' || now === 'bench') && <Found />}
      {View === undefined ? <p class="quiet">Being fetched.</p> : <View />}
    </>
  )
}

/** Which set, which profile, and on to the bench with it. */
function Head() {
  const unwritten = Object.keys(drafts.value)
  const chosen = files.value?.files.find(({ path }) => path === profile.value)
  const start = (): void => {
    const path = profile.peek()
    if (path === null) return
    startWhy.value = null
    const read = planned.peek()
    if (read === null) return
    const continues = goOn.value && read.unfinished != null
    const order = { profile: path, faults: [], speed: 1, continues, plan: read.plan.hash }
    void askForRun(order).then((came) => {
      if (came.ok) go('energise')
      else {
        startWhy.value = came.why
        if (came.why.code === 'changed meanwhile') void lookAgain()
      }
    })
  }
  return (
    <section class="panel prepare-head" aria-label="What is prepared">
      <div class="row">
        <p>
          <label for="profile">Profile</label>
          <select
            id="profile"
            value={profile.value ?? ''}
            onChange={(event) => {
              openView(view.peek(), event.currentTarget.value)
            }}
          >
            {profiles.value.length === 0 && <option value="">none yet</option>}
            {profiles.value.map(({ path, name }) => (
              <option key={path} value={path}>
                {name ?? path} ({path})
              </option>
            ))}
          </select>
        </p>
        <Drop />
        {mayDo('start') && (
          <p class="no-print">
            <button
              type="button"
              class="chief"
              disabled={isLive.value || planned.value === null || unwritten.length > 0 || planning.value}
              onClick={start}
            >
              To the cautions of this run
            </button>
          </p>
        )}
      </div>
      {chosen?.equipment != null && (
        <p class="quiet">
          Set {chosen.equipment}
          {chosen.bench !== null && `, bench ${chosen.bench}`}
        </p>
      )}
      {unwritten.length > 0 && (
        <p class="remark">
          Not written yet: {unwritten.join(', ')}. What is shown counts them in; a run is started from written
          files only.{' '}
          <a href={addressOf('prepare', 'files', ...(profile.value === null ? [] : [profile.value]))}>
            Write them in Files.
          </a>
        </p>
      )}
      {mayDo('start') && planned.value?.unfinished != null && (
        <Unfinished
          of={planned.value.unfinished}
          goOn={goOn.value}
          choose={(chosen) => {
            goOn.value = chosen
          }}
        />
      )}
      {mayDo('start') && (
        <KeepOpen profile={profile.value ?? 'PROFILE'} overnight={chosen?.is === 'reform'} />
      )}
      <Refused why={startWhy.value} />
      <Refused why={filesWhy.value} />
    </section>
  )
}

const most_blocks = 5

/** What stands in the way of a plan, and what goes with it. */
function Found() {
  const warnings = planned.value?.plan.problems ?? []
  const blocks = planned.value?.plan.cold_checks?.blocks ?? []
  return (
    <div aria-live="polite">
      {blocks.length > 0 && (
        <div class="finding">
          <p>✕ The cold checks keep this set from power:</p>
          <ul>
            {blocks.slice(0, most_blocks).map(({ item, text }) => (
              <li key={item}>
                {item}: {text}
              </li>
            ))}
            {blocks.length > most_blocks && <li>and {blocks.length - most_blocks} more</li>}
          </ul>
          <p>
            <a href={addressOf('prepare', 'cold', ...(profile.value === null ? [] : [profile.value]))}>
              Take, mend or waive them in Cold checks.
            </a>
          </p>
        </div>
      )}
      {replanned.value && (
        <p class="remark">
          ✎ What this plan was made from has changed since it was shown: a file, a reading of the cold set, or
          a measured figure. What stands here is the plan of now. Read it again.
        </p>
      )}
      {planning.value && <p class="quiet">The plan is being made.</p>}
      {planWhy.value !== null && (
        <>
          <Refused why={planWhy.value} />
          <p>
            <a href={addressOf('prepare', 'files', ...(profile.value === null ? [] : [profile.value]))}>
              Mend it in Files: each error is marked where it stands.
            </a>
          </p>
        </>
      )}
      {warnings.length > 0 && (
        <details class="remark">
          <summary>
            △ {warnings.length} {warnings.length === 1 ? 'remark' : 'remarks'} on the files
          </summary>
          <ul>
            {warnings.map(({ what, remedy }, i) => (
              <li key={i}>
                {sentence(what)} {sentence(remedy)}
              </li>
            ))}
          </ul>
        </details>
      )}
    </div>
  )
}
