import { computed } from '@preact/signals'
import type { Plan } from '../../plan/index.js'
import type { LiveRail } from '../../service/api/index.js'
import { now_ms, serviceNow_ms, stale } from '../live/clock.js'
import { isOld, notOfNow, oldWords, typedAgo, unheard } from '../live/old.js'
import { livePlan } from '../live/plan.js'
import { me, snapshot } from '../live/state.js'
import { amps, duration, durationWords, inA, inV, volts } from '../words/figures.js'
import { readsInAmps, stageName } from '../words/course.js'
import { shapes, verdictOf } from '../words/verdict.js'
import { ChartKey } from '../charts/chart.js'
import { Alarms, Said } from './messages.js'
import { keyOf, Question } from './question.js'
import { RailTrace } from './rail-trace.js'
import { Title } from './title.js'
import { WaivedCold } from './waived.js'

const view = computed(() => snapshot.value?.view ?? null)

/** The run: figures to be read from two metres, what each should be, and where it is going. */
export function Running() {
  const now = snapshot.value
  const seen = view.value
  if (now === null) return null
  if (seen === null) return <p class="quiet">The run has begun; no figures yet.</p>
  const goingOff = now.phase === 'going off'
  return (
    <div class="running" data-stale={notOfNow.value}>
      <Title run={now.run} />
      {goingOff && (
        <p class="finding large" role="alert">
          ▼ Going off: outputs are put off and measured. {seen.reason?.text}
        </p>
      )}
      <dl class="step">
        <div>
          <dt>Step</dt>
          <dd class="figure">
            {seen.step} of {seen.steps}
          </dd>
        </div>
        <div>
          <dt>Waiting for</dt>
          <dd class="figure">{seen.waiting_for}</dd>
        </div>
        <div>
          <dt>Time left, about</dt>
          <dd class="figure">{notOfNow.value ? '?' : duration(seen.left_s)}</dd>
        </div>
        <div>
          <dt>Run so far</dt>
          <dd class="figure">{duration(seen.elapsed_s)}</dd>
        </div>
        <div class="stage">
          <dt>Stage</dt>
          <dd class="figure">
            {stageName(seen.stage)}
            {seen.rail !== null && `, ${seen.rail}`}
          </dd>
        </div>
      </dl>
      {unheard.value && (
        <p class="finding large" role="alert">
          ✕ Nothing is heard from the program that drives the supplies: what stands here is of then, not of
          now.
        </p>
      )}
      <Alarms />
      {now.prompt !== null && (
        <div class="panel asked">
          <h2>Your answer is wanted</h2>
          <Question key={keyOf(now.prompt)} prompt={now.prompt} />
        </div>
      )}
      <div class="rails">
        {seen.rails.map((rail) => (
          <Rail key={rail.rail} rail={rail} plan={livePlan.value} />
        ))}
      </div>
      <ChartKey />
      <KeepOpen left_s={seen.left_s} />
      <Inputs />
      <WaivedCold />
      <Said />
    </div>
  )
}

