import { signal } from '@preact/signals'

/**
 * Sounds for who looks elsewhere: a question, hands clear, an alarm. Made here, since nothing is fetched. A browser lets a page be
 * heard only after a key or click on it; before that there is only what is shown.
 */
let context: AudioContext | null = null
/** A page that was not touched since it was loaded is not heard: said, since nobody notices what does not sound. */
export const deaf = signal(!navigator.userActivation.hasBeenActive)
for (const event of ['pointerdown', 'keydown'])
  addEventListener(
    event,
    () => {
      deaf.value = false
      void context?.resume()
    },
    { capture: true },
  )

const tunes = {
  question: [[660, 0.12]],
  'hands clear': [
    [880, 0.18],
    [0, 0.1],
    [880, 0.18],
    [0, 0.1],
    [880, 0.18],
  ],
  alarm: [
    [520, 0.3],
    [780, 0.3],
    [520, 0.3],
    [780, 0.3],
    [520, 0.3],
    [780, 0.3],
  ],
} as const

export function sound(which: keyof typeof tunes): void {
  if (!navigator.userActivation.hasBeenActive) return
  try {
    context ??= new AudioContext()
    void context.resume()
    let at_s = context.currentTime
    for (const [hertz, for_s] of tunes[which]) {
      if (hertz > 0) tone(context, hertz, at_s, for_s)
      at_s += for_s
    }
  } catch {
    // No way to be heard on this computer; all of it is shown.
    return
  }
}

function tone(on: AudioContext, hertz: number, at_s: number, for_s: number): void {
  const [source, loud] = [on.createOscillator(), on.createGain()]
  source.frequency.value = hertz
  loud.gain.setValueAtTime(0.2, at_s)
  loud.gain.setTargetAtTime(0, at_s + for_s - 0.03, 0.01)
  source.connect(loud).connect(on.destination)
  source.start(at_s)
  source.stop(at_s + for_s)
}
