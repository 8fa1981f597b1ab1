import { signal } from '@preact/signals'

const key = 'slowglow.by'
/** Who writes, as they called themselves last at this browser; kept there and nowhere else. */
export const by = signal(kept())
/** The meter that was used last. */
export const meter = signal('')

export function sign(name: string): void {
  by.value = name
  try {
    localStorage.setItem(key, name)
  } catch {
    // A browser that keeps nothing is told again the next time.
  }
}
/** As a call carries it: nothing where no name was given. */
export const signature = (): { readonly by?: string } =>
  by.peek().trim() === '' ? {} : { by: by.peek().trim() }

function kept(): string {
  try {
    return localStorage.getItem(key) ?? ''
  } catch {
    return ''
  }
}
