import { formatQuantity } from '../quantities/index.js'
import type { RailStory, Story } from '../record/index.js'
import { handText, onlyHands } from './live/closing.js'

/** A run as a page of text for a terminal. */
export function storyText(story: Story): string {
  return [heading(story), end(story), off(story), steps(story), cautions(story), events(story), rest(story)]
    .map((part) => part.join('\n'))
    .filter((part) => part !== '')
    .join('\n\n')
}

function heading(story: Story): string[] {
  const { known } = story
  if (known === null)
    return [`Run file ${story.file}`, 'The recorder was lost before it was told which set and which plan.']
  return [
    `Run ${story.run}`,
    `${story.equipment ?? ''}, ${story.profile ?? ''}: ${known.command === 'run' ? 'run' : 'rehearsal'} on ${story.bench ?? ''} (${story.bench_kind ?? ''} bench), set known to level ${story.level ?? '?'}`,
    `Started ${known.started.slice(0, 19).replace('T', ' ')} UTC, lasted ${formatQuantity(story.duration_s, 's')}, slowglow ${known.version}${known.seed === null ? '' : `, seed ${known.seed}`}`,
    ...(known.faults.length === 0 ? [] : [`Faults put in: ${known.faults.join(', ')}`]),
    ...Object.entries(known.identities).map(([supply, identity]) => `${supply}: ${identity}`),
  ]
}

function end(story: Story): string[] {
  if (story.outcome === 'interrupted')
    return [
      'INTERRUPTED: this record has no ending.',
      '  Unless the run is still going on: take every output as on and every capacitor as charged; measure before touching.',
      ...standing(story),
    ]
  const { reason } = story
  const at = reason?.step === null || reason?.step === undefined ? '' : `, in step ${reason.step}`
  return [
    reason === null ? capital(story.outcome) : `${capital(story.outcome)}${at}: ${reason.text}`,
    ...(reason === null ? [] : reasonLines(reason)),
    ...standing(story),
  ]
}

function reasonLines(reason: NonNullable<Story['reason']>): string[] {
  const value = (number: number | null): string =>
    number === null ? 'not measured' : formatIn(number, reason.unit)
  const figures =
    reason.limit === null
      ? []
      : [
          `  measured ${value(reason.measured)}, limit ${value(reason.limit)}${reason.rail === null ? '' : `, rail ${reason.rail}`} (${reason.code})`,
        ]
  const { rule } = reason
  const held = rule === null || rule.for_s === 0 ? '' : `, for ${formatQuantity(rule.for_s, 's')}`
  const rules = rule === null ? [] : [`  rule ${rule.code}: ${rule.text}${held} [${rule.source}]`]
  const { because, at_V, step, rail } = reason
  const planned =
    because.length === 0
      ? []
      : [
          `  as planned for step ${step ?? '?'}, ${rail ?? ''} at ${at_V === null ? '?' : formatQuantity(at_V, 'V')}:`,
          ...because.map(({ text, source }) => `    ${text} [${source}]`),
        ]
  return [...figures, ...rules, ...planned]
}

function standing(story: Story): string[] {
  if (story.standing === 'open')
    return [`  The newest part of this record lies beside it in ${story.file}-wal: keep the two together.`]
  if (story.standing === 'wal missing')
    return [
      `  ${story.file}-wal is missing: this file was copied or moved without the part that holds its newest entries.`,
      '  What is shown ends earlier than the run did. Fetch that part from where the run was made.',
    ]
  return []
}

function off(story: Story): string[] {
  if (story.outcome === 'interrupted') return []
  const rails = Object.entries(story.off).map(
    ([rail, { confirmed, volts, how }]) =>
      `  ${rail}: ${confirmed ? 'confirmed off' : 'NOT confirmed off'}${volts === null ? '' : `, ${formatQuantity(volts, 'V')} at the supply`} (${how})`,
  )
  const hands = Object.entries(story.hand_rails).map(
    ([rail, left]) => `  ${rail}, by hand: ${handText(left)}`,
  )
  const charge = Object.entries(story.stored_charge).map(
    ([node, seen]) =>
      `  ${node}: ${seen === 'not measured' ? 'not measured: take it as charged' : `${formatQuantity(seen.volts, 'V')} by ${seen.meter}, read ${seen.age_s.toFixed(1)} s before the end`}`,
  )
  return [
    story.outputs_off !== 'confirmed'
      ? 'Outputs NOT confirmed off'
      : rails.length === 0 && hands.length > 0
        ? onlyHands
        : 'Outputs confirmed off',
    ...rails,
    ...hands,
    ...(story.bias_released_by === null ? [] : [`  Bias released by: ${story.bias_released_by}`]),
    "The set's stored charge (measure before touching)",
    ...(charge.length === 0 ? ['  not measured: take it as charged'] : charge),
  ]
}

