import { formatQuantity, formatShort } from '../quantities/index.js'
import type { ComparedRail, ComparedStep, Comparison, Series, SetTrend, Trend } from '../record/index.js'
import { columns } from './columns.js'
import { stageWord } from './stage-word.js'

export function comparisonText({ a, b, differs, steps }: Comparison): string {
  const all = steps.flatMap(({ rails }) => rails)
  const read = new Set(all.filter(({ a_A, b_A }) => a_A !== null || b_A !== null).map(({ rail }) => rail))
  const unread = [...new Set(all.map(({ rail }) => rail))].filter((rail) => !read.has(rail))
  // A rail that only stands by says the same in every step: it is told where it does not, and one that nobody read is told once.
  const rows = steps.flatMap((step) =>
    step.rails
      .filter(
        ({ rail, verdict }) =>
          rail === step.rail || (read.has(rail) && (step.rail === null || verdict !== 'same')),
      )
      .map((rail, i) => [...(i === 0 ? placeCells(step) : ['', '', '']), ...railCells(rail, step)]),
  )
  const stoodBy =
    all.filter(({ rail }) => read.has(rail)).length -
    rows.filter(([, , , rail = '']) => read.has(rail)).length
  const apart = all.filter(({ verdict }) => verdict === 'not at its volts in both')
  const compared = all.filter(({ change_A }) => change_A !== null)
  const changed = all.filter(({ verdict }) => verdict.startsWith('draws'))
  return [
    `First   ${a.run}: ${a.outcome}`,
    `Second  ${b.run}: ${b.outcome}`,
    ...differs.map((text) => `  ${text}`),
    ...[...a.notes, ...b.notes].map(
      ({ written, by, text }) => `  Note ${written.slice(0, 10)}, ${by}: ${text}`,
    ),
    '',
    ...columns([['steps', 'stage, mode', 'step', 'rail', 'for', 'first', 'second', 'verdict'], ...rows]).map(
      (row) => `  ${row}`,
    ),
    ...(stoodBy === 0
      ? []
      : [`  ${stoodBy} more, of rails that only stood by, were the same; all are in --json.`]),
    ...unread.map((rail) => `  ${rail}: its current was measured in no step of either.`),
    '',
    ...(apart.length === 0
      ? []
      : [
          `${apart.length} not compared: the volts of the step were not reached in both, so its current says nothing.`,
        ]),
    compared.length === 0
      ? 'Nothing was measured at the same volts in both, so nothing can be compared.'
      : changed.length === 0
        ? `None of ${compared.length} compared currents changed by more than the instruments may be wrong by and their volts explain.`
        : `${changed.length} of ${compared.length} compared currents changed by more than the instruments may be wrong by and their volts explain.`,
  ].join('\n')
}

const placeCells = ({ a_step, b_step, verdict, ...step }: ComparedStep): string[] => [
  a_step === b_step ? String(a_step) : `${a_step ?? '–'}/${b_step ?? '–'}`,
  stageWord(step),
  verdict,
]

function railCells(
  { rail, at_V, a_A, b_A, a_V, b_V, change_A, error_A, verdict }: ComparedRail,
  { a_step, b_step }: ComparedStep,
): string[] {
  const measured = (value: number | null, volts: number | null, step: number | null): string =>
    step === null
      ? 'no such step'
      : value === null
        ? 'not measured'
        : `${formatShort(value, 'A')} at ${volts === null ? 'volts not read' : formatShort(volts, 'V')}`
  const told =
    change_A === null || error_A === null
      ? verdict
      : verdict === 'same'
        ? `same within ±${formatShort(error_A, 'A')}`
        : `${verdict}: ${signed(change_A)}${percent(change_A, a_A)} (±${formatShort(error_A, 'A')})`
  return [rail, formatShort(at_V, 'V'), measured(a_A, a_V, a_step), measured(b_A, b_V, b_step), told]
}

const signed = (value: number): string => `${value > 0 ? '+' : '−'}${formatShort(Math.abs(value), 'A')}`
function percent(change: number, of: number | null): string {
  if (of === null || of === 0) return ''
  const share = (100 * change) / of
  return `, ${share > 0 ? '+' : '−'}${Math.abs(share).toFixed(Math.abs(share) < 10 ? 1 : 0)} %`
}

