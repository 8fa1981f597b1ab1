import { type Alerts, startAlerts } from '../alerts/index.js'
import type { Bench } from '../bench/index.js'
import type { Supervisor } from '../controller/index.js'
import type { Plan } from '../plan/index.js'

/** Alerts of a run that is under way: they read along, and their failures are told here and in its record. Null = nobody is told. */
export function followWithAlerts(
  { alerts: targets = [] }: Bench,
  of: { readonly run: string; readonly plan: Plan },
  supervisor: Supervisor,
  shown: (text: string) => void,
  env: Readonly<Record<string, string | undefined>>,
): Alerts | null {
  if (targets.length === 0) return null
  const tell = (text: string, data: Readonly<Record<string, unknown>>): void => {
    supervisor.note('alert', text, data)
    shown(text)
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
