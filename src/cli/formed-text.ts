import { formatShort } from '../quantities/index.js'
import type { FormedStory, Story } from '../record/index.js'
import { columns } from './columns.js'

/** Lifted electrolytics, one line each: the verdict and what it rests on, and the leakage over the run. */
export function formedLines(story: Pick<Story, 'electrolytics' | 'kind' | 'duration_s'>): string[] {
  const { electrolytics: parts, duration_s } = story
  if (parts.length === 0)
    return story.kind === 'reform'
      ? [
          'Electrolytics',
          '  formed in the circuit, leakage not judged: other paths draw through the same rail.',
        ]
      : []
  const rows = parts.map((part) => [
    `  ${part.part}`,
    part.verdict.toUpperCase(),
    ...figures(part),
    curve(part, duration_s),
  ])
  return [
    'Electrolytics',
    ...columns([
      [
        '  part',
        'verdict',
        'leaks',
        'at',
        'limit',
        'capacitance',
        `leakage over ${hours(duration_s)}, full block: twice the limit`,
      ],
      ...rows,
    ]),
    ...parts.flatMap((part) => [
      ...(part.verdict === 'good'
        ? []
        : [
            `  ${part.part}: ${part.verdict === 'not finished' ? `not finished; held to its end at ${formatShort(part.formed_V, 'V')}. Last: ` : ''}${part.why}.`,
          ]),
    ]),
    ...limits(parts),
  ]
}

function figures({ leak_A, volts, limit_A, F, F_error, marked_F }: FormedStory): string[] {
  return [
    leak_A === null ? 'not read' : formatShort(leak_A, 'A'),
    volts === null ? '' : formatShort(volts, 'V'),
    formatShort(limit_A, 'A'),
    F === null
      ? 'not measured'
      : `${formatShort(F, 'F')} ± ${formatShort(F_error ?? 0, 'F')} (marked ${formatShort(marked_F, 'F')})`,
  ]
}

/** What they were held against, once for all that were held against the same. */
function limits(parts: readonly FormedStory[]): string[] {
  const said = new Map<string, string[]>()
  for (const { part, limit, limit_source, resolves_A } of parts) {
    const text = `${limit} [${limit_source}]; told apart: ${formatShort(resolves_A, 'A')}`
    said.set(text, [...(said.get(text) ?? []), part])
  }
  return [...said].map(([text, names]) => `  ${names.join(', ')} held against ${text}`)
}

const blocks = ' ▁▂▃▄▅▆▇█'
const wide = 32

/** Each place the most that was told in its share of the run; a blank where nothing was. */
function curve({ curve: points, limit_A }: FormedStory, duration_s: number): string {
  const most: (number | null)[] = Array.from({ length: wide }, () => null)
  for (const { t_s, leak_A } of points) {
    const at = Math.min(wide - 1, Math.floor((wide * t_s) / Math.max(duration_s, 1)))
    most[at] = Math.max(most[at] ?? 0, leak_A)
  }
  return most
    .map((leak_A) =>
      leak_A === null
        ? ' '
        : (blocks[1 + Math.min(7, Math.floor((4 * Math.max(0, leak_A)) / limit_A))] ?? ' '),
    )
    .join('')
}

const hours = (s: number): string => (s < 5400 ? `${Math.round(s / 60)} min` : `${(s / 3600).toFixed(1)} h`)
