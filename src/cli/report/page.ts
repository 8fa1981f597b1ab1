import { standingText } from '../../cautions/index.js'
import { formatQuantity, formatShort } from '../../quantities/index.js'
import type { RunReader, Story } from '../../record/index.js'
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
} from '../../session/index.js'
import { limitsDrawn, type LimitsOf } from '../limits-drawn.js'
import { elapsed } from '../replay-text.js'
import { stageWord } from '../stage-word.js'
import { sealAlarm, stepWord } from '../story-text.js'
import { charts } from './chart.js'
import { formedParts } from './formed.js'
import { block, escaped, list, paragraph, section, table } from './html.js'
import { planParts } from './plan.js'

/** The record of a longer run takes more than some seconds to be fed again. */
const soon_bytes = 2_000_000

/** One file, no script, nothing fetched: it opens the same in thirty years. Printable on A4 and Letter. */
export function reportPage(reader: RunReader, told: Story, wish: LimitsOf | null = null): string {
  // Drawing looks at more of the file than telling does, and what it met is told above it.
  const held = limitsDrawn(reader, wish, soon_bytes)
  const drawn = charts(reader, told, held)
  const formed = formedParts(reader, told)
  const story = { ...told, damage: reader.damage() }
  const title = `${story.equipment ?? 'Set not known'}: ${story.profile ?? 'run'}`
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8">',
    '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; style-src \'unsafe-inline\'">',
    '<meta name="viewport" content="width=device-width, initial-scale=1">',
    `<title>${escaped(title)}</title><style>${style}</style></head><body>`,
    `<header><h1>${escaped(title)}</h1>`,
    heading(story),
    '</header><main>',
    section('How it ended', ...ending(story)),
    section('Electrolytics', ...formed),
    section('Outputs and stored charge', ...off(story)),
    section(
      'What was measured',
      paragraph(
        `Grey: the expected band. Dashed: the trip; dotted: the ceiling; each where it lies within what is drawn. Small figures: steps. Every pixel column reaches from its lowest to its highest reading. ${held.words}`,
      ),
      drawn,
    ),
    section('Steps, as measured at the end of each', steps(story)),
    section('The plan', ...planOf(reader)),
    section('Limits and their reasons', limits(reader)),
    section('Warnings', ...story.warnings.map(paragraph)),
    section('Stated by hand', ...story.by_hand.map(paragraph)),
    section('Not proved by this run', list(story.unproved)),
    section('What happened, by time', events(story)),
    section('Notes', ...notes(story)),
    section('Files the plan was made from', ...files(reader)),
    section('Signed', signatures()),
    section('Cautions', block([standingText])),
    '</main></body></html>',
    '',
  ].join('\n')
}

function heading(story: Story): string {
  const { known } = story
  const rows: [string, string][] = [
    ['Run', story.run],
    ['Started', known === null ? 'not known' : `${known.started.slice(0, 19).replace('T', ' ')} UTC`],
    ['Lasted', elapsed(story.duration_s * 1e6)],
    ['Made as', madeAs(story)],
    ['Bench', `${story.bench ?? 'not known'} (${story.bench_kind ?? '?'})`],
    ...Object.entries(known?.identities ?? {}).map(([port, identity]): [string, string] => [
      `Answered on ${port}`,
      identity,
    ]),
    ...story.supplies.map((text): [string, string] => ['Trust in a supply', text]),
    ['Cautions', cautions(story)],
    ['Program', known === null ? 'not known' : `slowglow ${known.version}`],
    ['Plan', story.plan_hash ?? 'not known'],
    ['Seal', seal(story)],
    ...story.damage.map((text): [string, string] => ['DAMAGED, told without it', text]),
  ]
  return `<dl>${rows.map(([name, value]) => `<dt>${escaped(name)}</dt><dd>${escaped(value)}</dd>`).join('\n')}</dl>`
}

