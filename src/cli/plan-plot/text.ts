import type { Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'
import { type Course, coursesOf, type Point, tripName } from './points.js'

/* The same drawing in characters, for the terminal. */

const width = 60
const height = 16
/** Later ones are drawn over earlier ones. */
const marks = [
  { limit: 'ask_A', mark: '.', name: 'asks below' },
  { limit: 'ceiling_A', mark: 'C', name: 'ceiling' },
  { limit: 'trip_A', mark: 't', name: 'trip' },
  { limit: 'expected_A', mark: 'e', name: 'expected' },
] as const
const bandMark = ':'

/** Lines of text: one plot a rail and mode that is raised in two steps or more. */
export function planPlots(plan: Plan): string[] {
  return coursesOf(plan).flatMap((course) => ['', ...plotted(course)])
}

function plotted({ rail, mode, points }: Course): string[] {
  const most_V = Math.max(...points.map(({ V }) => V))
  const most_A = Math.max(...points.flatMap(({ ceiling_A, trip_A }) => [ceiling_A, trip_A]))
  const least_V = Math.min(...points.map(({ V }) => V))
  const rows = Array.from({ length: height }, () => new Array<string>(width).fill(' '))
  const rowOf = (A: number): number => height - 1 - Math.round(((height - 1) * A) / most_A)
  for (let x = 0; x < width; x++) {
    const V = (most_V * x) / (width - 1)
    if (V < least_V) continue
    const at = between(points, V)
    for (let row = rowOf(at.upper_A); row <= rowOf(at.lower_A); row++) put(rows, row, x, bandMark)
    for (const { limit, mark } of marks) put(rows, rowOf(at[limit]), x, mark)
  }
  const A = (value: number): string => formatQuantity(Number(value.toPrecision(3)), 'A')
  return [
    `${rail}, mode ${mode}`,
    ...rows.map(
      (row, i) =>
        `${(i === 0 ? A(most_A) : i === height - 1 ? '0 A' : '').padStart(9)} |${row.join('').trimEnd()}`,
    ),
    `${' '.repeat(9)} +${'-'.repeat(width)}`,
    `${' '.repeat(11)}0 V${formatQuantity(most_V, 'V').padStart(width - 3)}`,
    `${' '.repeat(11)}${bandMark} band   ${marks
      .toReversed()
      .map(({ mark, name }) => `${mark} ${name === 'trip' ? tripName(points) : name}`)
      .join('   ')}`,
  ]
}

function put(rows: string[][], row: number, x: number, mark: string): void {
  const line = rows[row]
  if (line !== undefined) line[x] = mark
}

/** Straight between two steps, as the run itself takes it. */
function between(points: readonly Point[], V: number): Point {
  const above = points.findIndex((point) => point.V >= V)
  const high = points[above] ?? points.at(-1)
  const low = points[Math.max(0, above - 1)] ?? high
  if (high === undefined || low === undefined) throw new Error('A course has points.')
  const part = high.V > low.V ? (V - low.V) / (high.V - low.V) : 1
  const mix = (limit: Exclude<keyof Point, 'step' | 'by_hand'>): number =>
    low[limit] + part * (high[limit] - low[limit])
  return {
    step: high.step,
    V,
    expected_A: mix('expected_A'),
    lower_A: mix('lower_A'),
    upper_A: mix('upper_A'),
    ask_A: mix('ask_A'),
    trip_A: mix('trip_A'),
    ceiling_A: mix('ceiling_A'),
    by_hand: high.by_hand,
  }
}
