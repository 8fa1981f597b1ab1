import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { tracesShape, type Traces } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { RailChart, type Moment } from '../charts/chart.js'
import { Refused } from '../shell/refused.js'
import { durationWords } from '../words/figures.js'
import { columnsHere, traceOf } from './traces.js'

/** Volts of each rail, and what every meter read: fetched when they are asked for, since they are as many again as the currents. */
export function Beside({
  run,
  from_s,
  to_s,
  moments,
  look,
}: {
  readonly run: string
  readonly from_s: number
  readonly to_s: number
  readonly moments: readonly Moment[]
  readonly look: (from_s: number, to_s: number) => void
}) {
  const open = useSignal(false)
  return (
    <details
      class="no-print"
      onToggle={(event) => {
        open.value = event.currentTarget.open
      }}
    >
      <summary>Volts, and what the meters read</summary>
      {open.value && <Traced {...{ run, from_s, to_s, moments, look }} />}
    </details>
  )
}

function Traced({ run, from_s, to_s, moments, look }: Parameters<typeof Beside>[0]) {
  const traces = useSignal<Traces | null>(null)
  const why = useSignal<Why | null>(null)
  useEffect(() => {
    const asked = new AbortController()
    const query = { width: columnsHere(), from_s, to_s }
    void call('traces', tracesShape, { params: { run }, query, signal: asked.signal }).then((came) => {
      if (asked.signal.aborted) return
      if (came.ok) traces.value = came.value
      why.value = came.ok ? null : came.why
    })
    return () => {
      asked.abort()
    }
  }, [run, from_s, to_s])
  const found = traces.value
  if (found === null)
    return why.value === null ? <p class="quiet">They are being read.</p> : <Refused why={why.value} />
  // Currents of rails have charts of their own, with their limits.
  const streams = found.streams.filter(
    ({ rail, unit, name }) => unit !== 'A' || rail === null || name.startsWith('meter.'),
  )
  if (streams.length === 0) return <p>Nothing but currents was measured.</p>
  return (
    <>
      {streams.map((stream) => (
        <figure key={stream.name}>
          <figcaption>
            {stream.name}
            {stream.rail !== null && `, ${stream.rail}`}
          </figcaption>
          <RailChart
            describes={`${stream.name} in ${stream.unit} from ${durationWords(from_s)} to ${durationWords(to_s)}. The table of steps has the volts at the end of each.`}
            inAmps={false}
            unit={stream.unit}
            trace={traceOf(found, stream)}
            limits={[]}
            from_s={from_s}
            to_s={to_s}
            moments={moments}
            height={190}
            onZoom={look}
          />
        </figure>
      ))}
    </>
  )
}