function madeAs({ known, bench_kind }: Story): string {
  if (known === null) return 'not known'
  if (known.command === 'rehearse') return 'a rehearsal: nothing was energised'
  const what = known.command === 'qualify' ? 'a qualification of a supply on a dummy load' : 'a run'
  return bench_kind === 'virtual' ? `${what}, on a virtual bench: nothing real was energised` : what
}

function cautions(story: Story): string {
  if (story.known?.command === 'rehearse') return 'shown; a rehearsal asks for no acknowledgement'
  return story.cautions.length === 0 ? 'NOT acknowledged' : story.cautions.map(({ text }) => text).join(' ')
}

function seal(story: Story): string {
  const { seal: found } = story
  switch (found.is) {
    case 'whole':
      return `whole, last link ${found.last}`
    case 'open':
      return sealAlarm(story) ?? `open: the newest ${found.uncovered} entries or blocks are not covered`
    case 'broken':
      return `BROKEN: ${found.where}. Do not rely on this record.`
    case 'not checked':
      return 'not checked'
    case 'none':
      return 'none: written by a version that had no seal'
  }
}

function ending(story: Story): string[] {
  if (story.outcome === 'interrupted')
    return [...interruptedLines(story, null), ...besideLines(story)].map(paragraph)
  const { reason } = story
  const warned = story.outcome === 'completed' && story.warnings.length > 0 ? ', with warnings' : ''
  const headline = `<p class="large">${escaped(`${story.outcome}${warned}`)}</p>`
  const beside = besideLines(story).map(paragraph)
  if (reason === null) return [headline, ...openHandLines(saidOf(story)).map(paragraph), ...beside]
  const { rule, because } = reason
  return [
    headline,
    ...openHandLines(saidOf(story)).map(paragraph),
    paragraph(reason.text),
    paragraph(reasonFigures(reason)),
    ...(rule === null
      ? []
      : [
          paragraph(
            `Rule ${rule.code}: ${rule.text}${rule.for_s === 0 ? '' : `, for ${formatQuantity(rule.for_s, 's')}`} [${rule.source}]`,
          ),
        ]),
    list(because.map(({ text, source }) => `${text} [${source}]`)),
    ...beside,
  ]
}

const saidOf = (story: Story): OffSaid => ({
  ...story,
  outputs_off: story.outputs_off === 'confirmed' ? 'confirmed' : 'not confirmed',
})

function off(story: Story): string[] {
  if (story.outcome === 'interrupted') return [paragraph('Not known: the record has no ending.')]
  const said = saidOf(story)
  const charge = chargeLines(story.stored_charge).map((line) => line.trim())
  return [
    paragraph(measuredLine(said)),
    list(railLines(said).map((line) => line.trim())),
    ...(story.bias_released_by === null ? [] : [paragraph(`Bias released by: ${story.bias_released_by}`)]),
    paragraph(`${chargeOf(story.known?.command).replace("'", '’')} (measure before touching):`),
    list(charge.length === 0 ? ['not measured: take it as charged'] : charge),
  ]
}

function steps(story: Story): string {
  const rows = story.steps.flatMap((step, at) => {
    const first = [String(step.index), stageWord(step)]
    if (step.began_s === null)
      return [[...first, step.rail ?? '', `for ${formatShort(step.target_V, 'V')}`, '', '', '', 'not begun']]
    if (step.rails.length === 0) return [[...first, step.rail ?? '', '', '', '', '', stepWord(story, at)]]
    return step.rails.map((own, i) => {
      const { rail, volts, amps, expected_A, lower_A, upper_A, trip_A, verdict } = own
      return [
        ...(i === 0 ? first : ['', '']),
        rail,
        volts === null ? '' : formatShort(volts, 'V'),
        amps === null ? '' : formatShort(amps, 'A'),
        verdict === 'lowered'
          ? ''
          : `${formatShort(expected_A, 'A')} (${formatShort(lower_A, 'A')} to ${formatShort(upper_A, 'A')})`,
        `${formatShort(trip_A, 'A')}${own.trip_by_hand === true ? ' by hand' : ''}`,
        verdict,
      ]
    })
  })
  return table(
    ['step', 'stage, mode', 'rail', 'volts', 'measured', 'expected (band)', 'trip', 'verdict'],
    rows,
  )
}

