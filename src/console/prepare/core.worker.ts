import { makePlan, type Plan } from '../../plan/index.js'
import { rehearse } from '../../rehearse/index.js'
import type { RunEnding, RunEvent } from '../../story/index.js'
import { readFault } from '../../virtual/index.js'
import type { PlanParts } from '../../service/api/index.js'
import { keptWith, most_kept, type Seen } from './kept.js'

/** The same core as at the bench, beside the page: it never stands still for it. */
export interface Wanted {
  readonly parts: PlanParts
  readonly plan: Plan
  readonly faults: readonly string[]
  readonly seed: number
  /** Limits tried by hand: rail → amps. */
  readonly by_hand: Readonly<Record<string, number>>
}
export type Told =
  | { readonly kind: 'plan'; readonly plan: Plan }
  | { readonly kind: 'seen'; readonly seen: readonly Seen[]; readonly events: readonly RunEvent[] }
  | {
      readonly kind: 'ended'
      readonly ending: RunEnding
      readonly virtual_s: number
      readonly came: readonly string[]
    }
  | { readonly kind: 'trouble'; readonly text: string }

interface Port {
  onmessage: ((event: MessageEvent<Wanted>) => void) | null
  postMessage(told: Told): void
}
const port = self as unknown as Port
/** By the clock on the wall: a night goes by in minutes here, and each message draws the page anew. */
const gather_ms = 250

port.onmessage = ({ data }) => {
  try {
    perform(data)
  } catch (error) {
    port.postMessage({
      kind: 'trouble',
      text: `The rehearsal broke off, a fault of slowglow: ${error instanceof Error ? error.message : String(error)}`,
    })
  }
}

function perform({ parts, plan: asPlanned, faults, seed, by_hand }: Wanted): void {
  const { equipment, bench, behind } = parts
  let plan = asPlanned
  if (Object.keys(by_hand).length > 0) {
    const rails = Object.fromEntries(
      Object.entries(equipment.rails).map(([name, rail]) => {
        const trip_A = by_hand[name]
        return [
          name,
          trip_A === undefined ? rail : { ...rail, manual: { trip_A, reason: 'tried in the page' } },
        ]
      }),
    )
    const made = makePlan(parts.profile, { ...equipment, rails }, bench)
    const [problem] = made.problems
    if (made.plan === null) {
      port.postMessage({
        kind: 'trouble',
        text: `With these limits there is no plan: ${(problem?.what ?? 'no reason was given').replace(/\.$/, '')}. ${problem?.remedy ?? ''}`,
      })
      return
    }
    plan = made.plan
  }
  const wanted = faults.map((text) => readFault(text, equipment, bench))
  const wrong = wanted.find(({ ok }) => !ok)
  if (wrong !== undefined && !wrong.ok) {
    port.postMessage({ kind: 'trouble', text: `${wrong.problem}. ${wrong.remedy}.` })
    return
  }
  port.postMessage({ kind: 'plan', plan })
  let seen: Seen[] = []
  let second = 0
  let told_ms = performance.now()
  let events: RunEvent[] = []
  const tell = (): void => {
    port.postMessage({ kind: 'seen', seen, events })
    seen = []
    events = []
    told_ms = performance.now()
  }
  const rehearsal = rehearse(plan, equipment, bench, {
    seed,
    faults: wanted.flatMap((each) => (each.ok ? [each.value] : [])),
    behind,
    record(entry) {
      if (entry.entry === 'event' && !['fed', 'asked', 'line health'].includes(entry.event.what))
        events.push(entry.event)
    },
    watch(view) {
      // Why each limit is what it is stands in the plan, and is the greatest part of a view.
      const rails = view.rails.map((rail) =>
        rail.limits === null ? rail : { ...rail, limits: { ...rail.limits, because: [] } },
      )
      seen.push({ t_s: second, view: { ...view, rails } })
      second += 1
      if (seen.length > 2 * most_kept) seen = [...keptWith(seen, [])]
      if (performance.now() - told_ms >= gather_ms) tell()
      return undefined
    },
  })
  tell()
  port.postMessage({
    kind: 'ended',
    ending: rehearsal.ending,
    virtual_s: rehearsal.virtual_s,
    came: rehearsal.faults,
  })
}
