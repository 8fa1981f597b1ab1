import { makePlan, type Plan } from '../../plan/index.js'
import { rehearse } from '../../rehearse/index.js'
import type { View } from '../../sequencer/index.js'
import type { RunEnding, RunEvent } from '../../story/index.js'
import { readFault } from '../../virtual/index.js'
import type { PlanParts } from '../../service/api/index.js'

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
  | { readonly kind: 'seen'; readonly views: readonly View[]; readonly events: readonly RunEvent[] }
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
const batch = 20

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
        text: `With these limits there is no plan: ${problem?.what ?? 'no reason was given'}. ${problem?.remedy ?? ''}`,
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
  let views: View[] = []
  let events: RunEvent[] = []
  const tell = (): void => {
    port.postMessage({ kind: 'seen', views, events })
    views = []
    events = []
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
      views.push(view)
      if (views.length >= batch) tell()
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
