import { formatQuantity } from '../../quantities/index.js'
import {
  diodeCurrent,
  type OperatingPoint,
  regulatorVolts,
  screenTubeCurrents,
  type SectionModel,
  triodeCurrents,
} from '../../tubes/index.js'

/* A section's curves as a small plot of characters: plate current against plate volts, one mark a curve. */

const width = 56
const height = 14
const marks = '01234'
/** Where a published point lies. */
const pointMark = 'o'

interface Curve {
  readonly label: string
  amps(volts: number): number
}

/** Lines of text, or none where a section has no curve to draw. */
export function plotOf(model: SectionModel, points: readonly OperatingPoint[]): readonly string[] {
  if (model.form === 'regulator') return regulatorLines(model)
  const placed = points.filter((p) => p.plate_A !== null && p.doubtful === null)
  const most_V =
    1.25 * Math.max(...placed.map((p) => p.plate_V), model.form === 'diode' ? (model.drop_V ?? 10) : 100)
  const curves = curvesOf(model, placed, most_V)
  const shown = placed.filter((p) => onCurves(model, p, placed))
  const drawn = curves.map((curve) =>
    Array.from({ length: width }, (_, x) => curve.amps((most_V * x) / (width - 1))),
  )
  // The uppermost curve may leave the plot: the published points must stay readable.
  const most_A = Math.min(
    Math.max(...drawn.map((amps) => amps.at(-1) ?? 0)),
    placed.length === 0 ? Infinity : 2.5 * Math.max(...placed.map((p) => p.plate_A ?? 0)),
  )
  if (!(most_A > 0)) return []
  const rows = Array.from({ length: height }, () => new Array<string>(width).fill(' '))
  const put = (x: number, amps: number, mark: string): void => {
    const row = rows[height - 1 - Math.round(((height - 1) * amps) / most_A)]
    if (row !== undefined && amps <= most_A) row[x] = mark
  }
  drawn.forEach((amps, i) => {
    amps.forEach((each, x) => {
      put(x, each, marks[i] ?? '*')
    })
  })
  for (const { plate_V, plate_A } of shown)
    put(Math.round(((width - 1) * plate_V) / most_V), plate_A ?? 0, pointMark)
  const top = formatQuantity(Number(most_A.toPrecision(2)), 'A')
  return [
    ...rows.map(
      (row, i) => `${(i === 0 ? top : i === height - 1 ? '0' : '').padStart(8)} |${row.join('').trimEnd()}`,
    ),
    `${' '.repeat(8)} +${'-'.repeat(width)}`,
    `${' '.repeat(10)}0${formatQuantity(Math.round(most_V), 'V').padStart(width - 1)} plate`,
    ...curves.map(({ label }, i) => `${' '.repeat(10)}${marks[i] ?? '*'} ${label}`),
    ...(shown.length > 0 ? [`${' '.repeat(10)}${pointMark} published point`] : []),
  ]
}

/** The screen volts at which a screen-grid tube is drawn: of its first point with grid volts, else of any. */
function screenAt(points: readonly OperatingPoint[]): number {
  return (
    (points.find((p) => p.screen_V !== null && p.grid_V !== null) ?? points.find((p) => p.screen_V !== null))
      ?.screen_V ?? 100
  )
}
function onCurves(model: SectionModel, point: OperatingPoint, points: readonly OperatingPoint[]): boolean {
  return model.form !== 'screen' || point.screen_V === screenAt(points)
}

function curvesOf(model: SectionModel, points: readonly OperatingPoint[], most_V: number): readonly Curve[] {
  switch (model.form) {
    case 'triode':
      return grids(cutOff(model.mu, most_V / 1.25, points)).map((grid_V) => ({
        label: `grid ${formatQuantity(grid_V, 'V')}`,
        amps: (volts) => triodeCurrents(model, volts, grid_V).plate_A,
      }))
    case 'screen': {
      const screen_V = screenAt(points)
      return grids(cutOff(model.mu, screen_V, points)).map((grid_V) => ({
        label: `grid ${formatQuantity(grid_V, 'V')}, screen ${formatQuantity(screen_V, 'V')}`,
        amps: (volts) => screenTubeCurrents(model, volts, screen_V, grid_V).plate_A,
      }))
    }
    case 'diode':
      return [{ label: 'drop', amps: (volts) => diodeCurrent(model, volts) }]
    case 'regulator':
      return []
  }
}

/** Grid volts that cut the section off at these driving volts, or those of its lowest point where that is lower. */
function cutOff(mu: number, driving_V: number, points: readonly OperatingPoint[]): number {
  return Math.min(-driving_V / mu, ...points.map((p) => p.grid_V ?? 0))
}
/** Five grids from nought to near cut-off, in round steps. */
function grids(lowest_V: number): readonly number[] {
  const step = -lowest_V / 5
  const size = Math.exp(Math.floor(Math.log10(step)) * Math.LN10)
  const round =
    [8, 6, 5, 4, 3, 2.5, 2, 1.5, 1].map((each) => each * size).find((each) => each <= 1.001 * step) ?? step
  return [0, 1, 2, 3, 4].map((i) => (i === 0 ? 0 : Number((-i * round).toPrecision(6))))
}

function regulatorLines(model: Extract<SectionModel, { form: 'regulator' }>): readonly string[] {
  const most_V = 1.1 * (model.strike_most_V ?? model.strike_V)
  const at = (volts: number): number => Math.round((width * volts) / most_V)
  const least = regulatorVolts(model, model.min_A)
  const most = regulatorVolts(model, model.max_A)
  const line = new Array<string>(width).fill('.')
  for (let x = at(least); x <= Math.max(at(least), at(most)); x++) line[x] = '#'
  for (let x = at(model.strike_V); x <= at(model.strike_most_V ?? model.strike_V); x++) line[x] = '?'
  line[at(model.extinction_V)] = 'x'
  return [
    `${' '.repeat(10)}${line.join('')}`,
    `${' '.repeat(10)}0${formatQuantity(Math.round(most_V), 'V').padStart(width - 1)}`,
    `${' '.repeat(10)}# lit, ${formatQuantity(model.min_A, 'A')} to ${formatQuantity(model.max_A, 'A')}   ? may strike here   x goes out below`,
  ]
}
