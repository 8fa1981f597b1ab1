import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import type { Plan } from '../../plan/index.js'
import { RailChart } from '../charts/chart.js'
import { limitsAhead, limitsSeen } from '../charts/limits.js'
import { kept, seenOf, stepBegan } from '../live/history.js'
import { snapshot } from '../live/state.js'
import { beginsOf, courseOf } from '../words/course.js'

/** Behind and ahead of now, seconds: enough behind to see where it comes from, enough ahead to see where it goes. */
const behind_s = 150
const ahead_s = 150
/** A chart shows five minutes: in half a second it moves by about a pixel. */
const draw_ms = 500

export function RailTrace({
  rail,
  inAmps,
  plan,
}: {
  readonly rail: string
  readonly inAmps: boolean
  readonly plan: Plan | null
}) {
  const drawn = useSignal(0)
  useEffect(() => {
    let last = -1
    const timer = setInterval(() => {
      if (document.hidden || kept.peek() === last) return
      last = kept.peek()
      drawn.value = last
    }, draw_ms)
    return () => {
      clearInterval(timer)
    }
  }, [])
  return <Drawn rail={rail} inAmps={inAmps} plan={plan} at={drawn.value} />
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
function beginOf(plan: Plan, step: number): number | null {
  const known = begins.get(plan) ?? beginsOf(plan)
  begins.set(plan, known)
  return known.at_s.get(step) ?? null
}

function Drawn({
  rail,
  inAmps,
  plan,
}: {
  readonly rail: string
  readonly inAmps: boolean
  readonly plan: Plan | null
  readonly at: number
}) {
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
  const inStep_s = now_s - (stepBegan.get(view.step) ?? now_s)
  const ahead =
    plan === null || begin_s === null || step === undefined || view.phase !== 'running'
      ? []
      : limitsAhead(wayOf(plan, rail), begin_s + Math.min(inStep_s, step.expected_s), now_s)
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
      moments={[{ t_s: now_s, words: 'now' }]}
    />
  )
}
