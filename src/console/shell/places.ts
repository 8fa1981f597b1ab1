import { computed, signal } from '@preact/signals'

/** The three places, named for what a person does there, and what is open in one. The address holds it, so that it can be kept. */
export const places = ['prepare', 'energise', 'review'] as const
export type PlaceName = (typeof places)[number]

const hash = signal(location.hash)
addEventListener('hashchange', () => {
  hash.value = location.hash
})

export interface Where {
  readonly place: PlaceName
  readonly rest: readonly string[]
}
export const where = computed<Where>(() => {
  const [first = '', ...rest] = hash.value.replace(/^#\/?/, '').split('/').map(decoded)
  const place = places.find((each) => each === first)
  return { place: place ?? 'prepare', rest: rest.filter((each) => each !== '') }
})

export const addressOf = (place: PlaceName, ...rest: readonly string[]): string =>
  `#/${[place, ...rest.map(encodeURIComponent)].join('/')}`

export function go(place: PlaceName, ...rest: readonly string[]): void {
  location.hash = addressOf(place, ...rest)
}

function decoded(text: string): string {
  try {
    return decodeURIComponent(text)
  } catch {
    return text
  }
}
