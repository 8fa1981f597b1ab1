import { effect, signal } from '@preact/signals'
import type { Plan } from '../../plan/index.js'
import { runPlanShape } from '../../service/api/index.js'
import { call } from '../api/call.js'
import { snapshot } from './state.js'

/** The plan of the run under way: once for each run. */
export const livePlan = signal<Plan | null>(null)
let of: string | null = null

effect(() => {
  const hash = snapshot.value?.run?.plan_hash ?? null
  if (hash === of) return
  of = hash
  livePlan.value = null
  if (hash !== null) void fetchPlan(hash)
})

async function fetchPlan(hash: string): Promise<void> {
  const came = await call('livePlan', runPlanShape)
  if (hash !== of) return
  if (came.ok) livePlan.value = came.value
  else
    setTimeout(() => {
      if (hash === of) void fetchPlan(hash)
    }, 2000)
}
