import { formatQuantity, type Unit } from '../quantities/index.js'
import {
  isStepJudged,
  isStepLowered,
  ohmWords,
  type Plan,
  type RailLimits,
  type Reason,
  seesAt,
  signsShown,
  type Step,
  toldBeforeSteps,
  toldBehindSteps,
  type ToldPart,
  type ToldSection,
  toldOfCharts,
  toldOfOff,
} from '../plan/index.js'
import { planPlots } from './plan-plot/text.js'

/** A plan as a person reads it at the bench: what to do first, what will happen, what stops it, what stays unproved. */
export function planPage(plan: Plan): string {
  const sources: string[] = []
  const told = (sections: readonly ToldSection[], indent = '  '): string[] =>
    sections.map(({ title, parts }) =>
      section(
        title.toUpperCase(),
        parts.flatMap((part) => partLines(part, indent, sources)),
      ),
    )
  // Sources are numbered in the order of these lines.
  const why = reasons(plan, sources)
  const before = told(toldBeforeSteps(plan))
  const behind = told(toldBehindSteps(plan))
  const parts = [
    `${plan.profile}\n${plan.equipment}, on ${plan.bench}${plan.bench_kind === 'virtual' ? ' (virtual bench)' : ''}`,
    `File level ${plan.level} of 3. About ${lasting(plan.expected_s)}; time budget ${lasting(plan.time_budget_s)}.`,
    section('COLD CHECKS: THE SET GETS NO POWER', blocked(plan)),
    section('HOOK-UP', hookup(plan)),
    ...before,
    section('STEPS', [
      ...steps(plan),
      ...(plan.left_out ?? []).flatMap(({ text }) => wrapped(text, '  ')),
      ...(plan.gas ?? []).flatMap(({ step, text }) => wrapped(`Step ${step}: ${text}.`, '  ')),
      ...planPlots(plan),
    ]),
    ...behind,
    section('WHY THESE LIMITS', why),
    section(
      'LIMITS STATED BY HAND',
      (plan.by_hand ?? []).flatMap(({ text }) => wrapped(`- ${text}`, '')),
    ),
    ...told(toldOfCharts(plan), ''),
    section(
      'SOURCES',
      sources.flatMap((each, at) => wrapped(`[${at + 1}] ${each}`, '  ')),
    ),
    section('RULES THAT STOP THE RUN', rules(plan)),
    ...told([toldOfOff(plan)]),
    section(
      'NOT PROVED BY THIS RUN',
      plan.unproved.map((each) => `- ${each}`),
    ),
    `Plan ${plan.hash}`,
  ]
  return parts.filter((part) => part !== '').join('\n\n')
}

function section(title: string, lines: readonly string[]): string {
  return lines.length === 0 ? '' : [title, ...lines].join('\n')
}

/** Readings of the cold set that keep it from power; waived ones and what was not taken stand at the end of the page. */
function blocked({ cold_checks }: Plan): string[] {
  return (cold_checks?.blocks ?? []).flatMap(({ item, text }) => wrapped(`- ${item}: ${text}`, '  '))
}

function hookup(plan: Plan): string[] {
  const boxes = (of: string): string[] =>
    plan.wires.filter((wire) => wire.of === of).flatMap(({ text }) => wrapped(`[ ] ${text}`, '  '))
  const meters = boxes('meters')
  return [
    'You confirm each line before the first volt, in this order.',
    ...plan.prove_dead.map(
      ({ rail, at }) => `  [ ] proved dead before anything is touched: ${rail} at ${at}, 5 V at most`,
    ),
    ...boxes('first'),
    ...plan.hookup.flatMap((line) => [
      `${line.rail}: from ${line.supply}`,
      ...boxes(line.rail),
      ...wrapped(`proved by ${line.proved_by}`, '  '),
      ...(line.advice ?? []).flatMap((each) => wrapped(`recommended, not asked for: ${each}`, '  ')),
    ]),
    ...(meters.length === 0 ? [] : ['Meters that stay clipped on', ...meters]),
  ]
}

function partLines(part: ToldPart, indent: string, sources: string[]): string[] {
  switch (part.is) {
    case 'head':
      return [part.text]
    case 'line':
    case 'item': {
      const source = part.source === undefined ? '' : ` [${numberOf(part.source, sources)}]`
      return wrapped(`${part.is === 'item' ? '- ' : ''}${part.text}${source}`, indent)
    }
    case 'table': {
      const box = part.boxes === true ? '[ ] ' : ''
      return table([part.head, ...part.rows.map(([first = '', ...rest]) => [box + first, ...rest])])
    }
  }
}

function table(rows: readonly (readonly string[])[]): string[] {
  const widths: number[] = []
  for (const row of rows) row.forEach((cell, i) => (widths[i] = Math.max(widths[i] ?? 0, cell.length)))
  return rows.map((row) => `  ${row.map((cell, i) => cell.padEnd(widths[i] ?? 0)).join('  ')}`.trimEnd())
}

