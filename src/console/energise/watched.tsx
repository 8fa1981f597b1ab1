import { isOld, oldWords } from '../live/old.js'
import { livePlan } from '../live/plan.js'
import { snapshot } from '../live/state.js'
import { readsInAmps } from '../words/course.js'
import { amps, inA, volts } from '../words/figures.js'

/** The rail that is watched while something is tuned: its current as large as the page can, read with both eyes on the set. */
export function Watched({ rail: name }: { readonly rail: string }) {
  const rail = snapshot.value?.view?.rails.find(({ rail }) => rail === name)
  if (rail === undefined) return null
  const plan = livePlan.value
  const inAmps = plan === null ? (rail.limits?.expected_A ?? 0) >= 2 : readsInAmps(plan, name)
  const old = isOld(name)
  const [A, V] = [amps(rail.amps, inAmps), volts(rail.volts)]
  return (
    <section class="watched" data-old={old} aria-label={`${name}, to be watched`}>
      <p class="huge">
        <span class="number">{A.number}</span>
        <span class="unit">{A.unit}</span>
      </p>
      {old && <p class="old-word">✕ {oldWords()}</p>}
      <p class="large beside">
        {name} at {V.number} {V.unit}
        {rail.limits !== null &&
          `: expected ${inA(rail.limits.expected_A, inAmps)}, stopped above ${inA(rail.limits.trip_A, inAmps)}`}
      </p>
    </section>
  )
}
