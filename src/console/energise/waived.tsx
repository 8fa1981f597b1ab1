import { livePlan } from '../live/plan.js'

/** Cold checks that were let stand in writing stay in sight while the set is under power, and after it. */
export function WaivedCold() {
  const { waived = [], once_waived = [] } = livePlan.value?.cold_checks ?? {}
  const lines = [
    ...waived.map(({ text }) => text),
    ...once_waived.map((text) => `No longer in force: ${text}`),
  ]
  if (lines.length === 0) return null
  return (
    <section class="panel" aria-labelledby="waived-title">
      <h2 id="waived-title">▲ Cold checks that were waived</h2>
      <ul>
        {lines.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
    </section>
  )
}
