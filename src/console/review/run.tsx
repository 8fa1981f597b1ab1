import { useSignal } from '@preact/signals'
import { useEffect, useMemo, useRef } from 'preact/hooks'
import type * as z from 'zod'
import type { Plan } from '../../plan/index.js'
import {
  inForceShape,
  runPlanShape,
  sealShape,
  storyShape,
  tracesShape,
  type ApiInForce,
  type ApiStory,
  type Traces,
} from '../../service/api/index.js'
import { addressFor, call, type Came, type Why } from '../api/call.js'
import { ChartKey, RailChart } from '../charts/chart.js'
import { addressOf } from '../shell/places.js'
import { Refused } from '../shell/refused.js'
import { parted } from '../words/parted.js'
import { railsInOrder, readsInAmps, stageName } from '../words/course.js'
import { duration, durationWords, inA, inV, moment } from '../words/figures.js'
import { Beside } from './beside.js'
import { Compared, OtherRun } from './compare.js'
import { limitsHeld } from './held.js'
import { LimitWords } from './limit-words.js'
import { Causes } from './causes.js'
import { Notes } from './notes.js'
import { Replay } from './replay.js'
import { momentsOf } from './moments.js'
import { columnsHere, currentOf, limitsOf, traceOf } from './traces.js'
import { closingClass, exports } from './words.js'

