import { formatShort } from '../../quantities/index.js'
import { type Band, bandsOf, type RunReader, type StepStory, type Story } from '../../record/index.js'
import type { LimitsDrawn, LimitSpan } from '../limits-drawn.js'
import { roundStep } from '../plan-plot/points.js'
import { type Panel, panelName, panelsOf } from '../traces.js'
import { escaped } from './html.js'

const width = 1000
const height = 260
const left = 90
const right = 20
const top = 34
const bottom = 34
const inner = width - left - right

/**
 * Volts and current of every rail over the time of the run: each pixel column from its lowest to its highest reading, so that
 * a spike of one sample is on paper too; for currents the band as an area, trip and ceiling as lines.
 */
export function charts(reader: RunReader, story: Story, { rails }: LimitsDrawn): string {
  const span = reader.span()
  if (span === null) return ''
  const bands = bandsOf(reader)
  return panelsOf(reader)
    .map((panel) => {
      const limits = panel.unit === 'A' ? (rails[panel.rail] ?? []) : []
      return chart(reader, story, { bands, limits }, panel, span)
    })
    .join('\n')
}

function chart(
  reader: RunReader,
  story: Story,
  { bands, limits }: { readonly bands: readonly Band[]; readonly limits: readonly LimitSpan[] },
  panel: Panel,
  { from_us, to_us }: { readonly from_us: number; readonly to_us: number },
): string {
  const { rail, unit, streams } = panel
  const traces = streams.map(({ id }) => reader.overview(id, inner, from_us, to_us).columns)
  const seen = traces.flat()
  if (seen.length === 0) return ''
  // Not as high as what charges capacitors: what stands afterwards would be lost at the foot of it.
  const trips = unit === 'A' ? bands.flatMap((band) => (band.rail === rail ? [band.trip_A] : [])) : []
  const most = 1.05 * Math.max(...seen.map(({ max }) => max), ...trips)
  const least = Math.min(0, ...seen.map(({ min }) => min))
  if (!(most > least)) return ''
  const x = (t_us: number): number => left + (inner * (t_us - from_us)) / Math.max(1, to_us - from_us)
  const y = (value: number): number =>
    top + (height - top - bottom) * (1 - (Math.min(value, most) - least) / (most - least))
  const one = (value: number): string => value.toFixed(1)
  const name = panelName(panel)
  const trace = traces.map((columns) => {
    const points = columns.flatMap(({ column, first, last, min, max }) => {
      const at = one(left + column + 0.5)
      return [first, min, max, last].map((value) => `${at},${one(y(value))}`)
    })
    return `<polyline points="${points.join(' ')}" stroke="#000" stroke-width="1.2" stroke-linejoin="round"/>`
  })
  return [
    `<svg viewBox="0 0 ${width} ${height}" role="img" fill="none" font-family="sans-serif" font-size="13">`,
    `<title>${escaped(`${name} over the time of the run`)}</title>`,
    `<text x="${left}" y="20" fill="#000" font-size="16" font-weight="bold">${escaped(name)}</text>`,
    ...valueGrid(least, most, unit, y),
    ...limitsUnder(limits, most, x, y),
    ...stepMarks(story.steps, x),
    ...trace,
    ...timeMarks(from_us / 1e6, to_us / 1e6, x),
    '</svg>',
  ].join('\n')
}

/** The band as areas, trip and ceiling as lines, each broken where it was not in force; what lies above the chart is left out. */
function limitsUnder(
  limits: readonly LimitSpan[],
  most: number,
  x: (t_us: number) => number,
  y: (value: number) => number,
): string[] {
  const point = (t_us: number, amps: number): string => `${x(t_us).toFixed(1)},${y(amps).toFixed(1)}`
  const along = (part: readonly LimitSpan[], value: (span: LimitSpan) => number): string[] => {
    const points = part.flatMap((span) => [point(span.from_us, value(span)), point(span.to_us, value(span))])
    return points.filter((each, i) => each !== points[i - 1])
  }
  const line = (value: (span: LimitSpan) => number, dash: string): string[] =>
    stretches(limits, (span) => value(span) <= most).map(
      (part) => `<path d="M${along(part, value).join(' L')}" stroke="#000" stroke-dasharray="${dash}"/>`,
    )
  const areas = stretches(limits, ({ band }) => band !== null).map((part) => {
    const above = along(part, ({ band }) => band?.upper_A ?? 0)
    const below = along(part, ({ band }) => band?.lower_A ?? 0).toReversed()
    return `<path d="M${[...above, ...below].join(' L')}Z" fill="#ccc" stroke="none"/>`
  })
  return [...areas, ...line(({ ceiling_A }) => ceiling_A, '1 4'), ...line(({ trip_A }) => trip_A, '7 4')]
}

/** Spans that follow each other without a gap, as far as each `is` so. */
function stretches(limits: readonly LimitSpan[], is: (span: LimitSpan) => boolean): LimitSpan[][] {
  const parts: LimitSpan[][] = []
  let before: LimitSpan | null = null
  for (const span of limits) {
    if (!is(span)) before = null
    else {
      if (before === null || before.to_us !== span.from_us) parts.push([])
      parts.at(-1)?.push(span)
      before = span
    }
  }
  return parts
}

function valueGrid(least: number, most: number, unit: 'V' | 'A', y: (value: number) => number): string[] {
  const step = roundStep(most - least, 5)
  const lines: string[] = []
  for (let value = Math.ceil(least / step) * step; value <= most; value += step) {
    const at = y(value).toFixed(1)
    lines.push(
      `<line x1="${left}" x2="${width - right}" y1="${at}" y2="${at}" stroke="#ddd"/>` +
        `<text x="${left - 8}" y="${at}" dy="4" text-anchor="end" fill="#000">${escaped(formatShort(value, unit))}</text>`,
    )
  }
  return lines
}

/** Steps by number where there is room for it, else every so many. */
function stepMarks(steps: readonly StepStory[], x: (t_us: number) => number): string[] {
  let last = -Infinity
  return steps.flatMap(({ index, began_s }) => {
    if (began_s === null) return []
    const at = x(began_s * 1e6)
    const mark = `<line x1="${at.toFixed(1)}" x2="${at.toFixed(1)}" y1="${top}" y2="${height - bottom}" stroke="#bbb" stroke-dasharray="1 3"/>`
    if (at - last < 22) return [mark]
    last = at
    return [
      `${mark}<text x="${(at + 2).toFixed(1)}" y="${top - 3}" fill="#555" font-size="11">${index}</text>`,
    ]
  })
}

function timeMarks(from_s: number, to_s: number, x: (t_us: number) => number): string[] {
  const unit = to_s - from_s > 2 * 3600 ? 3600 : to_s - from_s > 120 ? 60 : 1
  const name = unit === 3600 ? 'h' : unit === 60 ? 'min' : 's'
  const step = roundStep((to_s - from_s) / unit, 8) * unit
  const marks: string[] = []
  for (let t_s = Math.ceil(from_s / step) * step; t_s <= to_s; t_s += step)
    marks.push(
      `<text x="${x(t_s * 1e6).toFixed(1)}" y="${height - 12}" text-anchor="middle" fill="#000">${Number((t_s / unit).toPrecision(4))} ${name}</text>`,
    )
  return marks
}
