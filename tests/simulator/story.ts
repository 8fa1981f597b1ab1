import type { RunEntry } from '../../src/story/index.js'
import type { Mischief } from './nemesis.js'

const told = ['begin', 'step', 'prompt', 'trip', 'off', 'alarm', 'ending']

/** What was done to a run and what it decided, in one order. */
export function storyOf(nemesis: Mischief, entries: readonly RunEntry[]): string[] {
  const decided = entries.flatMap((entry) =>
    entry.entry === 'event' && told.includes(entry.event.what)
      ? [{ t_us: entry.event.t_us, text: `${entry.event.what}: ${entry.event.text}` }]
      : [],
  )
  return [...nemesis.told.map(({ t_us, text }) => ({ t_us, text: `** ${text}` })), ...decided]
    .toSorted((a, b) => a.t_us - b.t_us)
    .map(({ t_us, text }) => `${(t_us / 1e6).toFixed(2).padStart(8)} s  ${text.slice(0, 160)}`)
}
