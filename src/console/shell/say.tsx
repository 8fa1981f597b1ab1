import { signal } from '@preact/signals'

/**
 * What a screen reader says without being asked. Figures are never said by themselves: they change many times a second, and a
 * person who listens asks for them. Said are questions, steps, alarms, endings and a lost connection, each once.
 */
const polite = signal('')
const urgent = signal('')

/** The same words once more are said once more: a space that nobody hears makes them new. */
const again = (before: string, text: string): string => (before === text ? `${text}\u00a0` : text)
export function say(text: string): void {
  polite.value = again(polite.peek(), text)
}
export function sayAtOnce(text: string): void {
  urgent.value = again(urgent.peek(), text)
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