/** One run, told whole: how it ended, its charts, its steps, what happened; and another laid over it. */
export function OneRun({ run, other }: { readonly run: string; readonly other: string | null }) {
  const story = useSignal<ApiStory | null>(null)
  const plan = useSignal<Plan | null>(null)
  const why = useSignal<Why | null>(null)
  const planless = useSignal<Why | null>(null)
  const seal = useSignal<z.output<typeof sealShape> | null>(null)
  // Asked for before anything else is known: the first plot waits for nothing but the slowest of three answers.
  const first = useMemo(() => tracesIn(run, {}), [run])
  const tell = (): void => {
    void call('run', storyShape, { params: { run } }).then((came) => {
      if (came.ok) story.value = came.value
      else why.value = came.why
    })
  }
  useEffect(() => {
    tell()
    void call('runPlan', runPlanShape, { params: { run } }).then((came) => {
      if (came.ok) plan.value = came.value
      else planless.value = came.why
    })
    void call('seal', sealShape, { params: { run }, within_ms: 120_000 }).then((came) => {
      if (came.ok) seal.value = came.value
    })
  }, [run])
  const told = story.value
  if (told === null)
    return why.value === null ? <p class="quiet">The run is being read.</p> : <Refused why={why.value} />
  return (
    <article>
      <p class="no-print">
        <a href={addressOf('review')}>All runs</a>
      </p>
      <h1>
        {told.equipment ?? run}
        {told.profile !== null && `: ${told.profile}`}
      </h1>
      <p class="quiet">
        {moment(told.known?.started ?? null)}, {told.bench ?? 'bench not known'}
        {told.bench_kind === 'virtual' && ' (virtual)'}, lasted {durationWords(told.duration_s)}. {run}
      </p>
      {told.damage.map((text) => (
        <p class="finding" key={text}>
          ✕ Damaged: {text}
        </p>
      ))}
      {seal.value?.finding === true && (
        <p class="finding" role="alert">
          ✕ {seal.value.text}
        </p>
      )}
      <section class="panel closing" aria-label="How it ended">
        {told.closing
          .flatMap((line) => parted(line))
          .map((line, i) => (
            <p key={i} class={closingClass(line, i)}>
              {line}
            </p>
          ))}
        {told.under_way && (
          <p class="no-print">
            <a href={addressOf('energise')}>Watch it</a>
          </p>
        )}
      </section>
      {plan.value !== null && <Charts run={run} other={other} story={told} plan={plan.value} first={first} />}
      <Refused why={planless.value} />
      <OtherRun run={run} equipment={told.equipment} other={other} />
      {other !== null && <Compared a={run} b={other} />}
      {told.unproved.length > 0 && (
        <section class="panel">
          <h2>Not proved by this run</h2>
          <ul>
            {told.unproved.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        </section>
      )}
      <Causes run={run} />
      <Steps story={told} plan={plan.value} />
      <Events story={told} />
      <Notes run={run} notes={told.notes} added={tell} />
      <TakeAway run={run} />
      <Replay run={run} />
      <p class="quiet">{seal.value?.text ?? 'The seal of the record is being checked.'}</p>
    </article>
  )
}

/** Currents of a part of the run, as wide as the screen; volts and meters are as many again, and come when they are asked for. */
function tracesIn(
  run: string,
  part: { readonly from_s?: number; readonly to_s?: number },
  signal?: AbortSignal,
): Promise<Came<Traces>> {
  const query = { width: columnsHere(), ...part, unit: 'A' }
  return call('traces', tracesShape, { params: { run }, query, ...(signal !== undefined && { signal }) })
}

function Charts({
  run,
  other,
  story,
  plan,
  first,
}: {
  readonly run: string
  readonly other: string | null
  readonly story: ApiStory
  readonly plan: Plan
  readonly first: Promise<Came<Traces>>
}) {
  const whole = { from_s: 0, to_s: Math.max(1, story.duration_s) }
  const window = useSignal(whole)
  const traces = useSignal<Traces | null>(null)
  const over = useSignal<Traces | null>(null)
  const why = useSignal<Why | null>(null)
  const inForce = useSignal<ApiInForce | null>(null)
  const { from_s, to_s } = window.value
  const held = inForce.value?.rails ?? null
  const limits = useMemo(() => {
    const known = (held ?? []).some(({ t_s }) => t_s.length > 0)
    return (rail: string) => (known ? limitsHeld(held, rail, story.duration_s) : limitsOf(story, rail))
  }, [held, story])
  const workOut = (however_long: 'yes' | 'no'): void => {
    void call('inForce', inForceShape, {
      params: { run },
      query: { however_long },
      within_ms: 600_000,
    }).then((came) => {
      inForce.value = came.ok ? came.value : { run, rails: [], gap: came.why.what }
    })
  }
  // Behind the first plot, which waits for nothing.
  const plotted = traces.value !== null
  useEffect(() => {
    if (plotted) workOut('no')
  }, [run, plotted])
  // Rails whose chart stands drawn with what came last; null while that is awaited.
  const drawn = useRef<Set<string> | null>(null)
  useEffect(() => {
    drawn.current = null
    const asked = new AbortController()
    const isWhole = from_s === whole.from_s && to_s === whole.to_s
    const wanted = isWhole && traces.peek() === null ? first : tracesIn(run, { from_s, to_s }, asked.signal)
    void wanted.then((came) => {
      if (asked.signal.aborted) return
      if (came.ok) {
        drawn.current = new Set()
        traces.value = came.value
      }
      why.value = came.ok ? null : came.why
    })
    if (other !== null)
      void tracesIn(other, { from_s, to_s }, asked.signal).then((came) => {
        if (came.ok && !asked.signal.aborted) over.value = came.value
      })
    return () => {
      asked.abort()
    }
  }, [run, other, from_s, to_s])
  const look = (from: number, to: number): void => {
    const [least, most] = [whole.from_s, whole.to_s]
    const wide = Math.min(most - least, Math.max(0.2, to - from))
    const left = Math.max(least, Math.min(most - wide, from))
    window.value = { from_s: left, to_s: left + wide }
  }
  const middle = (from_s + to_s) / 2
  const half = (to_s - from_s) / 2
  const moments = momentsOf(story, from_s, to_s)
  const found = traces.value
  const rails = found === null ? [] : railsInOrder(plan).filter((rail) => currentOf(found, rail) !== null)
  // Measured by `npm run bench -- --only page`.
  const onDrawn = (rail: string): void => {
    if (drawn.current?.add(rail).size !== rails.length) return
    drawn.current = null
    performance.clearMarks('traces drawn')
    performance.mark('traces drawn')
  }
  return (
    <section
      class="panel"
      aria-label="Charts"
      data-drawn={traces.value === null ? undefined : `${traces.value.from_s} ${traces.value.to_s}`}
    >
      <div class="row no-print" role="group" aria-label="What part of the run is shown">
        <button
          type="button"
          onClick={() => {
            look(middle - half / 2, middle + half / 2)
          }}
        >
          Closer
        </button>
        <button
          type="button"
          onClick={() => {
            look(middle - half * 2, middle + half * 2)
          }}
        >
          Wider
        </button>
        <button
          type="button"
          onClick={() => {
            look(from_s - half, to_s - half)
          }}
        >
          Earlier
        </button>
        <button
          type="button"
          onClick={() => {
            look(from_s + half, to_s + half)
          }}
        >
          Later
        </button>
        <button
          type="button"
          onClick={() => {
            look(whole.from_s, whole.to_s)
          }}
        >
          Whole run
        </button>
        <p role="status">
          {duration(from_s)} to {duration(to_s)}
        </p>
      </div>
      <p class="quiet no-print">
        Or draw across a chart. Every column shows its first, last, lowest and highest reading.
      </p>
      <Refused why={why.value} />
      {found !== null &&
        rails.map((rail) => {
          const stream = currentOf(found, rail)
          const laid = over.value
          return (
            <figure key={rail}>
              <figcaption>{rail}</figcaption>
              <RailChart
                describes={`Current of ${rail} from ${durationWords(from_s)} to ${durationWords(to_s)} with the limits of each step. The table of steps has the figures.`}
                inAmps={readsInAmps(plan, rail)}
                trace={traceOf(found, stream)}
                over={laid === null || other === null ? undefined : traceOf(laid, currentOf(laid, rail))}
                limits={limits(rail)}
                from_s={from_s}
                to_s={to_s}
                moments={moments}
                onZoom={look}
                onDrawn={() => {
                  onDrawn(rail)
                }}
              />
            </figure>
          )
        })}
      {other !== null && <p class="quiet">Dashed: the other run.</p>}
      <ChartKey />
      <LimitWords
        found={inForce.value}
        workOut={() => {
          inForce.value = null
          workOut('yes')
        }}
      />
      <Beside {...{ run, from_s, to_s, moments, look }} />
    </section>
  )
}

function Steps({ story, plan }: { readonly story: ApiStory; readonly plan: Plan | null }) {
  const steps = story.steps.filter(({ began_s, rails }) => began_s !== null && rails.length > 0)
  if (steps.length === 0) return null
  return (
    <section class="panel">
      <h2 id="run-steps">Steps, as measured at the end of each</h2>
      <div class="scroll" tabIndex={0} role="region" aria-labelledby="run-steps">
        <table>
          <thead>
            <tr>
              <th scope="col">step</th>
              <th scope="col">rail</th>
              <th scope="col" class="n">
                volts
              </th>
              <th scope="col" class="n">
                current
              </th>
              <th scope="col" class="n">
                band
              </th>
              <th scope="col" class="n">
                trip
              </th>
              <th scope="col">verdict</th>
            </tr>
          </thead>
          <tbody>
            {steps.flatMap((step) =>
              step.rails.map((rail, i) => {
                const inAmps = plan !== null && readsInAmps(plan, rail.rail)
                return (
                  <tr key={`${step.index} ${rail.rail}`}>
                    {i === 0 && (
                      <th scope="rowgroup" rowSpan={step.rails.length}>
                        {step.index} {stageName(step.stage)}, {duration(step.began_s ?? 0)}
                      </th>
                    )}
                    <td>{rail.rail}</td>
                    <td class="n">{inV(rail.volts)}</td>
                    <td class="n">{inA(rail.amps, inAmps)}</td>
                    <td class="n">
                      {rail.verdict === 'lowered'
                        ? ''
                        : `${inA(rail.lower_A, inAmps)} to ${inA(rail.upper_A, inAmps)}`}
                    </td>
                    <td class="n">
                      {rail.trip_by_hand === true && <span title="limit by hand">✎ </span>}
                      {inA(rail.trip_A, inAmps)}
                    </td>
                    <td>{rail.verdict}</td>
                  </tr>
                )
              }),
            )}
          </tbody>
        </table>
      </div>
    </section>
  )
}

function Events({ story }: { readonly story: ApiStory }) {
  const told = story.events.filter(({ what }) => what !== 'line health')
  return (
    <details class="panel">
      <summary>What happened, by time ({told.length})</summary>
      <div class="scroll" tabIndex={0} role="region" aria-label="What happened, by time">
        <table>
          <thead>
            <tr>
              <th scope="col" class="n">
                time
              </th>
              <th scope="col">what</th>
              <th scope="col">rail</th>
              <th scope="col">in words</th>
            </tr>
          </thead>
          <tbody>
            {told.map(({ t_s, what, rail, text }, i) => (
              <tr key={i}>
                <td class="n">{duration(t_s)}</td>
                <td>{what}</td>
                <td>{rail}</td>
                <td>{text}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </div>
    </details>
  )
}

function TakeAway({ run }: { readonly run: string }) {
  return (
    <section class="panel no-print">
      <h2>Take away</h2>
      <ul>
        <li>
          <a href={addressFor('report', { params: { run } })}>Report, one page to print and keep</a>
        </li>
        {exports.map(([format, words]) => (
          <li key={format}>
            <a href={addressFor('export', { params: { run }, query: { format } })} download>
              {words}
            </a>
          </li>
        ))}
      </ul>
    </section>
  )
}
