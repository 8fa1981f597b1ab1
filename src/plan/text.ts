import type { Plan } from './types.js'

/** Canonical text of a plan without its hash: keys in order, so that equal plans give equal text. The shell hashes it. */
export function planText(plan: Plan): string {
  return JSON.stringify(ordered({ ...plan, hash: '' }))
}

function ordered(value: unknown): unknown {
  if (Array.isArray(value)) return value.map(ordered)
  if (value === null || typeof value !== 'object') return value
  const entries = Object.entries(value).sort(([a], [b]) => (a < b ? -1 : a > b ? 1 : 0))
  return Object.fromEntries(entries.map(([key, each]) => [key, ordered(each)]))
}
