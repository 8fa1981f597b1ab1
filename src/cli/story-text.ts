import { healthInWords } from '../exchange/index.js'
import { formatQuantity, formatShort } from '../quantities/index.js'
import type { RailStory, Story } from '../record/index.js'
import { causesLine } from './causes-line.js'
import { columns } from './columns.js'
import { formedLines } from './formed-text.js'
import { elapsed } from './replay-text.js'
import { stageName, stageWord } from './stage-word.js'
import {
  besideLines,
  chargeLines,
  chargeOf,
  interruptedLines,
  measuredLine,
  type OffSaid,
  openHandLines,
  railLines,
  reasonFigures,
} from '../session/index.js'
import { inputValue } from '../sequencer/index.js'

/**
 * A run as a page of text for a terminal: what was done, what was seen, why it ended.
 *
 * @param under_way - its supervisor, where that lives
 * @param run - as a person gives it to a command
 */
export function storyText(story: Story, under_way: number | null = null, run = story.run): string {
  const alarm = sealAlarm(story, under_way !== null)
  const parts = [
    alarm === null ? [] : [alarm],
    heading(story),
    end(story, under_way),
    formedLines(story),
    off(story),
    steps(story),
    inputs(story),
    lines(story),
    rest(story, run, alarm === null),
  ]
  return parts
    .map((part) => part.join('\n'))
    .filter((part) => part !== '')
    .join('\n\n')
}

const commands = { run: 'run', rehearse: 'rehearsal', qualify: 'qualification' } as const

function heading(story: Story): string[] {
  const { known } = story
  if (known === null)
    return [`Run file ${story.file}`, 'The recorder was lost before it was told which set and which plan.']
  return [
    `Run ${story.run}`,
    `${story.equipment ?? ''}, ${story.profile ?? ''}: ${commands[known.command]} on ${story.bench ?? ''} (${story.bench_kind ?? ''} bench), set known to level ${story.level ?? '?'}`,
    `Started ${known.started.slice(0, 19).replace('T', ' ')} UTC, lasted ${elapsed(story.duration_s * 1e6)}, slowglow ${known.version}${known.seed === null ? '' : `, seed ${known.seed}`}`,
    ...(known.faults.length === 0 ? [] : [`Faults put in: ${known.faults.join(', ')}`]),
    ...Object.entries(known.identities).map(([supply, identity]) => `${supply}: ${identity}`),
  ]
}

function end(story: Story, under_way: number | null): string[] {
  if (story.outcome === 'interrupted') return [...interruptedLines(story, under_way), ...standing(story)]
  const { reason } = story
  return [
    ...openHandLines(saidOf(story)),
    reason === null ? `${completed(story)}.` : `${capital(story.outcome)}${where(story)}: ${reason.text}`,
    ...(reason === null ? [] : reasonLines(reason)),
    ...standing(story),
  ]
}

function completed(story: Story): string {
  if (story.outcome !== 'completed') return capital(story.outcome)
  return story.warnings.length > 0 ? 'Completed, with warnings' : 'Completed, within limits'
}

function where({ reason, steps }: Story): string {
  if (reason?.step === null || reason?.step === undefined) return ''
  const stage = steps.find(({ index }) => index === reason.step)?.stage
  return ` in step ${reason.step}${stage === undefined ? '' : ` (${stageName(stage)})`}`
}

function reasonLines(reason: NonNullable<Story['reason']>): string[] {
  const { rule } = reason
  const held = rule === null || rule.for_s === 0 ? '' : `, for ${formatQuantity(rule.for_s, 's')}`
  const rules =
    rule === null ? [] : [`  rule ${rule.code}: ${rule.text.replace(/\.$/, '')}${held} [${rule.source}]`]
  const { because, at_V, step, rail } = reason
  const planned =
    because.length === 0
      ? []
      : [
          `  as planned for step ${step ?? '?'}, ${rail ?? ''} at ${at_V === null ? '?' : formatShort(at_V, 'V')}:`,
          ...because.map(({ text, source }) => `    ${text} [${sourceShort(source)}]`),
        ]
  return [`  ${reasonFigures(reason)}`, ...rules, ...planned]
}

/** A figure that rests on many sources names them in the plan; here they would bury it. */
function sourceShort(source: string): string {
  return source.length <= 120 ? source : `${source.split('; ').length} sources, in the plan: show --json`
}

