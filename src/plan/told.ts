import { formatShort } from '../quantities/index.js'
import { isCurrentRead } from './rails.js'
import type { Plan, RailLimits, RailPlan, Step } from './types.js'

/*
 * What a plan tells beside its steps and the reasons of their limits, for terminal and page alike: neither leaves out what the
 * other has.
 */

/** `head` names what follows, `item` is one of a list, `line` stands by itself. */
export type ToldPart =
  | { readonly is: 'head'; readonly text: string }
  | { readonly is: 'line' | 'item'; readonly text: string; readonly source?: string }
  | {
      readonly is: 'table'
      /** Each row is read and ticked on paper. */
      readonly boxes?: true
      readonly head: readonly string[]
      readonly rows: readonly (readonly string[])[]
    }
export interface ToldSection {
  readonly title: string
  readonly parts: readonly ToldPart[]
}

const head = (text: string): ToldPart => ({ is: 'head', text })
const line = (text: string): ToldPart => ({ is: 'line', text })
const item = (text: string): ToldPart => ({ is: 'item', text })
const items = (all: readonly string[] | undefined): ToldPart[] => (all ?? []).map(item)

/** What stands before the steps; sections with nothing to say are left out. */
export function toldBeforeSteps(plan: Plan): ToldSection[] {
  return said([
    ['Rails', rails(plan)],
    ['Watched inputs', inputs(plan)],
    ['Supplies', items(plan.supplies?.map(({ text }) => text))],
    ['Mercury-vapour rectifiers', mercury(plan)],
    ['Filaments on direct current', filaments(plan)],
  ])
}

/** What stands behind them. */
export function toldBehindSteps(plan: Plan): ToldSection[] {
  return said([
    ['Key down', (plan.key_down ?? []).map(({ text, source }) => ({ is: 'item', text, source }))],
    ['What a fault lets through at worst', letThrough(plan)],
    ['Learned from earlier runs of this set', items(plan.learned?.lines)],
  ])
}

/** What a handbook's charts add to a plan and what its limits lack. */
export function toldOfCharts(plan: Plan): ToldSection[] {
  const { charts, lacks = [] } = plan
  return said([
    ['What the charts add', items(charts?.judges)],
    ['Handbook charts', volts(charts)],
    ['Cold readings by ohmmeter', cold(charts)],
    [
      'What these limits lack',
      items(lacks.map(({ rail, lacks: lack, add }) => `${rail}: ${lack}. To get it, add ${add}.`)),
    ],
  ])
}

export function toldOfOff(plan: Plan): ToldSection {
  return { title: 'Going off', parts: goingOff(plan).map(line) }
}

const said = (all: readonly (readonly [title: string, parts: readonly ToldPart[]])[]): ToldSection[] =>
  all.flatMap(([title, parts]) => (parts.length === 0 ? [] : [{ title, parts }]))

/** Whether anything reads the current of the rail a step is about. */
export function isStepJudged(plan: Pick<Plan, 'rails'>, step: Pick<Step, 'rail'>): boolean {
  const rail: RailPlan | undefined = step.rail === null ? undefined : plan.rails[step.rail]
  return rail === undefined || isCurrentRead(rail)
}

/** On its way down a rail is held to the limits it came from: what was expected there is not expected below. */
export function isStepLowered(step: Pick<Step, 'do' | 'target_V'>, { at_V }: RailLimits): boolean {
  return step.do === 'lower' && at_V > step.target_V
}

/** What single faults of the heaters would show, once: at the step that brings them to their highest volts. */
export function signsShown(plan: Pick<Plan, 'rails' | 'steps'>, step: Step): readonly string[] {
  const own = (step.rail === null ? undefined : step.limits[step.rail])?.signs ?? []
  const higher = plan.steps.some(
    (other) =>
      other.do === 'raise' &&
      other.rail === step.rail &&
      (other.target_V > step.target_V || (other.target_V === step.target_V && other.index > step.index)),
  )
  return higher || !isStepJudged(plan, step) ? [] : own.map(({ text }) => text)
}

/** The smallest change of one tube that a rise shows; null where nothing reads the rail, or it was not computed. */
export function seesAt(plan: Pick<Plan, 'rails'>, step: Step): string | null {
  const sees = step.rail === null ? null : (step.limits[step.rail]?.sees ?? null)
  return step.do === 'raise' && sees !== null && isStepJudged(plan, step) ? `${sees}.` : null
}

function rails(plan: Plan): ToldPart[] {
  return Object.values(plan.rails).flatMap((rail) => [
    head(`${rail.name} (${rail.role}, ${rail.class})`),
    ...rail.can.map((each) => line(`slowglow can ${each}`)),
    ...rail.cannot.map((each) => line(`slowglow cannot ${each}`)),
  ])
}

/** Every meter on a line: where it stands, what it is for, and what its silence does. */
function inputs(plan: Plan): ToldPart[] {
  return Object.values(plan.meters).flatMap(({ name, at, against, rail, watch, ohm, measures }) => {
    if (watch === undefined) return []
    const place =
      at !== null
        ? ` at ${at} against ${against ?? '?'}, ${formatShort(ohm, 'Ω')}`
        : rail !== null
          ? ` in ${rail}`
          : measures === 'contact'
            ? ', a contact'
            : ''
    const quiet = watch.needed
      ? `quiet for ${formatShort(watch.stale_s, 's')} it makes safe`
      : 'quiet, it is said to be lost'
    return [head(`${name}${place}: ${quiet}`), ...watch.uses.map(item)]
  })
}

