import { effect, signal } from '@preact/signals'

export const themes = ['as the computer', 'dark', 'light'] as const
export type Theme = (typeof themes)[number]

const kept = 'slowglow.theme'
export const theme = signal<Theme>(read())

function read(): Theme {
  try {
    const found = localStorage.getItem(kept)
    // A dim workshop first; whoever wants it otherwise says so once.
    return themes.find((each) => each === found) ?? 'dark'
  } catch {
    return 'dark'
  }
}

/** A browser that keeps nothing only forgets the choice. */
effect(() => {
  const chosen = theme.value
  if (chosen === 'as the computer') delete document.documentElement.dataset['theme']
  else document.documentElement.dataset['theme'] = chosen
  try {
    localStorage.setItem(kept, chosen)
  } catch {
    return
  }
})

/* Paper is light, whatever the screen is. Listened for before any chart does. */
addEventListener('beforeprint', () => {
  document.documentElement.dataset['theme'] = 'light'
})
addEventListener('afterprint', () => {
  if (theme.peek() === 'as the computer') delete document.documentElement.dataset['theme']
  else document.documentElement.dataset['theme'] = theme.peek()
})

/** Charts are drawn and do not follow a style sheet: they are drawn again when this changes. */
export const drawnAs = signal(0)
matchMedia('(prefers-color-scheme: light)').addEventListener('change', () => {
  drawnAs.value++
})
let drawnFor: Theme | null = null
effect(() => {
  if (theme.value !== drawnFor) drawnAs.value = drawnAs.peek() + 1
  drawnFor = theme.value
})
