import { useMemo } from 'preact/hooks'
import type { Plan } from '../../plan/index.js'
import { RailChart } from '../charts/chart.js'
import { limitsAhead, limitsSeen } from '../charts/limits.js'
import { drawn, seenOf, stepBegan } from '../live/history.js'
import { notOfNow } from '../live/old.js'
import { snapshot } from '../live/state.js'
import { beginsOf, courseOf } from '../words/course.js'

/** Behind and ahead of now, seconds: enough behind to see where it comes from, enough ahead to see where it goes. */
const behind_s = 150
const ahead_s = 150
interface Given {
  readonly rail: string
  readonly inAmps: boolean
  readonly plan: Plan | null
}

/** The figures beside it change more often than a chart can show. */
export function RailTrace({ rail, inAmps, plan }: Given) {
  const at = drawn.value
  const old = notOfNow.value
  return useMemo(() => <Drawn {...{ rail, inAmps, plan, at, old }} />, [rail, inAmps, plan, at, old])
}

/** The way of a plan does not change while it runs. */
const ways = new WeakMap<Plan, Map<string, ReturnType<typeof courseOf>>>()
const begins = new WeakMap<Plan, ReturnType<typeof beginsOf>>()
function wayOf(plan: Plan, rail: string): ReturnType<typeof courseOf> {
  const known = ways.get(plan) ?? new Map<string, ReturnType<typeof courseOf>>()
  ways.set(plan, known)
  const way = known.get(rail) ?? courseOf(plan, rail)
  known.set(rail, way)
  return way
}
function beginsIn(plan: Plan): ReturnType<typeof beginsOf> {
  const known = begins.get(plan) ?? beginsOf(plan)
  begins.set(plan, known)
  return known
}
const beginOf = (plan: Plan, step: number): number | null => beginsIn(plan).at_s.get(step) ?? null
const endOf = (plan: Plan): number => beginsIn(plan).end_s

function Drawn({ rail, inAmps, plan, old }: Given & { readonly at: number; readonly old: boolean }) {
  const seen = seenOf(rail)
  const view = snapshot.peek()?.view ?? null
  if (seen === null || view === null) return null
  const now_s = view.elapsed_s
  const from_s = Math.max(0, now_s - behind_s)
  const first = seen.t_s.findIndex((t) => t >= from_s - 2)
  const start = first < 0 ? seen.t_s.length : first
  const past = limitsSeen(seen, from_s - 2)
  const step = plan?.steps.find(({ index }) => index === view.step)
  const begin_s = plan === null ? null : beginOf(plan, view.step)
  const began_s = stepBegan.get(view.step)
  const ahead =
    plan === null || begin_s === null || step === undefined || view.phase !== 'running'
      ? []
      : limitsAhead(
          wayOf(plan, rail),
          // Who came in the middle of a step goes by the time that is left.
          Math.min(
            began_s === undefined ? Math.max(begin_s, endOf(plan) - view.left_s) : begin_s + now_s - began_s,
            begin_s + step.expected_s,
          ),
          now_s,
        )
  const held = past.at(-1)
  // From the newest reading the limits in force go on until the next bend of the plan.
  const joined = held === undefined || ahead.length === 0 ? [] : [{ ...held, t_s: now_s }]
  return (
    <RailChart
      describes={`Current of ${rail} over the last minutes, with the band, trip and ceiling of the plan ahead. The figures above say the same in words.`}
      inAmps={inAmps}
      trace={{ t_s: seen.t_s.slice(start), A: seen.A.slice(start) }}
      limits={[...past, ...joined, ...ahead]}
      from_s={from_s}
      to_s={from_s + behind_s + ahead_s}
      moments={[{ t_s: now_s, words: old ? 'last seen' : 'now' }]}
    />
  )
}