function planOf(reader: RunReader): string[] {
  const plan = reader.known()?.plan
  return plan === undefined ? [] : planParts(plan)
}

/** Each reason once, with the steps it stood in. */
function limits(reader: RunReader): string {
  const plan = reader.known()?.plan
  if (plan === undefined) return ''
  const rows = plan.steps.flatMap((step) =>
    Object.entries(step.limits).flatMap(([rail, own]) =>
      step.rail === rail
        ? own.because.map(({ text, source }) => [String(step.index), rail, text, source])
        : [],
    ),
  )
  return table(['step', 'rail', 'limit and why', 'source'], rows)
}

function events(story: Story): string {
  const rows = story.events.map(({ t_s, what, step, rail, text }) => [
    elapsed(t_s * 1e6),
    step === null ? '' : String(step),
    what,
    rail ?? '',
    text.replaceAll(/\s+/g, ' '),
  ])
  return table(['time', 'step', 'what', 'rail', ''], rows)
}

function notes(story: Story): string[] {
  return story.notes.map(({ written, by, text }) =>
    paragraph(`${written.slice(0, 16).replace('T', ' ')} UTC, ${by}: ${text}`),
  )
}

function files(reader: RunReader): string[] {
  return Object.entries(reader.known()?.files ?? {}).map(
    ([path, text]) => `<h3>${escaped(path)}</h3>${block([text])}`,
  )
}

const signatures = (): string =>
  ['Run by', 'Judged by']
    .map((who) => `<p class="sign">${who}<span></span>Date<span class="short"></span></p>`)
    .join('\n')

const style = `
:root { color-scheme: light; font: 15px/1.45 system-ui, sans-serif; color: #000; background: #fff }
body { max-width: 62rem; margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 1.7rem; margin: 0 0 .6rem } h2 { font-size: 1.2rem; margin: 1.8rem 0 .5rem; border-bottom: 1px solid #000 }
h3 { font-size: 1rem; margin: 1rem 0 .3rem }
dl { display: grid; grid-template-columns: 10rem 1fr; gap: .15rem .8rem; margin: 0 } dt { font-weight: 600 } dd { margin: 0; overflow-wrap: anywhere }
.large { font-size: 1.6rem; font-weight: 700; margin: .3rem 0 } .large::first-letter { text-transform: capitalize }
table { border-collapse: collapse; width: 100%; font-size: .85rem; font-variant-numeric: tabular-nums }
th, td { text-align: left; vertical-align: top; padding: .2rem .5rem .2rem 0; border-bottom: 1px solid #ccc; overflow-wrap: anywhere }
thead { display: table-header-group } .glance { font-size: 1rem; margin: .4rem 0 1rem } .glance td, .glance th { overflow-wrap: normal }
.part { break-inside: avoid; margin: 0 0 1.2rem } .part p { margin: .2rem 0 }
thead th { overflow-wrap: normal } tr { break-inside: avoid }
svg { width: 100%; height: auto; display: block; margin: .4rem 0; break-inside: avoid }
pre { font-size: .75rem; white-space: pre-wrap; overflow-wrap: anywhere; border-left: 3px solid #ccc; padding-left: .7rem }
.sign { display: flex; gap: .7rem; align-items: end; margin: 2.2rem 0 0 } .sign span { flex: 3; border-bottom: 1px solid #000 } .sign .short { flex: 1 }
@page { margin: 15mm } @media print { body { margin: 0; max-width: none; padding: 0 } h2 { break-after: avoid } }
`
