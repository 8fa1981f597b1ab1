import { decimal } from '../exchange/index.js'
import { formatShort } from '../quantities/index.js'
import { bandsOf, type Overview, type RunReader, type Story } from '../record/index.js'
import { columns } from './columns.js'
import type { LimitsDrawn, LimitSpan } from './limits-drawn.js'
import { type Panel, panelName, panelsOf } from './traces.js'

/** What is to be drawn: rails by name, the window in s of the run, the width of the terminal in characters. */
export interface PlotWish {
  readonly rails: readonly string[]
  readonly from_s: number | null
  readonly to_s: number | null
  readonly width: number
}

/** A rail's volts or current in the window: every reading where few, else what each column of the plot saw of them. */
export interface Plotted {
  readonly rail: string
  readonly unit: 'V' | 'A'
  readonly stream: string
  readonly from_s: number
  readonly to_s: number
  readonly readings: readonly { readonly t_s: number; readonly value: number }[] | null
  readonly columns:
    | readonly {
        readonly from_s: number
        readonly n: number
        readonly first: number
        readonly last: number
        readonly min: number
        readonly max: number
      }[]
    | null
}

const height = 9
/** Of the value's name, the axis and its unit. */
const margin = 11
/** In a window with no more readings than this each is written out as well. */
const fewReadings = 24

/** Rails worth a look unasked: the one the run ended on, else the one with the highest volts. */
export function railsWorthALook(reader: RunReader, story: Story): string[] {
  const rails = railsOf(reader)
  if (story.reason?.rail != null && rails.includes(story.reason.rail)) return [story.reason.rail]
  const most = (rail: string): number =>
    Math.max(
      0,
      ...story.steps
        .flatMap(({ rails: all }) => all.filter((each) => each.rail === rail))
        .map(({ at_V }) => at_V),
    )
  return rails.toSorted((a, b) => most(b) - most(a)).slice(0, 1)
}

export const railsOf = (reader: RunReader): string[] => [...new Set(panelsOf(reader).map(({ rail }) => rail))]

function windowOf(reader: RunReader, { from_s, to_s }: PlotWish): { from_us: number; to_us: number } | null {
  const span = reader.span()
  if (span === null) return null
  const from_us = Math.max(span.from_us, Math.round((from_s ?? 0) * 1e6))
  const to_us = Math.min(span.to_us, to_s === null ? span.to_us : Math.round(to_s * 1e6))
  return from_us < to_us ? { from_us, to_us } : null
}

/** The figures of the plots, for programs. */
export function plottedFigures(reader: RunReader, wish: PlotWish): Plotted[] {
  const window = windowOf(reader, wish)
  if (window === null) return []
  const { from_us, to_us } = window
  return wantedOf(reader, wish).flatMap(({ rail, unit, streams }) =>
    streams.map(({ id, name }): Plotted => {
      const seen = reader.overview(id, plotWidth(wish), from_us, to_us)
      const exact = readingsOf(seen) <= plotWidth(wish)
      const at_s = (column: number): number => (from_us + ((to_us - from_us) * column) / seen.width) / 1e6
      return {
        ...{ rail, unit, stream: name, from_s: from_us / 1e6, to_s: to_us / 1e6 },
        readings: exact ? exactly(reader, id, from_us, to_us) : null,
        columns: exact
          ? null
          : seen.columns.map(({ column, ...rest }) => ({ from_s: at_s(column), ...rest })),
      }
    }),
  )
}

/**
 * Volts and current over the time of the run, in characters: every column reaches from its lowest to its highest reading, so
 * that a spike of one sample is seen; for currents band, trip and ceiling, for all the steps by number.
 */
export function runPlots(reader: RunReader, story: Story, wish: PlotWish, limits: LimitsDrawn): string[] {
  const window = windowOf(reader, wish)
  if (window === null) return ['Nothing was read in that time.']
  const panels = wantedOf(reader, wish)
  const drawn = panels.flatMap((panel) => plot(reader, story, panel, window, plotWidth(wish), limits))
  const words = panels.some(({ unit }) => unit === 'A') ? ['', ...wrapped(limits.words, wish.width)] : []
  return [...drawn, ...words]
}

