import { signal } from '@preact/signals'

/**
 * What a screen reader says without being asked. Figures are never said by themselves: they change many times a second, and a
 * person who listens asks for them. Said are questions, steps, alarms, endings and a lost connection, each once.
 */
const polite = signal('')
const urgent = signal('')

export function say(text: string): void {
  if (polite.peek() !== text) polite.value = text
}
export function sayAtOnce(text: string): void {
  if (urgent.peek() !== text) urgent.value = text
}

export function Said() {
  return (
    <div class="heard">
      <p role="status" aria-live="polite">
        {polite}
      </p>
      <p role="alert" aria-live="assertive">
        {urgent}
      </p>
    </div>
  )
}
