const key = 'slowglow.profile'

/** The profile that was looked at last at this browser; no more than where to begin. */
export function lastProfile(): string | null {
  try {
    return localStorage.getItem(key)
  } catch {
    return null
  }
}
export function choseProfile(path: string): void {
  try {
    localStorage.setItem(key, path)
  } catch {
    // A browser that keeps nothing begins with the first.
  }
}
