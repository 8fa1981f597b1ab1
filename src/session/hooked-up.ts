import type { Plan } from '../plan/index.js'
import { lastRunOf } from '../record/index.js'

/**
 * The set's last run in all these folders, by name, where its hook-up was confirmed by a person and is, line for line and bench for bench, the
 * one of this plan. Null: new, changed, or not confirmed then, so it is gone through wire by wire.
 */
export function hookedUpAsIn(folders: readonly string[], plan: Plan): string | null {
  const last = lastRunOf(folders, plan.equipment)
  if (last === null) return null
  const { known, events } = last
  const confirmed = events.some(({ what, data }) => what === 'hook-up' && data.confirmed === true)
  const same = (of: Plan): string => JSON.stringify([of.bench, of.bench_kind, of.wires])
  return confirmed && same(known.plan) === same(plan) ? known.run : null
}
