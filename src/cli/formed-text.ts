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
    `Electrolytics: ${counted(parts)}`,
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
    ...heldAgainst(parts).map((line) => `  ${line}`),
  ]
}

/** How many of each verdict: `2 good, 1 marginal, 1 to replace`. */
export function counted(parts: readonly Pick<FormedStory, 'verdict'>[]): string {
  const order = ['good', 'marginal', 'replace', 'not judged', 'not finished'] as const
  return order
    .map((verdict) => ({ verdict, n: parts.filter((part) => part.verdict === verdict).length }))
    .flatMap(({ verdict, n }) => (n === 0 ? [] : [`${n} ${verdict === 'replace' ? 'to replace' : verdict}`]))
    .join(', ')
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

/** What they were held against, once for all that were held against the same, and what the bench tells apart there. */
export function heldAgainst(parts: readonly FormedStory[]): string[] {
  const said = new Map<string, FormedStory[]>()
  for (const part of parts) {
    const text = `${part.limit} [${part.limit_source}]`
    said.set(text, [...(said.get(text) ?? []), part])
  }
  return [...said].map(([text, held]) => {
    const told = Math.max(...held.map(({ resolves_A }) => resolves_A))
    return `${held.map(({ part }) => part).join(', ')} held against ${text}; the bench tells ${formatShort(told, 'A')} apart there.`
  })
}

const blocks = ' ▁▂▃▄▅▆▇█'
const wide = 32

/**
 * Each place the most that was told in its share of the run, and what was told last where a hold goes on in silence; a blank where
 * nothing is held.
 */
function curve({ curve: points, limit_A }: FormedStory, duration_s: number): string {
  const place = (t_s: number): number =>
    Math.min(wide - 1, Math.floor((wide * t_s) / Math.max(duration_s, 1)))
  const most: (number | null)[] = Array.from({ length: wide }, () => null)
  for (const [i, { t_s, leak_A, set_V }] of points.entries()) {
    const at = place(t_s)
    most[at] = Math.max(most[at] ?? 0, leak_A)
    const next = points[i + 1]
    if (next?.set_V !== set_V) continue
    for (let between = at + 1; between < place(next.t_s); between++) most[between] = leak_A
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
