import { computed } from '@preact/signals'
import type { Plan } from '../../plan/index.js'
import type { LiveRail } from '../../service/api/index.js'
import { serviceNow_ms, now_ms, stale } from '../live/clock.js'
import { livePlan } from '../live/plan.js'
import { snapshot } from '../live/state.js'
import { amps, duration, durationWords, inA, inV, volts } from '../words/figures.js'
import { readsInAmps } from '../words/course.js'
import { shapes, verdictOf } from '../words/verdict.js'
import { ChartKey } from '../charts/chart.js'
import { Alarms, Said } from './messages.js'
import { Question } from './question.js'
import { RailTrace } from './rail-trace.js'
import { Title } from './title.js'

const view = computed(() => snapshot.value?.view ?? null)

/** The run: figures to be read from two metres, what each should be, and where it is going. */
export function Running() {
  const now = snapshot.value
  const seen = view.value
  if (now === null) return null
  if (seen === null) return <p class="quiet">The run has begun; no figures yet.</p>
  const goingOff = now.phase === 'going off'
  return (
    <div class="running" data-stale={stale.value}>
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
          <dd>{seen.waiting_for}</dd>
        </div>
        <div>
          <dt>Time left, about</dt>
          <dd class="figure">{stale.value || unheard() ? '?' : duration(seen.left_s)}</dd>
        </div>
        <div>
          <dt>Run so far</dt>
          <dd class="figure">{duration(seen.elapsed_s)}</dd>
        </div>
        <div class="stage">
          <dt>Stage</dt>
          <dd>
            {seen.stage}
            {seen.rail !== null && `, ${seen.rail}`}
          </dd>
        </div>
      </dl>
      {unheard() && (
        <p class="finding large" role="alert">
          ✕ Nothing is heard from the program that drives the supplies: what stands here is of then, not of
          now.
        </p>
      )}
      <Alarms />
      {now.prompt !== null && (
        <div class="panel asked">
          <h2>Your answer is wanted</h2>
          <Question key={now.prompt.prompt} prompt={now.prompt} />
        </div>
      )}
      <div class="rails">
        {seen.rails.map((rail) => (
          <Rail key={rail.rail} rail={rail} plan={livePlan.value} />
        ))}
      </div>
      <ChartKey />
      <Inputs />
      <Said />
    </div>
  )
}

function Rail({ rail, plan }: { readonly rail: LiveRail; readonly plan: Plan | null }) {
  const inAmps = plan === null ? (rail.limits?.expected_A ?? 0) >= 2 : readsInAmps(plan, rail.rail)
  const old =
    stale.value ||
    (rail.measured_ms !== null && serviceNow_ms(now_ms.value) - rail.measured_ms > rail.stale_ms)
  const { limits } = rail
  // No channel switches a rail on a person's own knob, so "off" would say nothing about it.
  const byHand = rail.class !== 'programmed'
  const verdict =
    byHand && rail.amps === null
      ? 'not judged here'
      : verdictOf(rail.amps, rail.output === 'off' && !byHand ? null : limits)
  const [V, A] = [volts(rail.volts), amps(rail.amps, inAmps)]
  const role = plan?.rails[rail.rail]?.role
  return (
    <section class="rail" data-old={old} data-verdict={verdict} aria-label={`Rail ${rail.rail}`}>
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
      {old && <p class="old-word">✕ {stale.value ? 'stale, not of now' : 'this reading is too old'}</p>}
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
              <dd>{inA(limits.trip_A, inAmps)}</dd>
            </div>
            <div>
              <dt>ceiling</dt>
              <dd>{inA(limits.ceiling_A, inAmps)}</dd>
            </div>
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
    </section>
  )
}

/** Run seconds since the controller was last heard. */
function sinceHeard_s(): number {
  const heard_ms = view.value?.heard_ms
  if (heard_ms === undefined) return 0
  return (Math.max(0, serviceNow_ms(now_ms.value) - heard_ms) / 1000) * (snapshot.value?.run?.speed ?? 1)
}
const unheard = (): boolean => sinceHeard_s() / (snapshot.value?.run?.speed ?? 1) > unheard_s
/** Nothing was heard of the run for longer than any view takes. */
const unheard_s = 2
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
