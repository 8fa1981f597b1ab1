import { formatQuantity, type Unit } from '../quantities/index.js'
import { isCurrentRead, ohmWords, type Plan, type RailLimits, type Reason, type Step } from '../plan/index.js'
import { chartSections } from './plan-charts.js'
import { planPlots } from './plan-plot/text.js'

/** A plan as a person reads it at the bench: what to do first, what will happen, what stops it, what stays unproved. */
export function planPage(plan: Plan): string {
  const sources: string[] = []
  const why = reasons(plan, sources)
  const parts = [
    `${plan.profile}\n${plan.equipment}, on ${plan.bench}${plan.bench_kind === 'virtual' ? ' (virtual bench)' : ''}`,
    `File level ${plan.level} of 3. About ${lasting(plan.expected_s)}; time budget ${lasting(plan.time_budget_s)}.`,
    section('COLD CHECKS: THE SET GETS NO POWER', blocked(plan)),
    section('HOOK-UP', hookup(plan)),
    section('RAILS', rails(plan)),
    section('WATCHED INPUTS', inputs(plan)),
    section(
      'SUPPLIES',
      (plan.supplies ?? []).flatMap(({ text }) => wrapped(`- ${text}`, '  ')),
    ),
    section('MERCURY-VAPOUR RECTIFIERS', mercury(plan, sources)),
    section('FILAMENTS ON DIRECT CURRENT', filaments(plan)),
    section('STEPS', [
      ...steps(plan),
      ...(plan.left_out ?? []).flatMap(({ text }) => wrapped(text, '  ')),
      ...(plan.gas ?? []).flatMap(({ step, text }) => wrapped(`Step ${step}: ${text}.`, '  ')),
      ...planPlots(plan),
    ]),
    section(
      'KEY DOWN',
      (plan.key_down ?? []).flatMap(({ text, source }) =>
        wrapped(`- ${text} [${numberOf(source, sources)}]`, '  '),
      ),
    ),
    section('WHAT A FAULT LETS THROUGH AT WORST', letThroughLines(plan)),
    section(
      'LEARNED FROM EARLIER RUNS OF THIS SET',
      (plan.learned?.lines ?? []).flatMap((line) => wrapped(`- ${line}`, '  ')),
    ),
    section('WHY THESE LIMITS', why),
    ...chartSections(plan).map(([title, lines]) => section(title, lines)),
    section(
      'SOURCES',
      sources.flatMap((each, at) => wrapped(`[${at + 1}] ${each}`, '  ')),
    ),
    section('RULES THAT STOP THE RUN', rules(plan)),
    section('GOING OFF', off(plan)),
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

/** Every meter on a line: where it stands, what it is for, and what its silence does. */
function inputs(plan: Plan): string[] {
  return Object.values(plan.meters).flatMap(({ name, at, against, rail, watch, ohm, measures }) => {
    if (watch === undefined) return []
    const place =
      at !== null
        ? ` at ${at} against ${against ?? '?'}, ${formatQuantity(ohm, 'Ω')}`
        : rail !== null
          ? ` in ${rail}`
          : measures === 'contact'
            ? ', a contact'
            : ''
    const quiet = watch.needed
      ? `quiet for ${formatQuantity(watch.stale_s, 's')} it makes safe`
      : 'quiet, it is said to be lost'
    return [`${name}${place}: ${quiet}`, ...watch.uses.flatMap((use) => wrapped(`- ${use}`, '  '))]
  })
}

function rails(plan: Plan): string[] {
  return Object.values(plan.rails).flatMap((rail) => [
    `${rail.name} (${rail.role}, ${rail.class})`,
    ...rail.can.flatMap((each) => wrapped(`slowglow can ${each}`, '  ')),
    ...rail.cannot.flatMap((each) => wrapped(`slowglow cannot ${each}`, '  ')),
  ])
}

function filaments(plan: Plan): string[] {
  const { filaments: stages = [] } = plan
  if (stages.length === 0) return []
  return [
    ...wrapped(
      'Which end of a filament is positive is part of its bias: mark the leads, and never exchange them between runs.',
      '  ',
    ),
    ...stages.flatMap(({ text }) => wrapped(`- ${text}`, '  ')),
  ]
}

function mercury(plan: Plan, sources: string[]): string[] {
  return plan.heaters.flatMap(({ mercury }) =>
    mercury === undefined ? [] : wrapped(`${mercury.text} [${numberOf(mercury.source, sources)}]`, '  '),
  )
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
    const sees = step.rail === null ? null : (step.limits[step.rail]?.sees ?? null)
    if (step.do === 'raise' && sees !== null && isJudged(plan, step))
      lines.push(...wrapped(`${sees}.`, '      '))
    lines.push(...signs(plan, step))
  }
  return lines
}

function onlyIf({ only_if }: Step): string {
  return only_if === undefined ? '' : `, only if the run finds ${only_if.over_rating} over its rating`
}

/** What single faults of the heaters would show, once: at the step that brings them to their highest volts. */
function signs(plan: Plan, step: Step): string[] {
  const own = ownLimits(step)?.signs ?? []
  const higher = plan.steps.some(
    (other) =>
      other.do === 'raise' &&
      other.rail === step.rail &&
      (other.target_V > step.target_V || (other.target_V === step.target_V && other.index > step.index)),
  )
  if (own.length === 0 || higher || !isJudged(plan, step)) return []
  return [
    '      This would show against what is expected:',
    ...own.flatMap(({ text }) => wrapped(`- ${text}`, '        ')),
  ]
}

/** A row a step; in words where it is worst. */
function letThroughLines({ let_through = [], level }: Plan): string[] {
  const worst = let_through.reduce<(typeof let_through)[number] | null>(
    (most, each) => (most === null || each.total_J > most.total_J ? each : most),
    null,
  )
  if (worst === null) return []
  const weakest = let_through.reduce(
    (most, each) => ((each.weakest?.of_stands ?? 0) > (most.weakest?.of_stands ?? 0) ? each : most),
    worst,
  )
  const rows = let_through.map((each) => [
    each.step.toString(),
    `${each.rail} ${short(each.at_V, 'V')}`,
    short(each.supply_J, 'J'),
    short(each.set_J, 'J'),
    short(each.fed_J, 'J'),
    short(each.total_J, 'J'),
    each.weakest === null
      ? level === 3
        ? 'no part with a rating comes to harm'
        : 'not known: the file gives no circuit'
      : `${each.weakest.part} (${each.weakest.fault}): ${short(each.weakest.takes_J, 'J')} of ${short(each.weakest.stands_J, 'J')}`,
  ])
  const head = [
    'step',
    'at',
    'supply',
    'set',
    'fed',
    'together',
    'weakest part: takes of what it stands once',
  ]
  const widths = head.map((title, at) =>
    Math.max(title.length, ...rows.map((cells) => cells[at]?.length ?? 0)),
  )
  return [
    ...[head, ...rows].map((cells) =>
      cells
        .map((cell, at) => cell.padEnd(widths[at] ?? 0))
        .join('  ')
        .trimEnd(),
    ),
    ...wrapped(worst.text, '  '),
    ...(weakest.step === worst.step || weakest.weakest === null
      ? []
      : wrapped(`In step ${weakest.step}: ${weakest.weakest.text}.`, '  ')),
  ]
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
      : !isJudged(plan, step)
        ? ['current not judged']
        : [
            ...(isLowered(step, limits)
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

/** On its way down a rail is held to the limits it came from: what was expected there is not expected below. */
function isLowered(step: Step, { at_V }: RailLimits): boolean {
  return step.do === 'lower' && at_V > step.target_V
}

/** Whether anything reads the current of the rail a step is about. */
function isJudged(plan: Plan, step: Step): boolean {
  const rail = step.rail === null ? undefined : plan.rails[step.rail]
  return rail === undefined || isCurrentRead(rail)
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
    const judged = isJudged(plan, step)
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

function off(plan: Plan): string[] {
  const release = plan.off.bias_release
  const order = plan.off.channels.map((channel) => `${channel.rail} (${channel.channel})`).join(', ')
  const computed =
    release.discharge_s === null
      ? 'the time to discharge is not known'
      : `the computed discharge of ${short(release.discharge_s, 's')}`
  const heaters = `Heaters go off when HT is low, or after ${short(plan.off.heaters_off_after_s, 's')}.`
  const bias = Object.values(plan.rails).some(({ role }) => role === 'bias')
    ? ` Bias goes off when plates and screens are measured below ${short(release.below_V, 'V')}, or after ${computed}, or ${short(release.cathodes_cold_s, 's')} after heaters off; while HT does not fall it stays.`
    : ''
  const hands = Object.values(plan.rails).filter((rail) => rail.class !== 'programmed')
  const yours = [...hands].sort((a, b) => offRank(a.role) - offRank(b.role)).map(({ name }) => name)
  return [
    ...(order === '' ? [] : wrapped(`Order: ${order}. ${heaters}${bias}`, '  ')),
    ...(yours.length === 0
      ? []
      : wrapped(
          `Only you can switch off ${yours.join(', ')}: in this order, ${yours.length > 1 ? 'the next when the one before is low, ' : ''}and watch the volts fall.`,
          '  ',
        )),
    ...wrapped(
      `Stored at most: ${short(plan.figures.stored_J, 'J')} (${plan.figures.stored_where}). Measure before touching.`,
      '  ',
    ),
  ]
}

type Role = Plan['rails'][string]['role']
const offOrder: readonly Role[] = ['drive', 'screen', 'other', 'HT', 'heater', 'bias']
const offRank = (role: Role): number => offOrder.indexOf(role)

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
