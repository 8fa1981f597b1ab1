import { computed, effect, signal } from '@preact/signals'
import { useEffect, useRef } from 'preact/hooks'
import * as z from 'zod'
import type { Snapshot } from '../../service/api/index.js'
import { call, giveWay } from '../api/call.js'
import { connection } from '../live/clock.js'
import { askWhoIAm, isLive, isNobody, mayBeOn, snapshot } from '../live/state.js'
import { durationWords } from '../words/figures.js'
import { onOwnKnobs, stopWords } from '../words/outputs.js'
import { sayAtOnce } from './say.js'

/**
 * The stop. One control and one key, on every place, asking nothing back: Esc, which types nothing into a text field and so can
 * mean the same there. What it shows has three stages that are never mixed: being sent, heard at the bench, measured off.
 */
const again_ms = 300
type Sending =
  | { readonly is: 'no' }
  | { readonly is: 'sending' | 'heard' | 'nothing to stop' }
  | { readonly is: 'not sent'; readonly why: string }
const sending = signal<Sending>({ is: 'no' })
let pressed = 0

/** A lost connection hides nothing that was live: it may be live still. After an ending with the alarm OFF is sent again with it. */
export const stopShows = computed(
  () =>
    (!isNobody.value &&
      (isLive.value ||
        mayBeOn.value ||
        snapshot.value?.phase === 'cautions' ||
        connection.value === 'stale')) ||
    (sending.value.is !== 'no' && sending.value.is !== 'heard'),
)

/** Sent again until the service has heard it: putting off is never done once too often. */
export async function stop(by: 'control' | 'key'): Promise<void> {
  const mine = ++pressed
  sending.value = { is: 'sending' }
  sayAtOnce('Stop is being sent.')
  giveWay()
  while (mine === pressed) {
    const came = await call('stop', z.unknown(), { body: { by }, within_ms: 2000 })
    if (mine !== pressed) return
    if (came.ok || came.why.code === 'nothing under way') {
      sending.value = { is: came.ok ? 'heard' : 'nothing to stop' }
      return
    }
    sending.value = { is: 'not sent', why: came.why.what }
    sayAtOnce('Stop was not sent. Cut the mains of the HT sources.')
    if (came.why.code === 'not paired') {
      // Asked again it would be refused again: the code is wanted first, and the page shows where it goes.
      await askWhoIAm()
      return
    }
    await new Promise((resolve) => setTimeout(resolve, again_ms))
  }
}

async function runDown(): Promise<void> {
  const came = await call('runDown', z.unknown(), { body: {}, within_ms: 2000 })
  if (!came.ok) sending.value = { is: 'not sent', why: `Run down was not heard: ${came.why.what}` }
}

addEventListener(
  'keydown',
  (event) => {
    if (event.key !== 'Escape' || !stopShows.peek()) return
    event.preventDefault()
    event.stopImmediatePropagation()
    if (!event.repeat) void stop('key')
  },
  { capture: true },
)

/** A new run is not stopped by what was said of the one before. */
let of: string | null = null
effect(() => {
  const live = snapshot.value?.live ?? null
  if (live === of) return
  of = live
  pressed++
  sending.value = { is: 'no' }
})

/** How far the stop of this run has come. */
export const stopSaid = (asked: NonNullable<Snapshot['stop']>): string =>
  stopWords(asked, {
    own: onOwnKnobs(snapshot.value?.run ?? null),
    connected: connection.value === 'live',
    open: snapshot.value?.ended?.open_hand_rails ?? [],
  })

function told(): string | null {
  const { is } = sending.value
  const asked = snapshot.value?.stop ?? null
  if (is === 'not sent')
    return `NOT SENT YET: ${sending.value.why} Cut the mains of the HT sources now (not of the bias).`
  if (is === 'nothing to stop')
    return 'The service knows of no run, so nothing was stopped. If outputs may be on, cut the mains of the HT sources (not of the bias).'
  if (is === 'sending') return 'Stop: being sent …'
  if (asked !== null) return stopSaid(asked)
  return is === 'heard' ? 'Stop: heard at the bench.' : null
}

/**
 * A keyboard of the screen lies over the window, and a picture drawn closer shows a part of it. The stop stays in what is seen:
 * `--below-sight` is how much of the window's foot is not.
 */
function stayInSight(): () => void {
  const seen = visualViewport
  const root = document.documentElement
  const look = (): void => {
    const below_px = seen === null ? 0 : root.clientHeight - seen.offsetTop - seen.height
    root.style.setProperty('--below-sight', `${Math.max(0, Math.round(below_px))}px`)
  }
  for (const event of ['resize', 'scroll']) seen?.addEventListener(event, look)
  look()
  return () => {
    for (const event of ['resize', 'scroll']) seen?.removeEventListener(event, look)
  }
}

/** Fixed at the bottom, above everything. The page below is as much longer as this is high, so that it lies over nothing. */
export function StopBar() {
  const bar = useRef<HTMLElement>(null)
  const shows = stopShows.value
  useEffect(() => {
    const root = document.documentElement
    const element = bar.current
    if (!shows || element === null) {
      root.style.setProperty('--stop-height', '0px')
      return
    }
    const watch = new ResizeObserver(() => {
      root.style.setProperty('--stop-height', `${element.offsetHeight}px`)
    })
    watch.observe(element)
    const lookAway = stayInSight()
    return () => {
      lookAway()
      watch.disconnect()
      root.style.setProperty('--stop-height', '0px')
    }
  }, [shows])
  if (!shows) return null
  const words = told()
  const left = snapshot.value?.view?.left_s ?? null
  return (
    <section class="stop-bar" aria-label="Stop" ref={bar}>
      {words !== null && <p class="sent">{words}</p>}
      <button
        type="button"
        class="stop"
        aria-keyshortcuts="Escape"
        onClick={() => {
          void stop('control')
        }}
      >
        ■ {mayBeOn.value ? 'OFF AGAIN' : 'STOP'} <kbd>Esc</kbd>
        <small>{mayBeOn.value ? 'sent once more and measured' : 'outputs off now, nothing is asked'}</small>
      </button>
      <button
        type="button"
        title={left === null ? undefined : `Without it the run goes on for about ${durationWords(left)}`}
        disabled={connection.value !== 'live' || mayBeOn.value}
        onClick={() => {
          void runDown()
        }}
      >
        run down
      </button>
    </section>
  )
}