function wrapped(text: string, width: number): string[] {
  const lines = ['']
  for (const word of text.split(' ')) {
    const line = lines.at(-1) ?? ''
    if (line !== '' && line.length + 1 + word.length > width) lines.push(word)
    else lines[lines.length - 1] = line === '' ? word : `${line} ${word}`
  }
  return lines
}

const wantedOf = (reader: RunReader, { rails }: PlotWish): Panel[] =>
  panelsOf(reader).filter(({ rail }) => rails.includes(rail))
const plotWidth = ({ width }: PlotWish): number => Math.max(20, width - margin - 1)
const readingsOf = ({ columns: seen }: Overview): number => seen.reduce((sum, { n }) => sum + n, 0)

function exactly(
  reader: RunReader,
  id: number,
  from_us: number,
  to_us: number,
): { readonly t_s: number; readonly value: number }[] {
  const { t_us, n, k } = reader.readings(id, from_us, to_us)
  return Array.from(t_us, (t, i) => ({ t_s: t / 1e6, value: decimal(n[i] ?? 0, k[i] ?? 0) }))
}

function plot(
  reader: RunReader,
  story: Story,
  panel: Panel,
  { from_us, to_us }: { readonly from_us: number; readonly to_us: number },
  width: number,
  { rails: held }: LimitsDrawn,
): string[] {
  const { rail, unit, streams } = panel
  const traces = streams.map(({ id }) => reader.overview(id, width, from_us, to_us))
  const seen = traces.flatMap(({ columns: all }) => all)
  if (seen.length === 0) return ['', `${panelName(panel)}: nothing was read in that time.`]
  const [from_s, to_s] = [from_us / 1e6, to_us / 1e6]
  const isSeen = (each: { readonly from_us: number; readonly to_us: number }): boolean =>
    each.to_us > from_us && each.from_us < to_us
  const bands = unit === 'A' ? bandsOf(reader).filter((band) => band.rail === rail && isSeen(band)) : []
  const limits = unit === 'A' ? (held[rail] ?? []).filter(isSeen) : []
  // Not as high as what charges capacitors: what stands afterwards would be lost at the foot of it.
  const most = Math.max(...seen.map(({ max }) => max), ...bands.map(({ trip_A }) => trip_A))
  const least = Math.min(0, ...seen.map(({ min }) => min))
  const rows = Array.from({ length: height }, () => new Array<string>(width).fill(' '))
  const rowOf = (value: number): number =>
    most > least ? Math.round(((height - 1) * (most - Math.min(value, most))) / (most - least)) : height - 1
  const columnOf = (t_s: number): number => Math.floor((width * (t_s - from_s)) / (to_s - from_s))
  const put = (row: number, x: number, mark: string): void => {
    const line = rows[row]
    if (line !== undefined && x >= 0 && x < width) line[x] = mark
  }
  const across = ({ from_us: begin, to_us: end }: LimitSpan, mark: (x: number) => void): void => {
    const last = Math.min(width - 1, columnOf(end / 1e6))
    for (let x = Math.max(0, columnOf(begin / 1e6)); x <= last; x++) mark(x)
  }
  for (const each of limits) {
    const { band } = each
    if (band !== null && band.lower_A <= most)
      across(each, (x) => {
        for (let row = rowOf(band.upper_A); row <= rowOf(band.lower_A); row++) put(row, x, ':')
      })
  }
  const line = (limit: 'trip_A' | 'ceiling_A', sign: string): LimitSpan[] => {
    const drawn = limits.filter((each) => each[limit] <= most)
    for (const each of drawn)
      across(each, (x) => {
        put(rowOf(each[limit]), x, sign)
      })
    return drawn
  }
  const ceilings = line('ceiling_A', 'c')
  const trips = line('trip_A', 't')
  for (const { column, min, max } of seen)
    for (let row = rowOf(max); row <= rowOf(min); row++) put(row, column, '#')
  const counts = traces.map(readingsOf)
  const all = counts.reduce((sum, n) => sum + n, 0)
  const every = counts.every((n) => n <= width)
  const value = (row: number): string =>
    row === 0 ? formatShort(most, unit) : row === height - 1 ? formatShort(least, unit) : ''
  return [
    '',
    `${panelName(panel)}: ${all} readings, ${every ? 'each drawn' : 'a column from lowest to highest'}`,
    ...rows.map((row, i) => `${value(i).padStart(margin - 2)} |${row.join('').trimEnd()}`),
    ...stepLines(story, from_s, to_s, width, columnOf),
    `${' '.repeat(margin)}${clock(from_s)}${clock(to_s).padStart(width - clock(from_s).length)}`,
    `${' '.repeat(margin)}# measured${limits.length === 0 ? '' : `   : band   t trip${bands.some(({ trip_by_hand }) => trip_by_hand === true) ? ', by hand' : ''}${ceilings.length === 0 ? '' : '   c ceiling'}`}   | a step begins`,
    ...(trips.length === limits.length
      ? []
      : [`${' '.repeat(margin)}For a time the trip lay higher than this.`]),
    ...(all <= fewReadings
      ? columns(
          streams.flatMap(({ id, name }) =>
            exactly(reader, id, from_us, to_us).map(({ t_s, value: v }) => [
              clock(t_s, 6),
              name,
              formatShort(v, unit),
              `${v} ${unit}`,
            ]),
          ),
        ).map((row) => `${' '.repeat(margin)}${row}`)
      : []),
  ]
}

