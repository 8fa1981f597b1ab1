import type uPlot from 'uplot'
import type { LimitPoint } from './limits.js'

export interface Colours {
  readonly text: string
  readonly quiet: string
  readonly line: string
  readonly band: string
  readonly bad: string
  readonly mark: string
  readonly good: string
  readonly panel: string
}

export function coloursNow(): Colours {
  const style = getComputedStyle(document.documentElement)
  const of = (name: string): string => style.getPropertyValue(`--${name}`).trim()
  return {
    text: of('text'),
    quiet: of('quiet'),
    line: of('line'),
    band: of('band'),
    bad: of('bad'),
    mark: of('mark'),
    good: of('good'),
    panel: of('panel'),
  }
}

/** Of words in a chart: larger where the screen is looked at from further away. */
export const wordsSize_px = (): number => Math.max(13, Math.min(34, innerWidth / 110))

interface Edge {
  readonly x: number
  readonly low: number
  readonly high: number
}

/**
 * Band, trip and ceiling as areas behind the trace: the band plain, above the trip hatched one way, above the ceiling both ways.
 * Each can be told from the others without any colour.
 */
export function drawLimits(u: uPlot, points: readonly LimitPoint[], scale: number, colours: Colours): void {
  const { ctx, bbox } = u
  const [from, to] = [u.scales['x']?.min ?? 0, u.scales['x']?.max ?? 0]
  ctx.save()
  ctx.beginPath()
  ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height)
  ctx.clip()
  const y = (amps: number): number => u.valToPos(amps * scale, 'y', true)
  const x = (t_s: number): number => u.valToPos(t_s, 'x', true)
  const top = bbox.top - 10
  for (const part of unbroken(points)) {
    const shown = part.filter((point, i) => {
      const [before, after] = [part[i - 1]?.t_s ?? point.t_s, part[i + 1]?.t_s ?? point.t_s]
      return after >= from && before <= to
    })
    if (shown.length < 2) continue
    const area = (
      low: (p: (typeof shown)[number]['limits']) => number,
      high: (p: (typeof shown)[number]['limits']) => number,
    ) => shown.map(({ t_s, limits }): Edge => ({ x: x(t_s), low: low(limits), high: high(limits) }))
    // On a way down there is none.
    if (shown.every(({ limits }) => Number.isFinite(limits.lower_A))) {
      const band = area(
        (l) => y(l.lower_A),
        (l) => y(l.upper_A),
      )
      fill(ctx, band, colours.band, 0.3)
      for (const side of ['low', 'high'] as const)
        edge(
          ctx,
          band.map((each) => [each.x, each[side]]),
          colours.band,
          1.5,
          [],
        )
    }
    const trip = area(
      (l) => y(l.trip_A),
      () => top,
    )
    hatch(ctx, trip, colours.bad, 1, 0.5)
    edge(
      ctx,
      trip.map(({ x: at, low }) => [at, low]),
      colours.bad,
      2,
      [],
    )
    const ceiling = area(
      (l) => y(l.ceiling_A),
      () => top,
    )
    hatch(ctx, ceiling, colours.bad, -1, 0.8)
    edge(
      ctx,
      ceiling.map(({ x: at, low }) => [at, low]),
      colours.bad,
      4,
      [],
    )
    const expected = shown.filter(({ limits }) => Number.isFinite(limits.expected_A))
    edge(
      ctx,
      expected.map(({ t_s, limits }) => [x(t_s), y(limits.expected_A)]),
      colours.band,
      1.5,
      [8, 6],
    )
  }
  ctx.restore()
}

interface Judged {
  readonly t_s: number
  readonly limits: NonNullable<LimitPoint['limits']>
}
function unbroken(points: readonly LimitPoint[]): Judged[][] {
  const parts: Judged[][] = [[]]
  for (const { t_s, limits } of points) {
    if (limits === null) parts.push([])
    else parts.at(-1)?.push({ t_s, limits })
  }
  return parts
}

function outline(ctx: CanvasRenderingContext2D, edges: readonly Edge[]): void {
  ctx.beginPath()
  edges.forEach(({ x, low }, i) => {
    if (i === 0) ctx.moveTo(x, low)
    else ctx.lineTo(x, low)
  })
  for (const { x, high } of edges.toReversed()) ctx.lineTo(x, high)
  ctx.closePath()
}

function fill(ctx: CanvasRenderingContext2D, edges: readonly Edge[], colour: string, alpha: number): void {
  outline(ctx, edges)
  ctx.globalAlpha = alpha
  ctx.fillStyle = colour
  ctx.fill()
  ctx.globalAlpha = 1
}

function edge(
  ctx: CanvasRenderingContext2D,
  points: readonly (readonly [number, number])[],
  colour: string,
  width: number,
  dash: number[],
): void {
  ctx.beginPath()
  points.forEach(([x, y], i) => {
    if (i === 0) ctx.moveTo(x, y)
    else ctx.lineTo(x, y)
  })
  ctx.strokeStyle = colour
  ctx.lineWidth = width * devicePixelRatio
  ctx.setLineDash(dash.map((each) => each * devicePixelRatio))
  ctx.stroke()
  ctx.setLineDash([])
}

/** Lines at 45° inside the area. */
function hatch(
  ctx: CanvasRenderingContext2D,
  edges: readonly Edge[],
  colour: string,
  way: 1 | -1,
  alpha: number,
): void {
  ctx.save()
  outline(ctx, edges)
  ctx.clip()
  const [left, right] = [edges[0]?.x ?? 0, edges.at(-1)?.x ?? 0]
  const top = Math.min(...edges.map(({ high }) => high))
  const bottom = Math.max(...edges.map(({ low }) => low))
  const height = bottom - top
  const apart = 9 * devicePixelRatio
  ctx.beginPath()
  const first = Math.floor((left - height) / apart) * apart
  for (let x = first; x < right + height; x += apart) {
    ctx.moveTo(x, way === 1 ? bottom : top)
    ctx.lineTo(x + height, way === 1 ? top : bottom)
  }
  ctx.strokeStyle = colour
  ctx.globalAlpha = alpha
  ctx.lineWidth = devicePixelRatio
  ctx.stroke()
  ctx.restore()
}

/** A line from top to bottom with a few words beside it. */
export function drawMoment(u: uPlot, t_s: number, words: string, colour: string): void {
  const { ctx, bbox } = u
  const x = u.valToPos(t_s, 'x', true)
  if (x < bbox.left || x > bbox.left + bbox.width) return
  ctx.save()
  edge(
    ctx,
    [
      [x, bbox.top],
      [x, bbox.top + bbox.height],
    ],
    colour,
    2,
    [2, 3],
  )
  if (words !== '') {
    const size = wordsSize_px() * devicePixelRatio
    ctx.font = `${size}px system-ui, sans-serif`
    ctx.fillStyle = colour
    const right = x > bbox.left + bbox.width * 0.8
    ctx.textAlign = right ? 'right' : 'left'
    ctx.fillText(words, x + (right ? -5 : 5) * devicePixelRatio, bbox.top + size * 1.1)
  }
  ctx.restore()
}