/** A few of the first and the last points of each series, so that a line fits a terminal; all are in the JSON. */
const shownPoints = 6

export function trendText({ equipment, runs, series, unread, capacitors, life, no_book }: SetTrend): string {
  if (runs.length === 0) return [`No runs of ${equipment} here yet.`, ...unread.map(unreadLine)].join('\n')
  const letters = new Map(runs.map(({ run }, i) => [run, String(i + 1)]))
  const kept = runs.length <= shownPoints ? runs : [...runs.slice(0, 2), ...runs.slice(2 - shownPoints)]
  const rows = series.map((each) =>
    seriesCells(
      each,
      kept.map(({ run }) => run),
    ),
  )
  return [
    `${equipment}: ${runs.length} runs`,
    ...life.map(({ at, what, by, text, run }) =>
      what === 'run'
        ? `  ${letters.get(run ?? '') ?? ''}  ${at?.slice(0, 16).replace('T', ' ') ?? 'time not known'}  ${text}  ${run ?? ''}`
        : `       ${what} ${at?.slice(0, 10) ?? ''}, ${by ?? ''}${run === null ? '' : `, to ${letters.get(run) ?? run}`}: ${text}`,
    ),
    ...(no_book === null ? [] : [`  ${no_book}`]),
    '',
    ...(kept.length < runs.length
      ? [`Runs ${kept.map(({ run }) => letters.get(run) ?? '').join(', ')} of ${runs.length}; all in --json.`]
      : []),
    ...columns([
      ['stage, mode', 'rail', 'at', ...kept.map(({ run }) => letters.get(run) ?? ''), 'first to last'],
      ...rows,
    ]).map((row) => `  ${row}`),
    ...capacitorLines(capacitors, letters),
    ...unread.map(unreadLine),
  ].join('\n')
}

/** A reform that tells nothing of a capacitor says so: an empty place would be taken for a good one. */
function capacitorLines(found: Trend['capacitors'], letters: ReadonlyMap<string, string>): string[] {
  const judged = found.filter(({ leakage }) => leakage !== 'not judged')
  if (judged.length > 0) return judgedLines(judged, letters)
  const reforms = found.filter(({ reformed }) => reformed)
  const head = 'Leakage and capacitance of each capacitor: not judged'
  if (reforms.length === 0) return ['', `${head}; none of these runs was a reform.`]
  return ['', head, ...reforms.map(({ run, why }) => `  ${letters.get(run) ?? ''}  ${why}`)]
}

function judgedLines(runs: Trend['capacitors'], letters: ReadonlyMap<string, string>): string[] {
  const names = [
    ...new Set(runs.flatMap(({ leakage }) => (leakage === 'not judged' ? [] : Object.keys(leakage)))),
  ]
  const cell = ({ leakage, capacitance }: Trend['capacitors'][number], part: string): string => {
    const found = leakage === 'not judged' ? undefined : leakage[part]
    const F = capacitance === 'not judged' ? null : (capacitance[part] ?? null)
    if (found === undefined) return ''
    const leak = found.amps === null ? 'not read' : formatShort(found.amps, 'A')
    return `${found.verdict}: ${leak} at ${formatShort(found.volts ?? 0, 'V')}, ${F === null ? 'not measured' : formatShort(F, 'F')}`
  }
  return [
    '',
    'Leakage and capacitance of each lifted electrolytic',
    ...columns([
      ['  part', ...runs.map(({ run }) => letters.get(run) ?? '')],
      ...names.map((name) => [`  ${name}`, ...runs.map((run) => cell(run, name))]),
    ]),
  ]
}

function seriesCells({ rail, at_V, points, change, ...stage }: Series, runs: readonly string[]): string[] {
  const cells = runs.map((run) => {
    const point = points.findLast((each) => each.run === run)
    if (point === undefined) return ''
    return point.amps === null ? 'not measured' : formatShort(point.amps, 'A')
  })
  const told =
    change === null
      ? ''
      : change.beyond_error
        ? `${signed(change.amps)} (±${formatQuantity(Number(change.error_A.toPrecision(2)), 'A')})`
        : `same within ±${formatShort(change.error_A, 'A')}`
  return [stageWord(stage), rail, formatShort(at_V, 'V'), ...cells, told]
}

const unreadLine = ({ file, trouble }: Trend['unread'][number]): string => `Not counted: ${file}: ${trouble}`
