import { serviceNow_ms } from '../live/clock.js'
import { snapshot } from '../live/state.js'
import { clock } from '../words/figures.js'

const shown = 3
/** When it was said, by this computer's clock on the wall. */
const at = (at_ms: number): string => clock(new Date(Date.now() - (serviceNow_ms() - at_ms)))

/** Alarms stand where nobody overlooks them; the newest first. */
export function Alarms() {
  const alarms = (snapshot.value?.messages ?? []).filter(({ kind }) => kind === 'alarm')
  return (
    <>
      {alarms
        .slice(-shown)
        .toReversed()
        .map(({ n, at_ms, text }) => (
          <p class="finding alarm" key={n}>
            ■ ALARM at {at(at_ms)}: {text}
          </p>
        ))}
    </>
  )
}

/** What the service found as it began and nobody has seen to: of a virtual bench it is no alarm, and still to be read. */
export function Found() {
  const found = (snapshot.value?.messages ?? []).filter(({ kind }) => kind === 'notice')
  return (
    <>
      {found.map(({ n, at_ms, text }) => (
        <p class="finding" key={n}>
          ▲ Found at {at(at_ms)}: {text}
        </p>
      ))}
    </>
  )
}

/** What was said since the begin, newest first: alarms, notices, and who did what. */
export function Said() {
  const messages = snapshot.value?.messages ?? []
  if (messages.length === 0) return null
  return (
    <details class="panel messages">
      <summary>What was said so far ({messages.length})</summary>
      <ol tabIndex={0}>
        {messages.toReversed().map(({ n, at_ms, kind, text }) => (
          <li key={n}>
            {at(at_ms)} {kind === 'alarm' ? '■ alarm: ' : kind === 'act' ? '☛ ' : ''}
            {text}
          </li>
        ))}
      </ol>
    </details>
  )
}

export function Messages() {
  return (
    <>
      <Alarms />
      <Said />
    </>
  )
}