function standing(story: Story): string[] {
  return [
    ...(story.damage.length === 0
      ? []
      : [
          '  DAMAGED: parts of this file cannot be read. What is shown was told without them; nothing stands in for them.',
          ...story.damage.map((text) => `    ${text}`),
          '  If there is another copy, use that one.',
        ]),
    ...besideLines(story).map((text) => `  ${text}`),
  ]
}

function off(story: Story): string[] {
  if (story.outcome === 'interrupted') return []
  const charge = chargeLines(story.stored_charge)
  const said = saidOf(story)
  return [
    measuredLine(said),
    ...railLines(said),
    ...(story.bias_released_by === null ? [] : [`  Bias released by: ${story.bias_released_by}`]),
    `${chargeOf(story.known?.command)} (measure before touching)`,
    ...(charge.length === 0 ? ['  not measured: take it as charged'] : charge),
  ]
}

function saidOf(story: Story): OffSaid {
  return { ...story, outputs_off: story.outputs_off === 'confirmed' ? 'confirmed' : 'not confirmed' }
}

/** Of every step the rail that it moved, and whatever else was not in its band; what nobody read all through is told once. */
function steps(story: Story): string[] {
  if (story.steps.length === 0) return []
  const all = story.steps.flatMap(({ rails }) => rails)
  const read = new Set(all.filter(({ amps }) => amps !== null).map(({ rail }) => rail))
  const unread = [...new Set(all.map(({ rail }) => rail))].filter((rail) => !read.has(rail))
  const rows = story.steps.flatMap((step, at): string[][] => {
    if (step.began_s === null) return []
    const first = [String(step.index), stageWord(step)]
    const told = step.rails.filter(
      ({ rail, verdict }) =>
        rail === step.rail || (read.has(rail) && (step.rail === null || verdict !== 'in band')),
    )
    if (told.length > 0) return told.map((rail, i) => [...(i === 0 ? first : ['', '']), ...railCells(rail)])
    return [[...first, step.rail ?? '', '', '', '', stepWord(story, at)]]
  })
  const head = ['step', 'stage, mode', 'rail', 'volts', 'measured', 'expected (band)', 'verdict']
  const notBegun = story.steps.filter(({ began_s }) => began_s === null).length
  return [
    `Steps: ${story.steps_done} of ${story.steps.length} done`,
    ...columns([head, ...rows]).map((row) => `  ${row}`),
    ...unread.map((rail) => `  ${rail}: its current was measured in no step`),
    ...(notBegun === 0 ? [] : [`  ${notBegun} not begun`]),
  ]
}

/**
 * How a step went that was begun and no current speaks for. One in which the run ended is not finished: a check of the hook-up is
 * proved, and a question answered, where the run went on.
 */
export function stepWord({ steps, outcome }: Pick<Story, 'steps' | 'outcome'>, at: number): string {
  const step = steps[at]
  const over = steps[at + 1]?.began_s != null || outcome === 'completed'
  if (!over) return 'not finished'
  return step?.do === 'hook-up check' ? 'proved' : step?.do === 'ask' ? 'answered' : 'done'
}

function railCells(rail: RailStory): string[] {
  const amps = (value: number): string => formatShort(value, 'A')
  return [
    rail.rail,
    rail.volts === null ? `not read (for ${formatShort(rail.at_V, 'V')})` : formatShort(rail.volts, 'V'),
    rail.amps === null ? '–' : amps(rail.amps),
    rail.verdict === 'lowered'
      ? ''
      : `${amps(rail.expected_A)} (${amps(rail.lower_A)} to ${amps(rail.upper_A)})`,
    rail.verdict,
  ]
}

/** What the meters on a line showed, from least to most. */
function inputs(story: Story): string[] {
  if (story.inputs.length === 0) return []
  const shown = (value: number | null, unit: Story['inputs'][number]['unit']): string =>
    value === null ? '–' : inputValue(unit, value)
  const rows = story.inputs.map(({ name, at, unit, readings, last, least, most }) => [
    name,
    at ?? '',
    shown(last, unit),
    unit === 'contact'
      ? least === most
        ? ''
        : 'was open and closed'
      : `${shown(least, unit)} to ${shown(most, unit)}`,
    String(readings),
  ])
  return [
    'Watched inputs',
    ...columns([['meter', 'at', 'last', 'in this run', 'readings'], ...rows]).map((row) => `  ${row}`),
  ]
}

