import { readFileSync } from 'node:fs'
import { setTimeout as sleep } from 'node:timers/promises'
import type { LineConfig } from '../line/index.js'
import type { OffPlan } from '../plan/index.js'
import { stillRuns } from './bench-state.js'
import type { PortLine } from '../supply/index.js'
import { knownBy, makeSafe, type MakeSafeHandlers } from './make-safe.js'
import type { BenchState } from './messages.js'
import type { SafeOffResult } from './safe-off.js'
import { offPlanShape } from './shapes/index.js'

export interface Orphan {
  /** What was found, in sentences for a person and the record. */
  readonly found: readonly string[]
  readonly result: SafeOffResult
}

const gone_within_ms = 3000

/** How to reach the bench, for when the former start does not say so itself. */
export interface Otherwise {
  readonly configs: readonly LineConfig[]
  readonly off: OffPlan
  readonly places: Readonly<Record<string, PortLine>>
}

/**
 * A former start of this bench that did not end well: its controller is ended if it still runs, the outputs are read back, then
 * made safe. `otherwise` serves where the run's own sharper off plan, or its whole bench state, cannot be read.
 */
export async function endOrphan(
  left: BenchState | 'unreadable',
  otherwise: Otherwise,
  handlers: MakeSafeHandlers,
): Promise<Orphan> {
  const known = left === 'unreadable' ? null : left
  const found: string[] = [
    known === null
      ? 'An earlier run on this bench left its state, but it cannot be read: what it left on, and whether a process of it still runs, is not known.'
      : `An earlier run on this bench did not end well (${known.run_file}).`,
  ]
  if (known !== null && known.controller !== null && stillRuns(known.controller)) {
    found.push(
      `Its controller (process ${known.controller.pid}) was still there without a supervisor: ended.`,
    )
    process.kill(known.controller.pid, 'SIGKILL')
    for (let spent = 0; spent < gone_within_ms && stillRuns(known.controller); spent += 50) await sleep(50)
  }
  const result = await makeSafe(
    {
      off: readOffPlan(known?.off_plan ?? null) ?? otherwise.off,
      configs: knownBy(otherwise.configs, known?.identities ?? {}),
      places: known?.places ?? otherwise.places,
      speed: known?.speed ?? 1,
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