function steps(story: Story): string[] {
  if (story.steps.length === 0) return []
  const rows = story.steps.flatMap((step): string[][] => {
    if (step.began_s === null) return []
    const first = [String(step.index), `${step.stage}, ${step.mode}`]
    if (step.rails.length === 0) return [[...first, step.do, '', '', '', '']]
    return step.rails.map((rail, i) => [...(i === 0 ? first : ['', '']), ...railCells(rail)])
  })
  const head = ['step', 'stage, mode', 'rail', 'volts', 'measured', 'expected (band)', 'verdict']
  const notBegun = story.steps.filter(({ began_s }) => began_s === null).length
  return [
    `Steps: ${story.steps_done} of ${story.steps.length} done`,
    ...columns([head, ...rows]).map((row) => `  ${row}`),
    ...(notBegun === 0 ? [] : [`  ${notBegun} not begun`]),
  ]
}

function railCells(rail: RailStory): string[] {
  const amps = (value: number): string => formatQuantity(value, 'A')
  return [
    rail.rail,
    rail.volts === null ? `${formatQuantity(rail.at_V, 'V')} set` : formatQuantity(rail.volts, 'V'),
    rail.amps === null ? '–' : amps(rail.amps),
    `${amps(rail.expected_A)} (${amps(rail.lower_A)} to ${amps(rail.upper_A)})`,
    rail.verdict,
  ]
}

function cautions(story: Story): string[] {
  return story.cautions.length === 0
    ? ['Cautions: not acknowledged in this record; nothing was to be energised.']
    : story.cautions.map(({ t_s, text }) => `Cautions at ${clock(t_s)}: ${text}`)
}

function events(story: Story): string[] {
  if (story.events.length === 0) return []
  // What the sequencer was fed is kept for replay; a person reads what was decided.
  // Single wires stand in the record too; their sum is said in one line.
  const wires = new Set(
    story.events.filter(({ data }) => data.purpose === 'wire').map(({ data }) => data.prompt),
  )
  const told = story.events.filter(
    ({ what, data }) =>
      what !== 'fed' && !((what === 'prompt' || what === 'answer') && wires.has(data.prompt)),
  )
  const rows = told.map(({ t_s, what, rail, step, text }) => [
    clock(t_s),
    step === null ? '' : String(step),
    what,
    rail ?? '',
    text.replaceAll(/\s+/g, ' '),
  ])
  return ['Events', ...columns([['time', 'step', 'what', 'rail', ''], ...rows]).map((row) => `  ${row}`)]
}

function rest(story: Story): string[] {
  return [
    ...story.warnings.map((text) => `Warning: ${text}`),
    ...story.unproved.map((text) => `Not proved: ${text}`),
    ...(story.plan_hash === null ? [] : [`Plan ${story.plan_hash.slice(0, 16)}; file ${story.file}`]),
  ]
}

/** Hours, minutes and seconds of the run. */
function clock(t_s: number): string {
  const two = (value: number): string => String(Math.floor(value)).padStart(2, '0')
  return `${Math.floor(t_s / 3600)}:${two((t_s / 60) % 60)}:${two(t_s % 60)}`
}

function columns(rows: readonly (readonly string[])[]): string[] {
  const widths: number[] = []
  for (const row of rows) row.forEach((cell, i) => (widths[i] = Math.max(widths[i] ?? 0, cell.length)))
  return rows.map((row) =>
    row
      .map((cell, i) => cell.padEnd(widths[i] ?? 0))
      .join('  ')
      .trimEnd(),
  )
}

function formatIn(value: number, unit: string): string {
  return unit === 'V' || unit === 'A' || unit === 's' || unit === 'Ω' || unit === 'V/s' || unit === 'W'
    ? formatQuantity(value, unit)
    : `${Number(value.toPrecision(4))} ${unit}`.trim()
}

const capital = (word: string): string => word.charAt(0).toUpperCase() + word.slice(1)
