import { computed } from '@preact/signals'
import { durationWords } from '../words/figures.js'
import { now_ms, serviceNow_ms, stale } from './clock.js'
import { snapshot } from './state.js'

/*
 * Of the passing of time only what it changes: a page that is drawn anew with every tick of its clock costs the bench machine
 * a good part of a core.
 */

/** From a reading at the bench to its figure on the page: gathered by the service, drawn five times a second. */
const way_ms = 400
/** Nothing was heard of the run for longer than any view takes, the way here included. */
const unheard_ms = 1000 + way_ms
export const unheard = computed(() => {
  const heard_ms = snapshot.value?.view?.heard_ms
  return heard_ms !== undefined && serviceNow_ms(now_ms.value) - heard_ms > unheard_ms
})
/** Not one figure of the run is of now. */
export const notOfNow = computed(() => stale.value || unheard.value)

/** Rails whose newest reading is older than it may be, a line each. */
const names = computed(() =>
  (snapshot.value?.view?.rails ?? [])
    .filter(
      ({ measured_ms, stale_ms }) =>
        measured_ms !== null && serviceNow_ms(now_ms.value) - measured_ms > stale_ms + way_ms,
    )
    .map(({ rail }) => rail)
    .join('\n'),
)
export const isOld = (rail: string): boolean => notOfNow.value || names.value.split('\n').includes(rail)
/** Why, in two words. */
export const oldWords = (): string =>
  stale.value ? 'stale, not of now' : unheard.value ? 'of then, not of now' : 'this reading is too old'

/** How long ago the volts of each hand rail were typed, a line each. */
const ages = computed(() =>
  (snapshot.value?.view?.rails ?? [])
    .flatMap(({ rail, class: by, measured_ms }) =>
      by === 'hand' && measured_ms !== null
        ? [`${rail}\t${durationWords(Math.max(0, serviceNow_ms(now_ms.value) - measured_ms) / 1000)}`]
        : [],
    )
    .join('\n'),
)
/** Null where nothing was typed. By the clock on the wall, also on a virtual bench that goes faster. */
export const typedAgo = (rail: string): string | null =>
  ages.value
    .split('\n')
    .find((line) => line.startsWith(`${rail}\t`))
    ?.slice(rail.length + 1) ?? null
