import type { ApiStory, Traces } from '../../service/api/index.js'
import type { Trace } from '../charts/chart.js'
import type { LimitPoint } from '../charts/limits.js'

const most_columns = 2000
/** Pixel columns that a chart of this screen has. */
export const columnsHere = (): number =>
  Math.min(most_columns, Math.max(200, Math.round(document.body.clientWidth * devicePixelRatio)))

type Stream = Traces['streams'][number]

/** The stream that tells a rail's current: its supply's own where there is one, else an ammeter's. */
export function currentOf(traces: Traces, rail: string): Stream | null {
  const all = traces.streams.filter((stream) => stream.rail === rail && stream.unit === 'A')
  return all.find(({ name }) => !name.startsWith('meter.')) ?? all[0] ?? null
}

/** Four points of each pixel column, so that what stood in it for one sample is still to be seen. */
export function traceOf(traces: Traces, stream: Stream | null, later_s = 0): Trace {
  if (stream === null) return { t_s: [], A: [] }
  if (stream.is === 'readings') return { t_s: stream.t_s, A: stream.value }
  const [t_s, A]: [number[], number[]] = [[], []]
  const wide_s = (traces.to_s - traces.from_s) / traces.width
  stream.column.forEach((column, i) => {
    const left_s = traces.from_s + column * wide_s + later_s
    const one = (stream.n[i] ?? 0) === 1
    const values = one ? [stream.first[i]] : [stream.first[i], stream.min[i], stream.max[i], stream.last[i]]
    values.forEach((value, k) => {
      if (value === undefined) return
      t_s.push(left_s + wide_s * (one ? 0.5 : 0.125 + k * 0.25))
      A.push(value)
    })
  })
  return { t_s, A }
}

/** What each limit was, from when each step really began; on a way down there was no band. */
export function limitsOf({ bands }: ApiStory, rail: string): LimitPoint[] {
  return bands
    .filter((band) => band.rail === rail)
    .flatMap(({ from_s, to_s, lowering, ...figures }) => {
      const limits = lowering ? null : figures
      return [
        { t_s: from_s, limits },
        { t_s: to_s, limits },
        { t_s: to_s, limits: null },
      ]
    })
}
