import { signal } from '@preact/signals'
import { useLayoutEffect, useRef } from 'preact/hooks'
import uPlot from 'uplot'
import 'uplot/dist/uPlot.min.css'
import './chart.css'
import { drawnAs } from '../shell/theme.js'
import { duration } from '../words/figures.js'
import { coloursNow, drawLimits, drawMoment, wordsSize_px } from './draw.js'
import type { LimitPoint } from './limits.js'

export interface Trace {
  readonly t_s: readonly number[]
  readonly A: readonly (number | null)[]
}
export interface Moment {
  readonly t_s: number
  readonly words: string
  readonly bad?: boolean
}
interface Props {
  /** Said to who cannot see it; the figures stand in words beside every chart. */
  readonly describes: string
  readonly inAmps: boolean
  /** In place of a current: the trace is drawn as it is, in this. */
  readonly unit?: string | undefined
  readonly trace: Trace
  /** Another run laid over it, drawn dashed. */
  readonly over?: Trace | undefined
  readonly limits: readonly LimitPoint[]
  readonly from_s: number
  readonly to_s: number
  readonly moments?: readonly Moment[]
  readonly height?: number
  readonly onZoom?: (from_s: number, to_s: number) => void
  /** All of it stands on the canvas. */
  readonly onDrawn?: () => void
}

const none: Trace = { t_s: [], A: [] }

/** A window made larger is looked at from further away: charts are made anew with larger words. */
const words_px = signal(Math.round(wordsSize_px()))
addEventListener('resize', () => {
  words_px.value = Math.round(wordsSize_px())
})

/** One rail: its current over time, what it should be and where it would be stopped; or another trace, without limits. */
export function RailChart(props: Props) {
  const box = useRef<HTMLDivElement>(null)
  const chart = useRef<uPlot | null>(null)
  const latest = useRef(props)
  latest.current = props
  const drawn = drawnAs.value
  const words = words_px.value

  useLayoutEffect(() => {
    const element = box.current
    if (element === null) return
    const made = make(element, () => latest.current)
    chart.current = made
    const watch = new ResizeObserver(() => {
      made.setSize(sizeOf(element, latest.current))
    })
    watch.observe(element)
    return () => {
      watch.disconnect()
      made.destroy()
      chart.current = null
    }
  }, [props.inAmps, props.unit, drawn, words, props.onZoom === undefined])

  // With the words beside it, not a frame later; and the first time too.
  useLayoutEffect(() => {
    if (chart.current !== null) show(chart.current, props)
  })
  return <div class="chart" role="img" aria-label={props.describes} ref={box} />
}

const scaleOf = ({ inAmps, unit }: Props): number => (inAmps || unit !== undefined ? 1 : 1000)

function sizeOf(element: HTMLElement, { height }: Props): { width: number; height: number } {
  const width = Math.max(200, element.clientWidth)
  return {
    width,
    height: height ?? Math.round(Math.max(150, Math.min(width * 0.38, window.innerHeight * 0.34))),
  }
}

function make(element: HTMLElement, props: () => Props): uPlot {
  let colours = coloursNow()
  const size_px = wordsSize_px()
  const font = `${size_px}px system-ui, sans-serif`
  const axis: uPlot.Axis = {
    stroke: () => colours.quiet,
    grid: { stroke: () => colours.line, width: 0.5 },
    ticks: { stroke: () => colours.line, width: 0.5 },
    font,
    size: 2.8 * size_px,
  }
  const line = (width: number, dash?: number[]): uPlot.Series => ({
    stroke: () => colours.text,
    width,
    points: { show: false },
    spanGaps: false,
    ...(dash !== undefined && { dash }),
  })
  const given = props()
  const options: uPlot.Options = {
    ...sizeOf(element, given),
    legend: { show: false },
    cursor:
      given.onZoom === undefined
        ? { show: false }
        : { drag: { x: true, y: false, setScale: false }, y: false },
    scales: { x: { time: false, auto: false }, y: { auto: false } },
    axes: [
      { ...axis, values: (_, ticks) => ticks.map((t) => (t < 0 ? '' : duration(t))) },
      {
        ...axis,
        size: 4.5 * size_px,
        label: given.unit ?? (given.inAmps ? 'A' : 'mA'),
        labelSize: 1.4 * size_px,
        labelFont: font,
      },
    ],
    series: [{}, line(2.5), line(2, [6, 4])],
    hooks: {
      drawClear: [
        (u) => {
          drawLimits(u, props().limits, scaleOf(props()), colours)
        },
      ],
      draw: [
        (u) => {
          for (const { t_s, words, bad } of together(u, props().moments ?? []))
            drawMoment(u, t_s, words, bad === true ? colours.bad : colours.mark)
          props().onDrawn?.()
        },
      ],
      setSelect: [
        (u) => {
          const { left, width } = u.select
          if (width < 4) return
          props().onZoom?.(u.posToVal(left, 'x'), u.posToVal(left + width, 'x'))
          u.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false)
        },
      ],
    },
  }
  const made = new uPlot(options, [[], [], []], element)
  // On paper as on paper, whatever the screen is.
  const recolour = (): void => {
    colours = coloursNow()
    made.redraw(false)
  }
  for (const event of ['beforeprint', 'afterprint']) addEventListener(event, recolour)
  const destroy = made.destroy.bind(made)
  made.destroy = () => {
    for (const event of ['beforeprint', 'afterprint']) removeEventListener(event, recolour)
    destroy()
  }
  return made
}