function Rail({ rail, plan }: { readonly rail: LiveRail; readonly plan: Plan | null }) {
  const inAmps = plan === null ? (rail.limits?.expected_A ?? 0) >= 2 : readsInAmps(plan, rail.rail)
  const old = isOld(rail.rail)
  const typed = typedAgo(rail.rail)
  const { limits, charging_A = 0, soft_start = false } = rail
  // No channel switches a rail on a person's own knob, so "off" would say nothing about it.
  const byHand = rail.class !== 'programmed'
  const verdict =
    byHand && rail.amps === null
      ? 'not judged here'
      : verdictOf(rail.amps, rail.output === 'off' && !byHand ? null : limits, rail)
  const [V, A] = [volts(rail.volts), amps(rail.amps, inAmps)]
  const role = plan?.rails[rail.rail]?.role
  return (
    <section
      class="rail"
      data-old={old}
      data-typed={typed !== null}
      data-verdict={verdict}
      aria-label={`Rail ${rail.rail}`}
    >
      <h2>
        {rail.rail}
        <small>
          {role !== undefined && role !== rail.rail && `${role}, `}
          {rail.class === 'programmed'
            ? `output ${rail.output}`
            : rail.class === 'watched'
              ? 'your knob, watched'
              : 'by hand, not switched from here'}
        </small>
      </h2>
      <div class="figures">
        <p class="huge">
          <span class="number">{V.number}</span>
          <span class="unit">{V.unit}</span>
        </p>
        <p class="huge">
          <span class="number">{A.number}</span>
          <span class="unit">{A.unit}</span>
        </p>
      </div>
      {typed !== null && <p class="typed-word">✎ typed by you {typed} ago, not measured since</p>}
      {old && <p class="old-word">✕ {oldWords()}</p>}
      <p class="verdict">
        <span aria-hidden="true">{shapes[verdict]}</span> {verdict}
        {rail.over_rating !== undefined && <strong> ▲ {rail.over_rating}</strong>}
      </p>
      <dl class="limits">
        <div>
          <dt>set</dt>
          <dd>{inV(rail.set_V)}</dd>
        </div>
        {limits !== null && (
          <>
            <div>
              <dt>expected</dt>
              <dd>{inA(limits.expected_A, inAmps)}</dd>
            </div>
            <div>
              <dt>band</dt>
              <dd>
                {inA(limits.lower_A, inAmps)} to {inA(limits.upper_A, inAmps)}
              </dd>
            </div>
            <div>
              <dt>trip</dt>
              <dd>{soft_start ? 'none while heaters are cold' : inA(limits.trip_A + charging_A, inAmps)}</dd>
            </div>
            <div>
              <dt>ceiling</dt>
              <dd>{soft_start ? 'the supply’s own limit' : inA(limits.ceiling_A + charging_A, inAmps)}</dd>
            </div>
            {charging_A > 0 && (
              <div>
                <dt>of both to charge capacitors</dt>
                <dd>{inA(charging_A, inAmps)}</dd>
              </div>
            )}
            {limits.manual !== undefined && (
              <div>
                <dt>✎ limit by hand</dt>
                <dd>
                  {inA(limits.manual.trip_A, inAmps)}: {limits.manual.reason}
                </dd>
              </div>
            )}
          </>
        )}
      </dl>
      <RailTrace rail={rail.rail} inAmps={inAmps} plan={plan} />
      <Reasons rail={rail.rail} plan={plan} />
    </section>
  )
}

/** From here on a run is left alone by closing the page; what that does is said before somebody does it. */
const long_s = 1800
function KeepOpen({ left_s }: { readonly left_s: number }) {
  const unwatched_s = me.value?.unwatched_s
  if (unwatched_s === undefined) return null
  return (
    <p class={left_s > long_s ? 'remark' : 'quiet'}>
      A page has to stay open, here or elsewhere: once none has watched for {durationWords(unwatched_s)}, this
      run is run down.
    </p>
  )
}

/** Why each limit of the step is what it is, and whose figure it rests on. */
function Reasons({ rail, plan }: { readonly rail: string; readonly plan: Plan | null }) {
  const step = view.value?.step
  const because = plan?.steps.find(({ index }) => index === step)?.limits[rail]?.because ?? []
  if (because.length === 0) return null
  return (
    <details class="reasons">
      <summary>Why these limits</summary>
      <ul>
        {because.map(({ limit, text, source }) => (
          <li key={`${limit} ${text}`}>
            {text} <span class="quiet">({source})</span>
          </li>
        ))}
      </ul>
    </details>
  )
}

/** Run seconds since the controller was last heard, and on as long as it is not. */
function sinceHeard_s(): number {
  const heard_ms = view.value?.heard_ms
  if (heard_ms === undefined) return 0
  return (Math.max(0, serviceNow_ms(now_ms.value) - heard_ms) / 1000) * (snapshot.value?.run?.speed ?? 1)
}
const late_s = 1

/** Meters on a line: each with its age, since one that is quiet tells nothing. */
function Inputs() {
  const inputs = view.value?.inputs ?? []
  if (inputs.length === 0) return null
  return (
    <section class="panel inputs" aria-label="Meters on a line">
      <h2>Meters on a line</h2>
      <dl>
        {inputs.map(({ name, at, shows, age_s: then_s, quiet_s }) => {
          // It grows older too while nothing more is heard of the run.
          const age_s = then_s === null ? null : then_s + sinceHeard_s()
          const old = stale.value || age_s === null || age_s > quiet_s + late_s
          return (
            <div key={name} data-old={old}>
              <dt>
                {name}
                {at !== null && ` at ${at}`}
              </dt>
              <dd class="figure">
                {shows ?? '–'}
                {old && (
                  <span class="old-word">
                    {' '}
                    ✕ {age_s === null ? 'nothing read' : `${durationWords(age_s)} old`}
                  </span>
                )}
              </dd>
            </div>
          )
        })}
      </dl>
    </section>
  )
}
