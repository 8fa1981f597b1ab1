import {
  type Alert,
  type Alerts,
  dueBegin,
  dueStep,
  placeOf,
  startAlerts,
  takes,
} from '../../alerts/index.js'
import type { Bench } from '../../bench/index.js'
import type { Supervisor } from '../../controller/index.js'
import { formatQuantity } from '../../quantities/index.js'
import type { Plan } from '../../plan/index.js'
import type { RunEntry } from '../../story/index.js'
import type { Io } from '../io.js'
import type { Terminal } from './terminal.js'

/** Alerts of a run that is under way: they read along, and their failures are told here and in its record. Null = nobody is told. */
export function followWithAlerts(
  { alerts: targets = [] }: Bench,
  of: { readonly run: string; readonly plan: Plan },
  supervisor: Supervisor,
  terminal: Terminal,
  env: Io['env'],
): Alerts | null {
  if (targets.length === 0) return null
  const tell = (text: string, data: Readonly<Record<string, unknown>>): void => {
    supervisor.note('alert', text, data)
    terminal.line(text)
  }
  const alerts = startAlerts({ targets, env, of, now_us: () => supervisor.run_us(), tell })
  supervisor.told.subscribe((entry) => {
    try {
      alerts.take(entry)
    } catch (error) {
      // A subscriber that throws would end the process that keeps the spare connections.
      tell(`An alert could not be made: ${error instanceof Error ? error.message : String(error)}.`, {})
    }
  })
  return alerts
}

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
