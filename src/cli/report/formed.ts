import { formatShort } from '../../quantities/index.js'
import type { FormedStory, RunReader, Story } from '../../record/index.js'
import { counted, heldAgainst } from '../formed-text.js'
import { roundStep } from '../plan-plot/points.js'
import { escaped, paragraph } from './html.js'

/** The night at a glance: a line a part with its verdict, then what happened to each, and its curve. */
export function formedParts(reader: RunReader, story: Story): string[] {
  const { electrolytics: parts } = story
  if (parts.length === 0)
    return story.kind === 'reform'
      ? [paragraph('Formed in the circuit, leakage not judged: other paths draw through the same rail.')]
      : []
  return [
    `<p class="large">${escaped(counted(parts))}</p>`,
    ...charged(story),
    glance(parts),
    ...parts.map((part) => onePart(reader, part)),
    ...heldAgainst(parts).map(paragraph),
  ]
}

/** What stays in the parts is the first thing whoever comes must know. */
function charged({ electrolytics, stored_charge }: Story): string[] {
  const left = electrolytics.flatMap(({ part }) => {
    const found = stored_charge[`${part} +`]
    return found === undefined || found === 'not measured' || Math.abs(found.volts) < 5
      ? []
      : [`${part} ${formatShort(found.volts, 'V')}`]
  })
  return left.length === 0
    ? []
    : [paragraph(`Still charged as the run ended: ${left.join(', ')}. Measure before touching.`)]
}

const percent = (part: number): string => `${Math.round(100 * part)} %`

function glance(parts: readonly FormedStory[]): string {
  const cells = (row: readonly string[], tag: 'th' | 'td'): string =>
    row
      .map((cell, at) =>
        tag === 'td' && at === 1
          ? `<td><strong>${escaped(cell)}</strong></td>`
          : `<${tag}${tag === 'th' ? ' scope="col"' : ''}>${escaped(cell)}</${tag}>`,
      )
      .join('')
  const head = ['part', 'verdict', 'leakage', 'of its limit', 'read at', 'capacitance', 'of what is marked']
  const rows = parts.map(({ part, verdict, leak_A, limit_A, volts, F, F_error, marked_F }) => [
    part,
    verdict.toUpperCase(),
    leak_A === null ? 'not read' : formatShort(leak_A, 'A'),
    leak_A === null ? '' : `${percent(leak_A / limit_A)} of ${formatShort(limit_A, 'A')}`,
    volts === null ? '' : formatShort(volts, 'V'),
    F === null ? 'not measured' : `${formatShort(F, 'F')} ± ${formatShort(F_error ?? 0, 'F')}`,
    F === null ? formatShort(marked_F, 'F') : `${percent(F / marked_F)} of ${formatShort(marked_F, 'F')}`,
  ])
  return `<table class="glance"><thead><tr>${cells(head, 'th')}</tr></thead><tbody>${rows.map((row) => `<tr>${cells(row, 'td')}</tr>`).join('\n')}</tbody></table>`
}

function onePart(reader: RunReader, part: FormedStory): string {
  const { part: name, joined, parts, verdict, formed_V, why } = part
  const of = joined === 'alone' ? '' : ` (${parts.join(', ')} in ${joined})`
  const held =
    verdict === 'not finished' && formed_V > 0
      ? `Held to its end at ${formatShort(formed_V, 'V')}; --continue goes on from there. Last: `
      : ''
  return `<div class="part"><h3>${escaped(`${name}${of}: ${verdict.toUpperCase()}`)}</h3>${paragraph(`${held}${why}.`)}${chart(reader, part)}</div>`
}

const wide = 1000
const high = 210
const [left, right, top, bottom] = [90, 70, 34, 30]
const inner = wide - left - right
const tall = high - top - bottom