function mercury({ heaters }: Plan): ToldPart[] {
  return heaters.flatMap(({ mercury: watch }): ToldPart[] =>
    watch === undefined ? [] : [{ is: 'line', text: watch.text, source: watch.source }],
  )
}

function filaments({ filaments: stages = [] }: Plan): ToldPart[] {
  if (stages.length === 0) return []
  return [
    line(
      'Which end of a filament is positive is part of its bias: mark the leads, and never exchange them between runs.',
    ),
    ...stages.map(({ text }) => item(text)),
  ]
}

/** A row a step; in words where it is worst. */
function letThrough({ let_through = [], level }: Plan): ToldPart[] {
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
    `${each.rail} ${formatShort(each.at_V, 'V')}`,
    formatShort(each.supply_J, 'J'),
    formatShort(each.set_J, 'J'),
    formatShort(each.fed_J, 'J'),
    formatShort(each.total_J, 'J'),
    each.weakest === null
      ? level === 3
        ? 'no part with a rating comes to harm'
        : 'not known: the file gives no circuit'
      : `${each.weakest.part} (${each.weakest.fault}): ${formatShort(each.weakest.takes_J, 'J')} of ${formatShort(each.weakest.stands_J, 'J')}`,
  ])
  return [
    {
      is: 'table',
      head: ['step', 'at', 'supply', 'set', 'fed', 'together', 'weakest part: takes of what it stands once'],
      rows,
    },
    line(worst.text),
    ...(weakest.step === worst.step || weakest.weakest === null
      ? []
      : [line(`In step ${weakest.step}: ${weakest.weakest.text}.`)]),
  ]
}

function volts(charts: Plan['charts']): ToldPart[] {
  if (charts === undefined || charts.nodes.length === 0) return []
  const { nodes, rails: of, meter, meter_ohm, within } = charts
  const circuit = nodes.some(({ network_V }) => network_V !== null)
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
  const unsure = nodes.every(({ corrected }) => corrected)
    ? ''
    : '; with ? as the chart has it, for nothing says how far a meter loads that node'
  const solved = circuit
    ? ` "Circuit": solved with the chart's meter at the node; apart by more than ${(100 * within).toFixed(0)} % and its meter's needle is DISAGREE.`
    : ''
  return [
    ...of.map(({ text }) => line(`${text.charAt(0).toUpperCase()}${text.slice(1)}.`)),
    line(
      `Volts against chassis with the rails as the chart was taken. "Yours": what ${meter} (${formatShort(meter_ohm, 'Ω')}) should read there${unsure}.${solved}`,
    ),
    {
      is: 'table',
      head: ['mode', 'node', 'chart', 'its meter', 'yours', ...(circuit ? ['circuit', 'apart'] : [])],
      rows,
    },
    ...nodes.filter(({ agrees }) => agrees === false).map(({ text }) => item(`${text}.`)),
  ]
}

function cold(charts: Plan['charts']): ToldPart[] {
  const readings = charts?.cold ?? []
  if (readings.length === 0) return []
  const circuit = readings.some(({ agrees }) => agrees !== null)
  const rows = readings.map((each) => [
    `${each.node} to ${each.to}`,
    formatShort(each.ohm, 'Ω'),
    `${formatShort(each.low_ohm, 'Ω')} to ${formatShort(each.high_ohm, 'Ω')}`,
    ...(circuit
      ? [
          `${each.network_ohm === null ? 'open' : formatShort(each.network_ohm, 'Ω')}${each.agrees === false ? ' DISAGREE' : ''}`,
        ]
      : []),
  ])
  return [
    line('Set off and discharged, tubes in place, controls as for the mode. Measure before touching.'),
    {
      is: 'table',
      boxes: true,
      head: ['from, to', 'chart', 'healthy between', ...(circuit ? ['circuit'] : [])],
      rows,
    },
  ]
}

function goingOff(plan: Plan): string[] {
  const release = plan.off.bias_release
  const order = plan.off.channels.map((channel) => `${channel.rail} (${channel.channel})`).join(', ')
  const computed =
    release.discharge_s === null
      ? 'the time to discharge is not known'
      : `the computed discharge of ${formatShort(release.discharge_s, 's')}`
  const heaters = `Heaters go off when HT is low, or after ${formatShort(plan.off.heaters_off_after_s, 's')}.`
  const bias = Object.values(plan.rails).some(({ role }) => role === 'bias')
    ? ` Bias goes off when plates and screens are measured below ${formatShort(release.below_V, 'V')}, or after ${computed}, or ${formatShort(release.cathodes_cold_s, 's')} after heaters off; while HT does not fall it stays.`
    : ''
  const hands = Object.values(plan.rails).filter((rail) => rail.class !== 'programmed')
  const yours = [...hands].sort((a, b) => offRank(a.role) - offRank(b.role)).map(({ name }) => name)
  return [
    ...(order === '' ? [] : [`Order: ${order}. ${heaters}${bias}`]),
    ...(yours.length === 0
      ? []
      : [
          `Only you can switch off ${yours.join(', ')}: in this order, ${yours.length > 1 ? 'the next when the one before is low, ' : ''}and watch the volts fall.`,
        ]),
    `Stored at most: ${formatShort(plan.figures.stored_J, 'J')} (${plan.figures.stored_where}). Measure before touching.`,
  ]
}

const offOrder: readonly RailPlan['role'][] = ['drive', 'screen', 'other', 'HT', 'heater', 'bias']
const offRank = (role: RailPlan['role']): number => offOrder.indexOf(role)
