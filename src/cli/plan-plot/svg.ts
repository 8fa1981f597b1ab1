import type { Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'
import { type Course, coursesOf, type Point, roundStep, tripName } from './points.js'

/* The limits of a plan as a drawing to print and keep at the bench: one chart a rail and mode, currents over rail volts. */

const width = 900
const chartHeight = 430
const left = 84
const right = 150
const top = 56
const bottom = 58

type Limit = 'ceiling_A' | 'trip_A' | 'upper_A' | 'expected_A' | 'lower_A' | 'ask_A'
/** Told apart by stroke and name, never by colour alone. */
const lines: readonly { readonly limit: Limit; readonly name: string; readonly stroke: string }[] = [
  { limit: 'ceiling_A', name: 'ceiling', stroke: 'stroke-width="3"' },
  { limit: 'trip_A', name: 'trip', stroke: 'stroke-width="2" stroke-dasharray="10 5"' },
  { limit: 'expected_A', name: 'expected', stroke: 'stroke-width="1.5"' },
  { limit: 'ask_A', name: 'asks below', stroke: 'stroke-width="1.5" stroke-dasharray="2 4"' },
]

/** A complete SVG document, or null where no rail is raised in two steps or more. */
export function planSvg(plan: Plan): string | null {
  const courses = coursesOf(plan)
  if (courses.length === 0) return null
  const height = courses.length * chartHeight + 40
  return [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${width} ${height}" font-family="sans-serif" font-size="14" role="img">`,
    `<title>${escaped(`${plan.profile}, ${plan.equipment}: expected current, band, trip and ceiling over rail volts`)}</title>`,
    `<rect width="${width}" height="${height}" fill="#fff"/>`,
    ...courses.map((course, at) => chart(course, at * chartHeight)),
    `<text x="${left}" y="${height - 14}" font-size="12">${escaped(`${plan.equipment}, ${plan.profile}, on ${plan.bench}. Plan ${plan.hash.slice(0, 16)}`)}</text>`,
    '</svg>',
    '',
  ].join('\n')
}

function chart({ rail, mode, points }: Course, y0: number): string {
  const most_V = 1.04 * Math.max(...points.map(({ V }) => V))
  const most_A = 1.06 * Math.max(...points.flatMap(({ ceiling_A, trip_A }) => [ceiling_A, trip_A]))
  const x = (V: number): number => left + ((width - left - right) * V) / most_V
  const y = (A: number): number => y0 + chartHeight - bottom - ((chartHeight - top - bottom) * A) / most_A
  const at =
    (limit: Limit) =>
    (point: Point): string =>
      `${x(point.V).toFixed(1)},${y(point[limit]).toFixed(1)}`
  const band = [...points.map(at('upper_A')), ...points.toReversed().map(at('lower_A'))].join(' ')
  return [
    `<g stroke="#000" fill="none">`,
    `<text x="${left}" y="${y0 + 30}" stroke="none" fill="#000" font-size="20">${escaped(`${rail}, mode ${mode}`)}</text>`,
    ...grid(most_V, most_A, x, y),
    `<polygon points="${band}" fill="#ccc" stroke="none"/>`,
    ...lines.map(({ limit, stroke }) => `<polyline points="${points.map(at(limit)).join(' ')}" ${stroke}/>`),
    ...points.map(
      (point) =>
        `<circle cx="${x(point.V).toFixed(1)}" cy="${y(point.expected_A).toFixed(1)}" r="3.5" fill="#000"><title>${escaped(told(point))}</title></circle>`,
    ),
    ...labels(points, y, x(points.at(-1)?.V ?? 0) + 10),
    '</g>',
  ].join('\n')
}

function grid(most_V: number, most_A: number, x: (V: number) => number, y: (A: number) => number): string[] {
  const parts: string[] = []
  const text = 'stroke="none" fill="#000"'
  for (let V = 0, step = roundStep(most_V, 8); V <= most_V; V += step) {
    parts.push(
      `<line x1="${x(V).toFixed(1)}" x2="${x(V).toFixed(1)}" y1="${y(0).toFixed(1)}" y2="${y(most_A).toFixed(1)}" stroke="#ddd"/>`,
      `<text x="${x(V).toFixed(1)}" y="${(y(0) + 20).toFixed(1)}" text-anchor="middle" ${text}>${formatQuantity(V, 'V')}</text>`,
    )
  }
  for (let A = 0, step = roundStep(most_A, 6); A <= most_A; A += step) {
    parts.push(
      `<line x1="${x(0).toFixed(1)}" x2="${x(most_V).toFixed(1)}" y1="${y(A).toFixed(1)}" y2="${y(A).toFixed(1)}" stroke="#ddd"/>`,
      `<text x="${(x(0) - 8).toFixed(1)}" y="${(y(A) + 5).toFixed(1)}" text-anchor="end" ${text}>${formatQuantity(Number(A.toPrecision(6)), 'A')}</text>`,
    )
  }
  return parts
}

/** Names at the right end of their lines, pushed apart where they would lie on each other. */
function labels(points: readonly Point[], y: (A: number) => number, x: number): string[] {
  const last = points.at(-1)
  if (last === undefined) return []
  const wanted = [
    ...lines.map(({ limit, name }) => ({
      name: `${limit === 'trip_A' ? tripName(points) : name} ${formatQuantity(last[limit], 'A')}`,
      y: y(last[limit]),
    })),
    { name: 'band, 9 of 10 sets', y: (y(last.upper_A) + y(last.lower_A)) / 2 },
  ].toSorted((a, b) => a.y - b.y)
  let before = -Infinity
  return wanted.map(({ name, y: at }) => {
    const placed = Math.max(at + 5, before + 17)
    before = placed
    return `<text x="${x.toFixed(1)}" y="${placed.toFixed(1)}" stroke="none" fill="#000">${escaped(name)}</text>`
  })
}

function told(point: Point): string {
  const A = (value: number): string => formatQuantity(Number(value.toPrecision(3)), 'A')
  return `step ${point.step}, ${formatQuantity(point.V, 'V')}: expected ${A(point.expected_A)} (${A(point.lower_A)} to ${A(point.upper_A)}), asks below ${A(point.ask_A)}, trip ${A(point.trip_A)}${point.by_hand ? ' by hand' : ''}, ceiling ${A(point.ceiling_A)}`
}

function escaped(text: string): string {
  return text
    .replaceAll('&', '&amp;')
    .replaceAll('<', '&lt;')
    .replaceAll('>', '&gt;')
    .replaceAll('"', '&quot;')
}
