import { formatShort } from '../../quantities/index.js'
import type { FormedStory, Story } from '../../record/index.js'
import { escaped, paragraph, table } from './html.js'

/** The night at a glance: each part, its verdict in words, and its leakage over the run. */
export function formedParts(story: Story): string[] {
  const { electrolytics: parts, duration_s } = story
  if (parts.length === 0)
    return story.kind === 'reform'
      ? [paragraph('Formed in the circuit, leakage not judged: other paths draw through the same rail.')]
      : []
  return [
    table(
      ['part', 'verdict', 'leakage', 'at', 'limit', 'capacitance', 'why'],
      parts.map((part) => [
        part.joined === 'alone' ? part.part : `${part.part} (${part.parts.join(', ')} in ${part.joined})`,
        part.verdict,
        part.leak_A === null ? 'not read' : formatShort(part.leak_A, 'A'),
        part.volts === null ? '' : formatShort(part.volts, 'V'),
        `${part.limit} [${part.limit_source}]; told apart: ${formatShort(part.resolves_A, 'A')}`,
        part.F === null
          ? 'not measured'
          : `${formatShort(part.F, 'F')} ± ${formatShort(part.F_error ?? 0, 'F')}, marked ${formatShort(part.marked_F, 'F')}`,
        part.why,
      ]),
    ),
    ...parts.map((part) => chart(part, duration_s)),
  ]
}

const wide = 1000
const high = 170
const [left, right, top, bottom] = [90, 20, 24, 26]

/** Leakage as it was told, and the volts on the feed resistor in grey; dashed: the limit. */
function chart({ part, verdict, curve, limit_A }: FormedStory, duration_s: number): string {
  if (curve.length === 0) return ''
  const most_A = 1.1 * Math.max(limit_A, ...curve.map(({ leak_A }) => leak_A))
  const most_V = Math.max(1, ...curve.map(({ set_V }) => set_V))
  const x = (t_s: number): string =>
    (left + ((wide - left - right) * t_s) / Math.max(1, duration_s)).toFixed(1)
  const y = (share: number): string => (top + (high - top - bottom) * (1 - Math.max(0, share))).toFixed(1)
  const volts = curve.map(({ t_s, set_V }) => `${x(t_s)},${y(set_V / most_V)}`).join(' ')
  const leaks = curve.map(({ t_s, leak_A }) => `${x(t_s)},${y(leak_A / most_A)}`).join(' ')
  const at = y(limit_A / most_A)
  const title = `${part}: ${verdict}. Leakage over ${(duration_s / 3600).toFixed(1)} h`
  return [
    `<svg viewBox="0 0 ${wide} ${high}" role="img" aria-label="${escaped(title)}"><title>${escaped(title)}</title>`,
    `<text x="${left}" y="15" font-size="14">${escaped(title)}; grey: set-point to ${formatShort(most_V, 'V')}; dashed: limit</text>`,
    `<g fill="none"><polyline points="${volts}" stroke="#999" stroke-width="3"/>`,
    `<line x1="${left}" x2="${wide - right}" y1="${at}" y2="${at}" stroke="#000" stroke-dasharray="7 4"/>`,
    `<polyline points="${leaks}" stroke="#000" stroke-width="1.5"/></g>`,
    `<g font-size="13" text-anchor="end"><text x="${left - 6}" y="${top + 10}">${formatShort(most_A, 'A')}</text><text x="${left - 6}" y="${high - bottom}">0</text></g>`,
    '</svg>',
  ].join('')
}
