import type { LineHealth } from '../../exchange/index.js'
import { formatShort } from '../../quantities/index.js'
import type { RailView, View } from '../../sequencer/index.js'
import { lineFaultLines } from '../../session/index.js'
import { wrapLine } from '../wrap.js'
import { largeFigures } from './figures.js'

/** What a frame may fill. */
export interface Size {
  readonly columns: number
  readonly rows: number
}

/** The live lines of a run as text: the moving rail large where there is room, then the run, its rails and its keys. */
export function frameOf(
  view: View,
  speed: number,
  size: Size,
  health: Readonly<Record<string, LineHealth>> = {},
  /** The rail that an open question has watched. */
  figure: string | null = null,
): string[] {
  const pace = speed === 1 ? '' : ` (${speed} × faster than life)`
  const head =
    view.phase === 'running'
      ? [
          `Step ${view.step} of ${view.steps}: ${view.stage}; waiting for ${view.waiting_for}`,
          `${bar(view)} ${clock(view.elapsed_s)}, about ${clock(view.left_s)} left${pace}`,
        ]
      : view.phase === 'making off'
        ? [`Outputs going off, being confirmed   ${clock(view.elapsed_s)}${pace}`]
        : [`${view.phase}${pace}`]
  const rails = view.rails.flatMap((rail) => railLines(rail, size.columns))
  const troubles = lineFaultLines(health).map((text) => `  ${text}`)
  const small = [...head, ...rails, ...inputLine(view), ...troubles, keysLine].flatMap((line) =>
    wrapLine(line, size.columns),
  )
  return [...large(view, size, small.length, figure), ...small]
}

const keysLine = 'Keys: s outputs off now   r run down   Ctrl-C run down, again: off now'

/** Rows kept for what was said before and the question under the frame. */
const others_rows = 9

/** Of the rail that is watched, or that the step is about, else of the last that is up. */
function large(view: View, { columns, rows }: Size, below: number, figure: string | null): readonly string[] {
  const up = (rail: RailView): boolean => rail.volts !== null && rail.output !== 'off'
  const named = (name: string | null): RailView | undefined =>
    view.rails.find((each) => each.rail === name && up(each))
  const rail = named(figure) ?? named(view.rail) ?? view.rails.findLast(up)
  if (rail === undefined || rail.volts === null) return []
  const figures = largeFigures([volts(rail.volts), ...(rail.amps === null ? [] : [amps(rail.amps)])], columns)
  if (figures === null || figures.length + 1 + below + others_rows > rows) return []
  return [...figures, `  ${rail.rail}`]
}

/** Volts and amps first, then the output's state: those stay whole at any width. */
function railLines(rail: RailView, columns: number): string[] {
  const seen = `${volts(rail.volts).padStart(8)} ${amps(rail.amps).padStart(9)}`
  const how =
    rail.class === 'programmed' ? `output ${rail.output}, set ${volts(rail.set_V)}` : knob[rail.class]
  const age = rail.age_s !== null && rail.age_s > 2 ? `, ${rail.age_s.toFixed(0)} s old` : ''
  const first = `  ${rail.rail.padEnd(10)} ${seen}  ${how}${age}`
  const { limits } = rail
  if (limits === null) return [first]
  const judged = `expected ${limits.manual?.alone === true ? 'not known' : amps(limits.expected_A)} (${amps(limits.lower_A)} to ${amps(limits.upper_A)}), trip ${amps(limits.trip_A)}${limits.manual?.in_force === true ? ' by hand' : ''}`
  const whole = `${first}  ${judged}`
  const lines = whole.length <= columns ? [whole] : [first, `${' '.repeat(13)}${judged}`]
  return rail.over_rating === undefined ? lines : [...lines, `${' '.repeat(13)}${rail.over_rating}`]
}

/** Meters on a line, one after another; what is old is said to be. */
function inputLine({ inputs }: View): string[] {
  if (inputs.length === 0) return []
  const told = inputs.map(({ name, shows, age_s, quiet_s }) =>
    shows === null
      ? `${name} not read`
      : `${name} ${shows}${age_s !== null && age_s > quiet_s ? ` (${age_s.toFixed(0)} s old)` : ''}`,
  )
  return [`  ${told.join('   ')}`]
}

const knob = { watched: 'your knob, measured', hand: 'your knob, as you typed' } as const

const volts = (value: number | null): string => (value === null ? '–' : formatShort(value, 'V'))
const amps = (value: number | null): string => (value === null ? '–' : formatShort(value, 'A'))

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
