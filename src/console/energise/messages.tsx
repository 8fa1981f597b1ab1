import { snapshot } from '../live/state.js'

const shown = 3

/** Alarms stand where nobody overlooks them; the newest first. */
export function Alarms() {
  const alarms = (snapshot.value?.messages ?? []).filter(({ kind }) => kind === 'alarm')
  return (
    <>
      {alarms
        .slice(-shown)
        .toReversed()
        .map(({ n, text }) => (
          <p class="finding alarm" key={n}>
            ■ ALARM: {text}
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
        {messages.toReversed().map(({ n, kind, text }) => (
          <li key={n}>
            {kind === 'alarm' ? '■ alarm: ' : kind === 'act' ? '☛ ' : ''}
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