function steps(plan: Plan): string[] {
  const head = [
    'step',
    'what',
    'to',
    'at most',
    'hold',
    'expected',
    'band',
    'ask below',
    'trip',
    'ceiling',
    'supply limit',
  ]
  const rows = plan.steps.map((step) => row(plan, step))
  const widths = head.map((title, at) =>
    Math.max(title.length, ...rows.map((cells) => (cells[at] ?? '').length)),
  )
  const lines: string[] = []
  let stage = ''
  const line = (cells: readonly string[]): string =>
    cells
      .map((cell, at) => cell.padEnd(widths[at] ?? 0))
      .join('  ')
      .trimEnd()
  lines.push(line(head))
  for (const [at, step] of plan.steps.entries()) {
    if (step.stage !== stage) lines.push(`-- ${step.stage} (mode ${step.mode})${onlyIf(step)}`)
    stage = step.stage
    lines.push(line(rows[at] ?? []))
    if (step.ask !== null) lines.push(...wrapped(step.ask.text, '      '))
    const sees = seesAt(plan, step)
    if (sees !== null) lines.push(...wrapped(sees, '      '))
    const signs = signsShown(plan, step)
    if (signs.length > 0) lines.push('      This would show against what is expected:')
    lines.push(...signs.flatMap((text) => wrapped(`- ${text}`, '        ')))
  }
  return lines
}

function onlyIf({ only_if }: Step): string {
  return only_if === undefined ? '' : `, only if the run finds ${only_if.over_rating} over its rating`
}

function row(plan: Plan, step: Step): string[] {
  const limits = ownLimits(step)
  const number = step.index.toString()
  if (step.do === 'ask') return [number, 'you are asked']
  if (step.hookup?.method === 'ohmmeter') {
    return [number, `${step.hookup.rail} by ohmmeter`, ohmWords(step.hookup)]
  }
  const what = `${step.lines_quiet_since === undefined ? '' : 'line errors counted, '}${step.hands_clear ? 'hands clear, ' : ''}${step.do === 'hook-up check' ? 'check' : step.do} ${step.rail ?? 'all'}`
  const moves = step.do === 'raise' || step.do === 'lower' || step.do === 'hook-up check'
  return [
    number,
    what,
    moves ? short(step.target_V, 'V') : '',
    step.slew_V_per_s > 0 ? short(step.slew_V_per_s, 'V/s') : '',
    step.hold_s > 0 ? short(step.hold_s, 's') : '',
    ...(limits === null
      ? []
      : !isStepJudged(plan, step)
        ? ['current not judged']
        : [
            ...(isStepLowered(step, limits)
              ? ['', '', '']
              : [
                  limits.manual?.alone === true ? 'not known' : short(limits.expected_A, 'A'),
                  `${short(limits.lower_A, 'A')} to ${short(limits.upper_A, 'A')}`,
                  short(limits.ask_A, 'A'),
                ]),
            `${short(limits.trip_A, 'A')}${limits.manual?.in_force === true ? ' by hand' : ''}`,
            short(limits.ceiling_A, 'A'),
            short(limits.supply_limit_A, 'A'),
          ]),
  ]
}

/** What is worth saying of a rail whose current nothing reads. */
const withoutAmmeter: readonly Reason['limit'][] = ['expected', 'supply limit', 'slew', 'hold']

/** Limits of the rail a step is about; null where it is about none. */
export function ownLimits(step: Step): RailLimits | null {
  return step.rail === null ? null : (step.limits[step.rail] ?? null)
}

/** Place of a source in the list, from 1; a new one goes to its end. */
function numberOf(source: string, sources: string[]): number {
  if (!sources.includes(source)) sources.push(source)
  return sources.indexOf(source) + 1
}

function reasons(plan: Plan, sources: string[]): string[] {
  const numbered = (source: string): number => numberOf(source, sources)
  return plan.steps.flatMap((step) => {
    const limits = ownLimits(step)
    if (step.do !== 'raise' || limits === null) return []
    const judged = isStepJudged(plan, step)
    const said = limits.because.filter(({ limit }) => judged || withoutAmmeter.includes(limit))
    return [
      `step ${step.index}, ${step.rail ?? ''} at ${short(step.target_V, 'V')}${judged ? '' : ': current not judged, nothing reads it'}`,
      ...said.flatMap((each) => wrapped(`${each.text} [${numbered(each.source)}]`, '  ')),
    ]
  })
}

function rules(plan: Plan): string[] {
  return plan.rules.flatMap((rule) => {
    const figure = rule.trip ?? rule.warn
    const lasting = rule.for_s > 0 ? `, for ${short(rule.for_s, 's')}` : ''
    const value =
      figure === null || rule.unit === 'event' || rule.unit === 'state'
        ? ''
        : ` (${figure} ${rule.unit}${lasting})`
    return wrapped(`${rule.code}${value}: ${rule.text}`, '  ')
  })
}

/** Lines of at most 110 characters, each indented. */
function wrapped(text: string, indent: string): string[] {
  const lines: string[] = []
  let line = ''
  for (const word of text.split(' ')) {
    if (line !== '' && line.length + word.length + 1 > 108 - indent.length) {
      lines.push(line)
      line = `  ${word}`
    } else line = line === '' ? word : `${line} ${word}`
  }
  return [...lines, line].map((each) => indent + each)
}

/** A length of time to plan an evening by: whole minutes, or hours to a tenth. */
function lasting(value_s: number): string {
  return value_s < 7200 ? `${Math.ceil(value_s / 60)} min` : `${(value_s / 3600).toFixed(1)} h`
}

function short(value: number, unit: Unit): string {
  return formatQuantity(Number(value.toPrecision(3)), unit)
}
