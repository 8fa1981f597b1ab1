import {
  isStepJudged,
  isStepLowered,
  type Plan,
  type RailLimits,
  seesAt,
  signsShown,
  toldBeforeSteps,
  toldBehindSteps,
  toldOfCharts,
  toldOfOff,
} from '../../plan/index.js'
import type { PlanDocument, PlanStep } from '../../service/api/index.js'
import { ChartKey, RailChart } from '../charts/chart.js'
import { limitsOf } from '../charts/limits.js'
import { CautionText } from '../energise/cautions.js'
import { coursesOf, railsInOrder, readsInAmps } from '../words/course.js'
import { duration, durationWords, inA, inV, perSecond } from '../words/figures.js'
import { windowOf } from '../words/window.js'
import { Hookup } from './hookup.js'
import { planned } from './state.js'
import { Told } from './told.js'

/** What a run would do and why: hook-up, every step with its limits, each limit with its reason. */
export function PlanView() {
  const now = planned.value
  if (now === null) return null
  const { plan } = now
  return (
    <article>
      <h1>{plan.profile}</h1>
      <p>
        {plan.equipment} on {plan.bench}
        {plan.bench_kind === 'virtual' && ' (virtual)'}: {plan.steps.length} steps, about{' '}
        {durationWords(plan.expected_s)} of the {durationWords(plan.time_budget_s)} it may take, up to{' '}
        {inV(plan.figures.highest_V)}. The file is at level {plan.level} of 3.
      </p>
      {plan.by_hand?.map(({ text }) => (
        <p class="remark" key={text}>
          ✎ Limit by hand: {text}
        </p>
      ))}
      <Charts plan={plan} />
      <Hookup plan={plan} />
      <Told sections={toldBeforeSteps(plan)} />
      <Steps plan={plan} />
      <Told sections={[...toldBehindSteps(plan), ...toldOfCharts(plan), toldOfOff(plan)]} />
      {plan.unproved.length > 0 && (
        <section class="panel">
          <h2>What this plan does not prove</h2>
          <ul>
            {plan.unproved.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        </section>
      )}
      <Rules plan={plan} />
      <details class="panel">
        <summary>The cautions as a start will show them</summary>
        <p class="quiet">Read here they acknowledge nothing.</p>
        <CautionText text={now.cautions} />
      </details>
      <p class="quiet">
        Plan <code>{plan.hash.slice(0, 16)}</code>
      </p>
    </article>
  )
}

function Charts({ plan }: { readonly plan: PlanDocument }) {
  const courses = coursesOf(plan)
  return (
    <section class="panel" aria-label="The plan as charts">
      <h2>The way of each rail</h2>
      <div class="charts">
        {railsInOrder(plan).map((rail) => {
          const course = courses.find((each) => each.rail === rail)
          if (course === undefined) return null
          const limits = limitsOf(course)
          if (!limits.some((each) => each.limits !== null)) return null
          return (
            <figure key={rail}>
              <figcaption>{rail}</figcaption>
              <RailChart
                describes={`Expected current of ${rail} over the plan with band, trip and ceiling. The table below has every figure.`}
                inAmps={readsInAmps(plan, rail)}
                trace={{ t_s: [], A: [] }}
                limits={limits}
                from_s={0}
                to_s={course.points.at(-1)?.t_s ?? 1}
                height={190}
              />
            </figure>
          )
        })}
      </div>
      <ChartKey />
    </section>
  )
}

/** Each with its reasons, which go by the same names. */
const columns = [
  'slew',
  'hold',
  'expected',
  'band',
  'ask',
  'trip',
  'ceiling',
  'supply limit',
  'over-voltage',
] as const
type Column = (typeof columns)[number]
const headings: Readonly<Record<Column, string>> = {
  slew: 'at most',
  hold: 'hold',
  expected: 'expected',
  band: 'band',
  ask: 'ask below',
  trip: 'trip',
  ceiling: 'ceiling',
  'supply limit': 'supply limit',
  'over-voltage': 'over-voltage',
}
/** What is worth saying of a rail whose current nothing reads. */
const withoutAmmeter: readonly Column[] = ['slew', 'hold', 'supply limit', 'over-voltage']

function Steps({ plan }: { readonly plan: PlanDocument }) {
  return (
    <section class="panel">
      <h2 id="steps-title">Steps</h2>
      <p class="quiet">Each figure opens to its reason and where that comes from.</p>
      <div class="scroll" tabIndex={0} role="region" aria-labelledby="steps-title">
        <table class="steps">
          <thead>
            <tr>
              <th scope="col" class="n">
                step
              </th>
              <th scope="col">stage</th>
              <th scope="col">rail</th>
              <th scope="col" class="n">
                to
              </th>
              <th scope="col" class="n">
                time
              </th>
              {columns.map((each) => (
                <th scope="col" class="n" key={each}>
                  {headings[each]}
                </th>
              ))}
            </tr>
          </thead>
          <tbody>
            {plan.steps.map((step) => (
              <StepRow key={step.index} step={step} plan={plan} />
            ))}
          </tbody>
        </table>
      </div>
      {plan.left_out?.map(({ text }) => (
        <p key={text}>{text}</p>
      ))}
      {plan.gas?.map(({ step, text }) => (
        <p key={`${step} ${text}`}>
          Step {step}: {text}.
        </p>
      ))}
    </section>
  )
}

function StepRow({ step, plan }: { readonly step: PlanStep; readonly plan: PlanDocument }) {
  const limits = step.rail === null ? undefined : step.limits[step.rail]
  const moves = step.do === 'raise' || step.do === 'lower' || step.do === 'hook-up check'
  return (
    <tr>
      <th scope="row" class="n">
        {step.index}
      </th>
      <td class="stage">
        {step.stage}
        <span class="quiet">
          {' '}
          {step.do === 'ask' ? 'a question' : step.do}, {step.mode}
          {step.hands_clear && ', hands clear'}
          {step.lines_quiet_since !== undefined && ', line errors counted'}
          {step.only_if !== undefined &&
            `, only if the run finds ${step.only_if.over_rating} over its rating`}
        </span>
        {step.ask !== null && (
          <details>
            <summary>asks</summary>
            {step.ask.text}
            {step.ask.wants.kind === 'reading' && ` Expected: ${windowOf(step.ask.wants)}.`}{' '}
            <span class="quiet">
              Unanswered for {durationWords(step.ask.timeout_s)}, the run ends with everything off.
            </span>
          </details>
        )}
        <Shows step={step} plan={plan} />
      </td>
      <td>{step.rail}</td>
      <td class="n">{moves ? inV(step.target_V) : ''}</td>
      <td class="n">{duration(step.expected_s)}</td>
      {limits === undefined ? (
        <td colSpan={columns.length} class="quiet">
          {step.hookup?.because ?? ''}
        </td>
      ) : (
        columns.map((column) => (
          <Limit key={column} column={column} step={step} limits={limits} plan={plan} />
        ))
      )}
    </tr>
  )
}

/** What a rise would show of faults, and what it would not. */
function Shows({ step, plan }: { readonly step: PlanStep; readonly plan: Plan }) {
  const sees = seesAt(plan, step)
  const signs = signsShown(plan, step)
  if (sees === null && signs.length === 0) return null
  return (
    <details>
      <summary>what would show</summary>
      {sees !== null && <p class="why">{sees}</p>}
      {signs.length > 0 && (
        <>
          <p class="why">This would show against what is expected:</p>
          <ul class="why">
            {signs.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        </>
      )}
    </details>
  )
}

function Limit({
  column,
  step,
  limits,
  plan,
}: {
  readonly column: Column
  readonly step: PlanStep
  readonly limits: RailLimits
  readonly plan: Plan
}) {
  const judged = isStepJudged(plan, step) || withoutAmmeter.includes(column)
  const shown = judged ? figureOf(column, step, limits, plan) : 'not judged'
  const reasons = judged ? limits.because.filter(({ limit }) => limit === column) : []
  const byHand =
    reasons.some(({ by_hand }) => by_hand === true) || (column === 'trip' && limits.manual?.in_force === true)
  if (shown === '' || reasons.length === 0)
    return <td class={judged ? 'n' : 'n quiet'}>{`${byHand ? '✎ ' : ''}${shown}`}</td>
  return (
    <td class="n">
      <details>
        <summary>
          {byHand && '✎ '}
          {shown}
        </summary>
        {reasons.map(({ text, source, unverified }) => (
          <p key={text} class="why">
            {unverified === true && '△ unverified. '}
            {text} <span class="quiet">Source: {source}</span>
          </p>
        ))}
      </details>
    </td>
  )
}

/** As the terminal has it: what is no yardstick in a step is not shown as one. */
function figureOf(column: Column, step: PlanStep, limits: RailLimits, plan: Plan): string {
  const inAmps = step.rail !== null && readsInAmps(plan, step.rail)
  const lowered = isStepLowered(step, limits)
  switch (column) {
    case 'slew':
      return step.slew_V_per_s > 0 ? perSecond(step.slew_V_per_s) : ''
    case 'hold':
      return step.hold_s > 0 ? durationWords(step.hold_s) : ''
    case 'expected':
      return lowered ? '' : limits.manual?.alone === true ? 'not known' : inA(limits.expected_A, inAmps)
    case 'band':
      return lowered ? '' : `${inA(limits.lower_A, inAmps)} to ${inA(limits.upper_A, inAmps)}`
    case 'ask':
      return lowered ? '' : inA(limits.ask_A, inAmps)
    case 'trip':
      return inA(limits.trip_A, inAmps)
    case 'ceiling':
      return inA(limits.ceiling_A, inAmps)
    case 'supply limit':
      return inA(limits.supply_limit_A, inAmps)
    case 'over-voltage':
      return limits.over_voltage_V > 0 ? inV(limits.over_voltage_V) : ''
  }
}

function Rules({ plan }: { readonly plan: PlanDocument }) {
  return (
    <details class="panel">
      <summary>Trip rules in force ({plan.rules.length})</summary>
      <ul>
        {plan.rules.map(({ code, text, warn, trip, for_s, unit, source }) => (
          <li key={code}>
            <strong>{code}</strong>: {text}
            {trip !== null && ` Trips at ${trip} ${unit}`}
            {for_s > 0 && ` for ${for_s} s`}
            {warn !== null && `, warns at ${warn} ${unit}`}. <span class="quiet">Source: {source}</span>
          </li>
        ))}
      </ul>
    </details>
  )
}
