import { effect } from '@preact/signals'
import { eventShapes, hereShape, type EventName } from '../../service/api/index.js'
import { look, sleeps, stale } from '../live/clock.js'
import { askWhoIAm, isLive, me, take } from '../live/state.js'
import { addressFor, call } from './call.js'

/**
 * The live stream, kept open for as long as the page is. The browser's own reconnecting waits for what a dead line never says, so
 * a stream that has gone quiet is given up and opened anew.
 */
const again_ms = 1000
const here_ms = 10_000
const hopeless_ms = 4000
/** The same word from every page of this browser: it has few connections, and the service lets the oldest stream go. */
const browser = wordOfBrowser()
let source: EventSource | null = null
let opened_ms = 0
/** The service ended this stream on purpose: too many of this browser, or too slow. Unlooked at, it does not push others out. */
let letGo = false

function open(): void {
  source?.close()
  opened_ms = performance.now()
  letGo = false
  const next = new EventSource(addressFor('events', { query: { browser } }))
  source = next
  for (const name of Object.keys(eventShapes) as EventName[])
    next.addEventListener(name, (event) => {
      // What waited in the line while this computer slept is the first to come: it is of then, and so is its line.
      look()
      if (source === next) hear(name, event)
    })
}

function hear(name: EventName, { data }: MessageEvent<unknown>): void {
  let raw: unknown
  try {
    raw = JSON.parse(String(data))
  } catch {
    return
  }
  const read = eventShapes[name].safeParse(raw)
  // What is not understood is not shown; if it goes on, the page says that it is stale.
  if (read.success) take(name, read.data)
  if (name === 'bye') letGo = true
}

function wordOfBrowser(): string | undefined {
  const kept = 'slowglow.browser'
  try {
    const word = localStorage.getItem(kept) ?? Math.floor(Math.random() * 1e12).toString(36)
    localStorage.setItem(kept, word)
    return word
  } catch {
    return undefined
  }
}

/** Opens the stream and looks after it. */
export function followLive(): void {
  open()
  let slept = sleeps.peek()
  effect(() => {
    if (sleeps.value === slept) return
    slept = sleeps.value
    if (me.peek()?.role !== 'none') open()
  })
  setInterval(() => {
    // A device that is not paired is told nothing, and has a page of its own that says so.
    if (me.peek()?.role === 'none') {
      source?.close()
      return
    }
    if (letGo && document.hidden) {
      source?.close()
      return
    }
    const closed = letGo || source?.readyState === EventSource.CLOSED
    const since_ms = performance.now() - opened_ms
    if ((closed && since_ms > again_ms) || (stale.peek() && since_ms > hopeless_ms)) {
      open()
      // It may be refused because this device is no longer known: a stream does not say why it ended.
      if (closed) void askWhoIAm()
    }
  }, 250)
  // A stream that leads to nobody is not seen from the other end for long.
  setInterval(() => {
    if (isLive.peek() && !letGo && !stale.peek()) void call('here', hereShape)
  }, here_ms)
  addEventListener('online', () => {
    if (me.peek()?.role !== 'none') open()
  })
}