/** The axis with a mark where each step begins, and below it their numbers where there is room. */
function stepLines(
  { steps }: Story,
  from_s: number,
  to_s: number,
  width: number,
  columnOf: (t_s: number) => number,
): string[] {
  const axis = new Array<string>(width).fill('-')
  const numbers = new Array<string>(width).fill(' ')
  let free = 0
  const write = (x: number, word: string): void => {
    if (x < free || x + word.length > width) return
    for (let i = 0; i < word.length; i++) numbers[x + i] = word.charAt(i)
    free = x + word.length + 1
  }
  const before = steps.findLast(({ began_s }) => began_s !== null && began_s < from_s)
  const first = steps.find(({ began_s }) => began_s !== null && began_s >= from_s)?.began_s
  // The one under way at the edge, where another does not begin at once.
  if (before !== undefined && (first == null || columnOf(first) > 3)) write(0, String(before.index))
  for (const { index, began_s } of steps) {
    if (began_s === null || began_s < from_s || began_s > to_s) continue
    const x = Math.min(width - 1, columnOf(began_s))
    axis[x] = '|'
    write(x, String(index))
  }
  return [
    `${' '.repeat(margin - 2)} +${axis.join('')}`,
    `${'step'.padStart(margin - 2)}  ${numbers.join('').trimEnd()}`,
  ]
}

/** Hours, minutes and seconds of the run, as the list of events has them. */
export function clock(t_s: number, places = 0): string {
  const two = (value: number): string => String(Math.floor(value)).padStart(2, '0')
  const part = places === 0 ? '' : (t_s % 1).toFixed(places).slice(1)
  return `${Math.floor(t_s / 3600)}:${two((t_s / 60) % 60)}:${two(t_s % 60)}${part}`
}

/** A moment of the run as a person writes it: `1:05:00` as in the list of events, or `65 min`. Null: neither. */
export function momentOf(text: string, quantity: (text: string) => number | null): number | null {
  const found = /^(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:\.\d+)?)$/.exec(text.trim())
  if (found === null) return quantity(text)
  const [, h = '0', min = '0', s = '0'] = found
  return Number(h) * 3600 + Number(min) * 60 + Number(s)
}
