import { formatQuantity } from '../../quantities/index.js'
import type { RailView, View } from '../../sequencer/index.js'

/** The live lines of a run as text: one for the run, one per rail, one for the keys. */
export function frameOf(view: View, speed: number): string[] {
  const pace = speed === 1 ? '' : `   (${speed} × faster than life)`
  const head =
    view.phase === 'running'
      ? `Step ${view.step} of ${view.steps}: ${view.stage}   ${bar(view)}   ${clock(view.elapsed_s)}, about ${clock(view.left_s)} left${pace}`
      : view.phase === 'making off'
        ? `Outputs going off, being confirmed   ${clock(view.elapsed_s)}${pace}`
        : `${view.phase}${pace}`
  return [head, `  waiting for ${view.waiting_for}`, ...view.rails.map(railLine), keysLine]
}

const keysLine = 'Keys: s outputs off now   r run down   Ctrl-C run down, again: off now'

function railLine(rail: RailView): string {
  const limits = rail.limits
  const judged =
    limits === null
      ? ''
      : `  expected ${amps(limits.expected_A)} (${amps(limits.lower_A)} to ${amps(limits.upper_A)}), trip ${amps(limits.trip_A)}`
  const age = rail.age_s !== null && rail.age_s > 2 ? `  ${rail.age_s.toFixed(0)} s old` : ''
  const seen = `${volts(rail.volts).padStart(8)} ${amps(rail.amps).padStart(9)}`
  const how = rail.class === 'programmed' ? `output ${rail.output}, set ${volts(rail.set_V)}` : rail.class
  return `  ${rail.rail.padEnd(10)} ${seen}${judged}  ${how}${age}`
}

const volts = (value: number | null): string => (value === null ? '–' : formatQuantity(value, 'V'))
const amps = (value: number | null): string => (value === null ? '–' : formatQuantity(value, 'A'))

function bar(view: View): string {
  const cells = 20
  const done = view.elapsed_s / Math.max(1, view.elapsed_s + view.left_s)
  const full = Math.max(0, Math.min(cells, Math.round(done * cells)))
  return `[${'#'.repeat(full)}${'.'.repeat(cells - full)}]`
}

export function clock(seconds: number): string {
  const whole = Math.max(0, Math.round(seconds))
  const minutes = Math.floor(whole / 60) % 60
  const hours = Math.floor(whole / 3600)
  const tail = `${String(minutes).padStart(hours > 0 ? 2 : 1, '0')}:${String(whole % 60).padStart(2, '0')}`
  return hours > 0 ? `${hours}:${tail}` : tail
}