/** Leakage as it was told, over the volts across the part as they were read; dashed: the limit. */
function chart(reader: RunReader, part: FormedStory): string {
  const { part: name, verdict, code, curve, limit_A, rated_V } = part
  const span = reader.span()
  const last = curve.at(-1)
  if (span === null || last === undefined) return ''
  const most_A = 1.15 * Math.max(limit_A, ...curve.map(({ leak_A }) => leak_A))
  const most_V = 1.15 * Math.max(rated_V, 1)
  const long_us = Math.max(1, span.to_us - span.from_us)
  const x = (t_s: number): number => left + (inner * (t_s * 1e6 - span.from_us)) / long_us
  const y = (share: number): number => top + tall * (1 - Math.max(0, Math.min(1, share)))
  const one = (value: number): string => value.toFixed(1)
  const volts = voltsOf(reader, name)
  const grey = volts
    .map(({ column, min, max }) =>
      [min, max].map((V) => `${one(left + column + 0.5)},${one(y(V / most_V))}`).join(' '),
    )
    .join(' ')
  const ended =
    verdict === 'not finished' ? 'not finished' : code === null ? 'read for its verdict' : `given up: ${code}`
  const end = { x: x(last.t_s), y: y(last.leak_A / most_A) }
  const turns = end.x > wide - right - 170
  const title = `${name}: leakage over the run, volts across it behind`
  const limit_y = one(y(limit_A / most_A))
  return [
    `<svg viewBox="0 0 ${wide} ${high}" role="img" font-family="sans-serif" font-size="13" aria-label="${escaped(title)}"><title>${escaped(title)}</title>`,
    `<text x="${left}" y="18">black: its leakage; dashed: its limit; grey: ${volts.length === 0 ? 'its volts were not recorded' : 'the volts across it'}</text>`,
    `<g fill="none"><polyline points="${grey}" stroke="#aaa" stroke-width="2" stroke-linejoin="round"/>`,
    `<line x1="${left}" x2="${wide - right}" y1="${y(0)}" y2="${y(0)}" stroke="#bbb"/>`,
    `<line x1="${left}" x2="${wide - right}" y1="${limit_y}" y2="${limit_y}" stroke="#000" stroke-dasharray="7 4"/>`,
    ...stretches(curve).map(
      (points) =>
        `<polyline points="${points.map(({ t_s, leak_A }) => `${one(x(t_s))},${one(y(leak_A / most_A))}`).join(' ')}" stroke="#000" stroke-width="2" stroke-linejoin="round"/>`,
    ),
    '</g>',
    `<circle cx="${one(end.x)}" cy="${one(end.y)}" r="4"/><text x="${one(end.x + (turns ? -9 : 9))}" y="${one(end.y - 7)}" text-anchor="${turns ? 'end' : 'start'}" font-weight="bold" stroke="#fff" stroke-width="4" paint-order="stroke">${escaped(`${formatShort(last.leak_A, 'A')}, ${ended}`)}</text>`,
    `<g text-anchor="end"><text x="${left - 7}" y="${Number(limit_y) + 4}">${escaped(formatShort(limit_A, 'A'))}</text><text x="${left - 7}" y="${y(0) + 4}">0</text></g>`,
    `<g fill="#666"><text x="${wide - right + 6}" y="${one(y(rated_V / most_V) + 4)}">${escaped(formatShort(rated_V, 'V'))}</text><text x="${wide - right + 6}" y="${y(0) + 4}">0 V</text></g>`,
    ...hours(span.from_us / 1e6, span.to_us / 1e6, x),
    '</svg>',
  ].join('')
}

/** Leakage between two lowerings: over a rest nothing was told, and no line is drawn. */
function stretches(curve: FormedStory['curve']): FormedStory['curve'][number][][] {
  const made: FormedStory['curve'][number][][] = []
  for (const point of curve) {
    const now = made.at(-1)
    const before = now?.at(-1)
    if (now === undefined || before === undefined || point.set_V < before.set_V) made.push([point])
    else now.push(point)
  }
  return made
}

/** The volts across a part: as its meter read them, or the supply's where the meter lies across the feed resistor or has no line. */
function voltsOf(reader: RunReader, name: string): ReturnType<RunReader['overview']>['columns'] {
  const reform = reader.known()?.plan.reform
  const part = reform?.parts.find((each) => each.name === name)
  const span = reader.span()
  if (reform === undefined || part === undefined || span === null) return []
  const streams = reader.streams()
  const own = streams.find((each) => each.name === `meter.${part.meter}` && part.across === 'part')
  const stream = own ?? streams.find((each) => each.name === `${reform.channel}.V`)
  return stream === undefined ? [] : reader.overview(stream.id, inner, span.from_us, span.to_us).columns
}

function hours(from_s: number, to_s: number, x: (t_s: number) => number): string[] {
  const unit = to_s - from_s > 2 * 3600 ? 3600 : 60
  const step = roundStep((to_s - from_s) / unit, 8) * unit
  const marks: string[] = []
  for (let t_s = Math.ceil(from_s / step) * step; t_s <= to_s; t_s += step)
    marks.push(
      `<text x="${x(t_s).toFixed(1)}" y="${high - 9}" text-anchor="middle">${Number((t_s / unit).toPrecision(4))} ${unit === 3600 ? 'h' : 'min'}</text>`,
    )
  return marks
}
