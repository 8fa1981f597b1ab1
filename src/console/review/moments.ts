import type { ApiStory } from '../../service/api/index.js'

/** What is marked on a chart, the weightiest first: where there is room for some only, it is these. */
const weights = ['trip', 'alarm', 'ending', 'off', 'warning', 'prompt']
const most = 12

interface Mark {
  readonly t_s: number
  readonly words: string
  readonly bad: boolean
}

/** What happened in a part of the run, where there is room for it; all of it stands in the list. */
export function momentsOf({ events }: Pick<ApiStory, 'events'>, from_s: number, to_s: number): Mark[] {
  return events
    .filter(({ what, t_s }) => weights.includes(what) && t_s >= from_s && t_s <= to_s)
    .toSorted((a, b) => weights.indexOf(a.what) - weights.indexOf(b.what) || b.t_s - a.t_s)
    .slice(0, most)
    .toSorted((a, b) => a.t_s - b.t_s)
    .map(({ t_s, what }) => ({
      t_s,
      words: what === 'prompt' ? 'question' : what,
      bad: what === 'trip' || what === 'alarm',
    }))
}
