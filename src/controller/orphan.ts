import { readFileSync } from 'node:fs'
import { setTimeout as sleep } from 'node:timers/promises'
import type { LineConfig } from '../line/index.js'
import type { OffPlan } from '../plan/index.js'
import { stillRuns } from './bench-state.js'
import { makeSafe, type MakeSafeHandlers } from './make-safe.js'
import type { BenchState } from './messages.js'
import type { SafeOffResult } from './safe-off.js'
import { offPlanShape } from './shapes.js'

export interface Orphan {
  /** What was found, in sentences for a person and the record. */
  readonly found: readonly string[]
  readonly result: SafeOffResult
}

const gone_within_ms = 3000

/**
 * A former start of this bench that did not end well: its controller is ended if it still runs, the outputs are read back, then
 * made safe. `otherwise` is the bench's own off plan, for when the run's sharper one cannot be read.
 */
export async function endOrphan(
  left: BenchState,
  configs: readonly LineConfig[],
  otherwise: OffPlan,
  handlers: MakeSafeHandlers,
): Promise<Orphan> {
  const found: string[] = [`An earlier run on this bench did not end well (${left.run_file}).`]
  if (left.controller !== null && stillRuns(left.controller)) {
    found.push(`Its controller (process ${left.controller.pid}) was still there without a supervisor: ended.`)
    process.kill(left.controller.pid, 'SIGKILL')
    for (let spent = 0; spent < gone_within_ms && stillRuns(left.controller); spent += 50) await sleep(50)
  }
  const result = await makeSafe(
    {
      off: readOffPlan(left.off_plan) ?? otherwise,
      configs,
      places: left.places,
      speed: left.speed,
      from_us: 0,
      look_first: true,
    },
    handlers,
  )
  found.push(
    result.found_on.length > 0 ? `Found on: ${result.found_on.join(', ')}.` : 'No output was found on.',
  )
  found.push(result.text)
  return { found, result }
}

export function readOffPlan(path: string | null): OffPlan | null {
  if (path === null) return null
  try {
    const parsed = offPlanShape.safeParse(JSON.parse(readFileSync(path, 'utf8')))
    return parsed.success ? parsed.data : null
  } catch {
    return null
  }
}
