import { type Alert, dueBegin, dueStep, placeOf, takes } from '../../alerts/index.js'
import type { Bench } from '../../bench/index.js'
import type { Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'
import type { RunEntry } from '../../story/index.js'

/** What a run would send, found in a rehearsal's entries as they come. */
export class AlertsTold {
  readonly alerts: Alert[] = []
  private state = dueBegin()

  constructor(
    private readonly bench: Bench,
    private readonly of: { readonly run: string; readonly plan: Plan },
  ) {}

  take(entry: RunEntry): void {
    if (this.bench.alerts === undefined) return
    if (entry.entry === 'tick' && entry.t_us - this.state.t_us < 1e6) return
    const input =
      entry.entry === 'tick'
        ? ({ kind: 'time', t_us: entry.t_us } as const)
        : ({ kind: 'told', entry } as const)
    const { state, alerts } = dueStep(this.of, this.state, input)
    this.state = state
    this.alerts.push(...alerts)
  }

  /** Null where the bench file names no place for them. */
  json(): readonly object[] | null {
    const { alerts: targets } = this.bench
    if (targets === undefined) return null
    const places = targets.map(placeOf)
    return this.alerts.map((alert) => ({
      t_s: alert.run_s,
      kind: alert.kind,
      severity: alert.severity,
      text: alert.text,
      outputs: alert.outputs,
      to: places.flatMap((place) => (takes(place, alert) ? [place.name] : [])),
    }))
  }

  text(): string | null {
    const { alerts: targets } = this.bench
    if (targets === undefined) return null
    const places = targets.map(placeOf)
    const head = `Alerts that a run like this would send (${places.map(({ name }) => name).join(', ')}):`
    const lines = this.alerts.flatMap((alert) => {
      const to = places.filter((place) => takes(place, alert))
      if (to.length === 0) return []
      const where = to.length === places.length ? '' : ` → ${to.map(({ name }) => name).join(', ')}`
      return [
        `  ${formatQuantity(alert.run_s, 's')}  ${alert.severity}  ${alert.kind}: ${alert.text}${where}`,
      ]
    })
    return [head, ...lines].join('\n')
  }
}