/** How each line did: how often each reading came, and every fault it had. */
function lines(story: Story): string[] {
  const told = Object.entries(story.lines)
  if (told.length === 0) return []
  const pace = story.pace > 1 ? `, in the run's time, which went ${story.pace} × as fast as life` : ''
  return [
    `Lines to the instruments${pace}`,
    ...told.map(([port, health]) => `  ${port}: ${healthInWords(health)}`),
  ]
}

function rest(story: Story, run: string, told: boolean): string[] {
  return [
    ...story.supplies.map((text) => `Supply: ${text}`),
    ...story.by_hand.map((text) => `Limit by hand: ${text}`),
    ...story.warnings.map((text) => `Warning: ${text}`),
    ...story.unproved.map((text) => `Not proved: ${text}`),
    ...(story.known?.command === 'run' && story.cautions.length === 0
      ? ['Cautions: not acknowledged in this record; nothing was to be energised.']
      : []),
    ...noteLines(story),
    ...(told ? [sealLine(story)] : []),
    ...(story.known === null
      ? []
      : causesLine({
          ...{ outcome: story.outcome, warnings: story.warnings, command: story.known.command },
          ...{ level: story.level, lifted: story.electrolytics.length > 0, run },
        })),
    `All that happened, by time: slowglow show ${run} --events`,
    ...(story.plan_hash === null ? [] : [`Plan ${story.plan_hash.slice(0, 16)}; file ${story.file}`]),
  ]
}

function noteLines({ notes }: Story): string[] {
  return notes.map(
    ({ written, by, text }) => `Note, ${written.slice(0, 16).replace('T', ' ')} UTC, ${by}: ${text}`,
  )
}

/** What is wrong with the seal, which stands above everything else; null where nothing is. */
export function sealAlarm(story: Pick<Story, 'seal' | 'outcome'>, under_way = false): string | null {
  const { seal, outcome } = story
  const ended = outcome !== 'interrupted' && !under_way
  return seal.is === 'broken' || (seal.is === 'open' && ended) ? sealLine(story) : null
}

/** What can be said of the measured part; a link is given in full, to be held against a printed record. */
export function sealLine({ seal, outcome }: Pick<Story, 'seal' | 'outcome'>): string {
  switch (seal.is) {
    case 'whole':
      return `Seal whole: nothing measured was changed since it was written. Last link ${seal.last}`
    case 'open':
      if (outcome !== 'interrupted')
        return `SEAL OPEN, though the run has an ending: its newest ${seal.uncovered} entries or blocks are under no link of it. Its recorder was killed as it closed the file, or somebody took links out or put entries in; look for another copy.`
      return seal.last === null
        ? 'Not sealed: the run is under way or was interrupted before its first link.'
        : `Seal open: what it covers is as it was written; the newest ${seal.uncovered} entries or blocks are not covered.`
    case 'broken':
      return `SEAL BROKEN: this file was changed after it was written (${seal.where}). Do not rely on it; look for another copy.`
    case 'not checked':
      return 'Seal not checked.'
    case 'none':
      return 'Not sealed: written by a version that had no seal.'
  }
}

/** All that happened, by time. */
export function eventsText(story: Story): string {
  // Single wires stand in the record too; their sum is said in one line.
  const wires = new Set(
    story.events.filter(({ data }) => data.purpose === 'wire').map(({ data }) => data.prompt),
  )
  const told = story.events.filter(
    ({ what, data }) =>
      // Their sums stand on the page.
      what !== 'line health' && !((what === 'prompt' || what === 'answer') && wires.has(data.prompt)),
  )
  const rows = told.map(({ t_s, what, rail, step, text }) => [
    clock(t_s),
    step === null ? '' : String(step),
    what,
    rail ?? '',
    (what === 'answer' ? answered(text) : text).replaceAll(/\s+/g, ' '),
  ])
  const lines = columns([['time', 'step', 'what', 'rail', ''], ...rows])
  return ['What happened, by time', ...lines.map((row) => `  ${row}`)].join('\n')
}

/** The question stands above it already. */
function answered(text: string): string {
  const at = text.lastIndexOf(' → ')
  return at < 0 ? text : `→ ${text.slice(at + 3)}`
}

/** Hours, minutes and seconds of the run. */
function clock(t_s: number): string {
  const two = (value: number): string => String(Math.floor(value)).padStart(2, '0')
  return `${Math.floor(t_s / 3600)}:${two((t_s / 60) % 60)}:${two(t_s % 60)}`
}

const capital = (word: string): string => word.charAt(0).toUpperCase() + word.slice(1)
