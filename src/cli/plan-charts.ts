import { formatShort } from '../quantities/index.js'
import type { Plan } from '../plan/index.js'
import { wrapLine } from './wrap.js'

type Charts = NonNullable<Plan['charts']>

/** What a handbook's charts add to a plan and what its limits lack, as titled sections; empty ones have no lines. */
export function chartSections(plan: Plan): [title: string, lines: readonly string[]][] {
  const { charts, lacks = [] } = plan
  return [
    ['LIMITS STATED BY HAND', byHandLines(plan.by_hand)],
    ['WHAT THE CHARTS ADD', (charts?.judges ?? []).flatMap((each) => wrapped(`- ${each}`))],
    ['HANDBOOK CHARTS', charts === undefined ? [] : volts(charts)],
    ['COLD READINGS BY OHMMETER', charts === undefined ? [] : cold(charts)],
    [
      'WHAT THESE LIMITS LACK',
      lacks.flatMap(({ rail, lacks: lack, add }) => wrapped(`- ${rail}: ${lack}. To get it, add ${add}.`)),
    ],
  ]
}

/** Limits stated by hand, a line each. */
export function byHandLines(by_hand: Plan['by_hand']): string[] {
  return (by_hand ?? []).flatMap(({ text }) => wrapped(`- ${text}`))
}

function volts({ nodes, rails, meter, meter_ohm, within }: Charts): string[] {
  if (nodes.length === 0) return []
  const circuit = nodes.some(({ network_V }) => network_V !== null)
  const head = ['mode', 'node', 'chart', 'its meter', 'yours', ...(circuit ? ['circuit', 'apart'] : [])]
  const rows = nodes.map((each) => [
    each.mode,
    each.node,
    formatShort(each.chart_V, 'V'),
    each.chart_meter.replace(/^an? /, ''),
    each.corrected ? formatShort(each.reads_V, 'V') : `${formatShort(each.reads_V, 'V')} ?`,
    ...(circuit
      ? [
          each.network_V === null ? '–' : formatShort(each.network_V, 'V'),
          each.apart === null
            ? '–'
            : `${Math.round(100 * each.apart) || 0} %${each.agrees === false ? ' DISAGREE' : ''}`,
        ]
      : []),
  ])
  return [
    ...rails.flatMap(({ text }) => wrapped(`${text.charAt(0).toUpperCase()}${text.slice(1)}.`)),
    ...wrapped(
      `Volts against chassis with the rails as the chart was taken. "Yours": what ${meter} (${formatShort(meter_ohm, 'Ω')}) should read there${nodes.every(({ corrected }) => corrected) ? '' : '; with ? as the chart has it, for nothing says how far a meter loads that node'}.${circuit ? ` "Circuit": solved with the chart's meter at the node; apart by more than ${(100 * within).toFixed(0)} % and its meter's needle is DISAGREE.` : ''}`,
    ),
    ...table([head, ...rows]),
    ...nodes.filter(({ agrees }) => agrees === false).flatMap(({ text }) => wrapped(`- ${text}.`)),
  ]
}

function cold({ cold: readings }: Charts): string[] {
  if (readings.length === 0) return []
  const circuit = readings.some(({ agrees }) => agrees !== null)
  const rows = readings.map((each) => [
    `[ ] ${each.node} to ${each.to}`,
    formatShort(each.ohm, 'Ω'),
    `${formatShort(each.low_ohm, 'Ω')} to ${formatShort(each.high_ohm, 'Ω')}`,
    ...(circuit
      ? [
          `${each.network_ohm === null ? 'open' : formatShort(each.network_ohm, 'Ω')}${each.agrees === false ? ' DISAGREE' : ''}`,
        ]
      : []),
  ])
  return [
    'Set off and discharged, tubes in place, controls as for the mode. Measure before touching.',
    ...table([['from, to', 'chart', 'healthy between', ...(circuit ? ['circuit'] : [])], ...rows]),
  ]
}

function table(rows: readonly (readonly string[])[]): string[] {
  const widths: number[] = []
  for (const row of rows) row.forEach((cell, i) => (widths[i] = Math.max(widths[i] ?? 0, cell.length)))
  return rows.map((row) => `  ${row.map((cell, i) => cell.padEnd(widths[i] ?? 0)).join('  ')}`.trimEnd())
}

const wrapped = (text: string): string[] => wrapLine(text, 108)
