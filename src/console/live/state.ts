import { computed, effect, signal } from '@preact/signals'
import { meShape, type Act, type Me } from '../../service/api/index.js'
import type { EventData, EventName, Snapshot } from '../../service/api/index.js'
import { call } from '../api/call.js'
import { say, sayAtOnce } from '../shell/say.js'
import { sound } from '../shell/sound.js'
import { stageName } from '../words/course.js'
import { heard, look } from './clock.js'
import { draw, keep, keepAnew, looksFirst } from './history.js'

/** What the service last told of the run under way. Null until it has told anything. */
export const snapshot = signal<Snapshot | null>(null)
export const me = signal<Me | null>(null)
/** Of which run the ending was read where it is told in full. */
export const readEnding = signal<string | null>(null)
/** The set of a run that was under way when the service was lost, until another begins. */
export const lostRun = signal<string | null>(null)

const livePhases: readonly Snapshot['phase'][] = ['preparing', 'starting', 'running', 'going off']
/** Outputs may be on: those of an earlier run while they are made safe, and from the typed word to the ending. */
export const isLive = computed(() => livePhases.includes(snapshot.value?.phase ?? 'none'))
/** The run is over, or was none, and an output of its bench was not measured to be off. */
export const mayBeOn = computed(
  () =>
    snapshot.value?.ended?.alarm === true || snapshot.value?.refused?.code === 'outputs not confirmed off',
)
/** A device that is not known at the bench and has seen nothing from there: nothing is told to it, and there is nothing to be alarmed at. */
export const isNobody = computed(() => me.value?.role === 'none' && snapshot.value === null)
export const mayDo = (act: Act): boolean => me.value?.may.includes(act) === true

/** Takes what came over the stream. Each kind of event changes its own part; a snapshot is everything. */
export function take<K extends EventName>(kind: K, data: EventData<K>): void
export function take(kind: EventName, data: EventData<EventName>): void {
  const before = snapshot.peek()
  heard(data.now_ms, kind === 'snapshot' ? (data as Snapshot).epoch : (before?.epoch ?? ''))
  if (kind === 'snapshot') {
    takeWhole(data as Snapshot, before)
    return
  }
  if (before === null) return
  if (kind === 'view') {
    newest = data as EventData<'view'>
    keep(newest.view)
    if (timer === undefined)
      timer = setTimeout(showNewest, Math.max(0, shown_ms + show_ms - performance.now()))
    return
  }
  // What happened is shown at once, on figures that are not older than it.
  showNewest()
  snapshot.value = changed(kind, data, snapshot.peek() ?? before)
}

looksFirst(look)
/** Every view is kept for the charts; the eye is given five a second, as the service sends them: more are not read and only cost. */
const show_ms = 150
let newest: EventData<'view'> | null = null
let shown_ms = -Infinity
let timer: ReturnType<typeof setTimeout> | undefined
function showNewest(): void {
  clearTimeout(timer)
  timer = undefined
  // A timer is the first to run after a sleep: what it draws is marked before it is drawn.
  look()
  const before = snapshot.peek()
  if (newest === null || before === null) return
  shown_ms = performance.now()
  snapshot.value = changed('view', newest, before)
  draw()
  newest = null
}

function changed(kind: EventName, data: EventData<EventName>, before: Snapshot): Snapshot {
  switch (kind) {
    case 'view':
      return { ...before, view: (data as EventData<'view'>).view }
    case 'line': {
      const { port, health } = data as EventData<'line'>
      return { ...before, lines: { ...before.lines, [port]: health } }
    }
    case 'prompt':
      return { ...before, prompt: (data as EventData<'prompt'>).prompt }
    case 'hands':
      return { ...before, hands_clear: (data as EventData<'hands'>).hands_clear }
    case 'stop':
      return { ...before, stop: (data as EventData<'stop'>).stop }
    case 'message': {
      const { message } = data as EventData<'message'>
      return {
        ...before,
        messages: [...before.messages.filter(({ n }) => n !== message.n), message].slice(-200),
      }
    }
    case 'beat': {
      const { phase, viewers } = data as EventData<'beat'>
      return phase === before.phase && viewers === before.viewers ? before : { ...before, phase, viewers }
    }
    case 'bye':
    case 'snapshot':
      return before
  }
}

function takeWhole(next: Snapshot, before: Snapshot | null): void {
  newest = null
  if (before === null || next.live !== before.live || next.epoch !== before.epoch) keepAnew(next.live)
  if (before?.epoch !== next.epoch) void askWhoIAm()
  if (next.live !== null) lostRun.value = null
  else if (before !== null && before.epoch !== next.epoch && isLive.peek())
    lostRun.value = before.run?.equipment ?? 'a set'
  snapshot.value = next
  if (next.view !== null) keep(next.view)
  draw()
}

export async function askWhoIAm(): Promise<void> {
  const came = await call('me', meShape)
  if (came.ok) me.value = came.value
}

/** What a person hears without asking: each change once. */
let said = { step: 0, prompt: '', message: -1, ended: '', hands: false }
effect(() => {
  const now = snapshot.value
  if (now === null) return
  const { view, prompt, messages, ended, hands_clear } = now
  if (view !== null && isLive.value && view.step !== said.step) {
    said = { ...said, step: view.step }
    say(`Step ${view.step} of ${view.steps}: ${stageName(view.stage)}`)
  }
  // Asked again with what was wrong is asked anew.
  const asked = prompt === null ? '' : `${prompt.prompt} ${prompt.text}`
  if (prompt !== null && asked !== said.prompt) {
    said = { ...said, prompt: asked }
    sayAtOnce(`Question: ${prompt.text}`)
    sound('question')
  }
  if (hands_clear !== null && !said.hands) {
    sayAtOnce('Hands clear: HT rises in a few seconds.')
    sound('hands clear')
  }
  said = { ...said, hands: hands_clear !== null }
  const newest = messages.filter(({ kind }) => kind === 'alarm').at(-1)
  if (newest !== undefined && newest.n !== said.message) {
    said = { ...said, message: newest.n }
    sayAtOnce(`Alarm: ${newest.text}`)
    sound('alarm')
  }
  const end = ended === null ? '' : `${now.live ?? ''} ${ended.sentence} ${ended.outputs}`
  if (ended !== null && end !== said.ended) sayAtOnce(`${ended.sentence} ${ended.outputs}`)
  said = { ...said, ended: end }
})