/** Nearer to each other than this their words would lie over each other, px. */
const apart_px = 70

/** Moments that lie together are named by the first of them, each word once. */
function together(u: uPlot, moments: readonly Moment[]): Moment[] {
  const groups: { at: Moment; words: string[]; bad: boolean }[] = []
  for (const moment of moments.toSorted((a, b) => a.t_s - b.t_s)) {
    const last = groups.at(-1)
    const x = u.valToPos(moment.t_s, 'x')
    if (last !== undefined && x - u.valToPos(last.at.t_s, 'x') < apart_px) {
      if (moment.words !== '' && !last.words.includes(moment.words)) last.words.push(moment.words)
      last.bad ||= moment.bad === true
    } else
      groups.push({ at: moment, words: moment.words === '' ? [] : [moment.words], bad: moment.bad === true })
  }
  return groups.map(({ at, words, bad }) => ({ ...at, words: words.join(', '), bad }))
}

function show(u: uPlot, props: Props): void {
  const scale = scaleOf(props)
  const scaled = (values: Trace['A']): (number | null)[] =>
    values.map((each) => (each === null ? null : each * scale))
  const { trace, over = none } = props
  const data: uPlot.AlignedData =
    over.t_s.length === 0
      ? [trace.t_s as number[], scaled(trace.A), trace.A.map(() => null)]
      : uPlot.join([
          [trace.t_s as number[], scaled(trace.A)],
          [over.t_s as number[], scaled(over.A)],
        ])
  u.batch(() => {
    u.setData(data, false)
    u.setScale('x', { min: props.from_s, max: Math.max(props.to_s, props.from_s + 1e-6) })
    u.setScale('y', heightOf(props, scale))
  })
}

/** From nothing to a little above the ceiling in sight; readings that go beyond stay in sight too. */
function heightOf(
  { trace, over = none, limits, from_s, to_s }: Props,
  scale: number,
): { min: number; max: number } {
  let [min, max] = [0, 0]
  for (const { t_s, A } of [trace, over])
    for (let i = 0; i < t_s.length; i++) {
      const [t, amps] = [t_s[i] ?? 0, A[i] ?? 0]
      if (t < from_s || t > to_s) continue
      min = Math.min(min, amps)
      max = Math.max(max, amps)
    }
  limits.forEach(({ t_s, limits: each }, i) => {
    const [before, after] = [limits[i - 1]?.t_s ?? t_s, limits[i + 1]?.t_s ?? t_s]
    if (each !== null && after >= from_s && before <= to_s)
      max = Math.max(max, each.ceiling_A * 1.12, each.trip_A * 1.2)
  })
  if (max === 0) max = 0.001
  return { min: min * scale * 1.1, max: max * scale * 1.02 }
}

/** What the areas are, in words: the same everywhere, below the charts. */
export function ChartKey() {
  return (
    <p class="chart-key quiet">
      <span class="key band" aria-hidden="true" /> band it should draw within, dashed: expected;{' '}
      <span class="key trip" aria-hidden="true" /> above the trip, the run is stopped;{' '}
      <span class="key ceiling" aria-hidden="true" /> above the ceiling, at the first reading.
    </p>
  )
}
