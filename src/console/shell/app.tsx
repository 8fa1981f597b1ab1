import { signal } from '@preact/signals'
import type { ComponentType } from 'preact'
import { useEffect } from 'preact/hooks'
import { connection, freshAt } from '../live/clock.js'
import { isLive, isNobody, lostRun, mayBeOn, me, readEnding, snapshot } from '../live/state.js'
import { clock } from '../words/figures.js'
import { Pairing } from './pairing.js'
import { addressOf, go, type PlaceName, places, where } from './places.js'
import { Said } from './say.js'
import { deaf } from './sound.js'
import { StopBar, stopSaid } from './stop.js'
import { type Theme, theme, themes } from './theme.js'

const titles: Readonly<Record<PlaceName, string>> = {
  prepare: 'Prepare',
  energise: 'Energise',
  review: 'Review',
}

/** Each place comes when it is first gone to; the one at the bench is small and is fetched at once, whatever is shown first. */
const loaded = signal<Partial<Record<PlaceName, ComponentType>>>({})
const trouble = signal<string | null>(null)
const load: Readonly<Record<PlaceName, () => Promise<{ readonly Place: ComponentType }>>> = {
  prepare: () => import('../prepare/place.js'),
  energise: () => import('../energise/place.js'),
  review: () => import('../review/place.js'),
}
async function fetchPlace(place: PlaceName): Promise<void> {
  if (loaded.peek()[place] !== undefined) return
  try {
    const { Place } = await load[place]()
    loaded.value = { ...loaded.peek(), [place]: Place }
    trouble.value = null
  } catch {
    trouble.value = `The part of the page for ${titles[place]} did not come. It is asked for again when you go there again.`
  }
}

function Top() {
  const now = where.value.place
  return (
    <header class="top">
      <a
        class="skip"
        href={location.hash}
        onClick={(event) => {
          event.preventDefault()
          document.querySelector('main')?.focus()
        }}
      >
        To the content
      </a>
      <span class="name">slowglow</span>
      <nav aria-label="Places">
        <ul>
          {places.map((place) => (
            <li key={place}>
              <a href={addressOf(place)} aria-current={place === now ? 'page' : undefined}>
                {titles[place]}
              </a>
            </li>
          ))}
        </ul>
      </nav>
      <Connection />
      <label class="no-print">
        <span class="heard">Light or dark</span>
        <select
          value={theme.value}
          onChange={(event) => {
            theme.value = event.currentTarget.value as Theme
          }}
        >
          {themes.map((each) => (
            <option key={each} value={each}>
              {each}
            </option>
          ))}
        </select>
      </label>
    </header>
  )
}

function Connection() {
  const is = connection.value
  if (isNobody.value)
    return (
      <span class="connection" data-is="waiting">
        not paired
      </span>
    )
  const viewers = snapshot.value?.viewers ?? 0
  const words =
    is === 'waiting'
      ? 'connecting'
      : is === 'stale'
        ? 'no connection'
        : `live${viewers > 1 ? `, ${viewers} viewers` : ''}`
  return (
    <span class="connection" data-is={is}>
      {words}
    </span>
  )
}

/** Said once and in full; while it stands, every figure on the page is struck. */
function StaleLine() {
  if (connection.value !== 'stale' || isNobody.value) return null
  const since = freshAt.value
  if (since === null)
    return (
      <p class="stale-line" role="alert">
        ✕ There is no connection to the bench machine yet: whether a run is under way there is not known. It
        is tried again without end. Esc and the stop below are tried all the same; to be sure, cut the mains
        of the HT sources at the bench.
      </p>
    )
  return (
    <p class="stale-line" role="alert">
      ✕ Stale since {clock(since)}: the connection to the bench machine is lost. What is shown is of then, not
      of now. It is tried again without end.
      {isLive.value &&
        ' A run was under way and may go on: this page cannot see it. Esc and the stop below are tried all the same; to be sure, cut the mains of the HT sources at the bench.'}
    </p>
  )
}

/** A service that was started anew during a run does not know it: its outputs are nobody's here. */
function LostRun() {
  if (lostRun.value === null) return null
  return (
    <p class="finding" role="alert">
      ■ The service was started anew while a run of {lostRun.value} was under way. Take its outputs as on: cut
      the mains of the HT sources now (not of the bias), then slowglow safe-off --bench FILE in a terminal.
      Measure before touching.
    </p>
  )
}

function Deaf() {
  if (!isLive.value || !deaf.value) return null
  return (
    <p class="remark no-print">
      ♪ No sound comes from this page yet: a click or a key anywhere on it lets it be heard.
    </p>
  )
}

/** Whoever is elsewhere while a run needs them is told on every place. */
function CallBack() {
  const now = snapshot.value
  if (now === null || where.value.place === 'energise') return null
  const alarm = mayBeOn.value || (now.ended?.open_hand_rails.length ?? 0) > 0
  // Of a run that ended with everything off its alarms stand with its ending, and in its record.
  const newest =
    now.phase === 'ended' && !alarm ? undefined : now.messages.findLast(({ kind }) => kind === 'alarm')
  const unread = now.ended !== null && now.live !== readEnding.value ? now.stop : null
  const wants =
    now.prompt !== null
      ? 'A question waits.'
      : now.phase === 'cautions'
        ? 'Cautions wait for their word.'
        : null
  if (!isLive.value && wants === null && !alarm && newest === undefined && unread === null) return null
  return (
    <>
      {newest !== undefined && <p class="finding alarm">■ ALARM: {newest.text}</p>}
      <p class={alarm ? 'finding' : 'remark'}>
        {alarm
          ? [now.ended?.outputs ?? now.refused?.what, ...(now.ended?.open_hand_rails ?? [])].join(' ')
          : (wants ??
            (unread !== null
              ? stopSaid(unread)
              : isLive.value
                ? 'A run is under way.'
                : 'An alarm stands.'))}{' '}
        <a href={addressOf('energise')}>Go to Energise</a>
      </p>
    </>
  )
}

export function App() {
  const { place } = where.value
  useEffect(() => {
    document.title = `${titles[place]}, slowglow`
    void fetchPlace(place)
    if (place !== 'energise') void fetchPlace('energise')
  }, [place])
  const Place = loaded.value[place]
  const nobody = me.value?.role === 'none'
  return (
    <>
      <Top />
      <StaleLine />
      <main tabIndex={-1} aria-label={titles[place]} data-connection={connection.value}>
        {nobody ? (
          <Pairing />
        ) : (
          <>
            <LostRun />
            <Deaf />
            <CallBack />
            {Place === undefined ? (
              <p class="quiet">{trouble.value ?? 'This place is being fetched.'}</p>
            ) : (
              <Place />
            )}
          </>
        )}
      </main>
      <StopBar />
      <Said />
    </>
  )
}

/** A start draws everybody who may act to the place where it is read. */
export function openAtStart(): void {
  if (location.hash === '') go(isLive.peek() ? 'energise' : 'prepare')
}
