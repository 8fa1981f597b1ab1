import type { RailLimits } from '../../plan/index.js'
import type { PlanDocument, PlanStep } from '../../service/api/index.js'
import { ChartKey, RailChart } from '../charts/chart.js'
import { limitsOf } from '../charts/limits.js'
import { CautionText } from '../energise/cautions.js'
import { coursesOf, railsInOrder, readsInAmps } from '../words/course.js'
import { duration, durationWords, inA, inV } from '../words/figures.js'
import { planned } from './state.js'

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
        {durationWords(plan.expected_s)}, up to {inV(plan.figures.highest_V)}. The file is at level{' '}
        {plan.level} of 3.
      </p>
      {plan.by_hand?.map(({ text }) => (
        <p class="remark" key={text}>
          ✎ Limit by hand: {text}
        </p>
      ))}
      <Charts plan={plan} />
      <Hookup plan={plan} />
      <Steps plan={plan} />
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

function Hookup({ plan }: { readonly plan: PlanDocument }) {
  return (
    <section class="panel">
      <h2>Hook-up</h2>
      <p>
        Each line is confirmed by you at the start, then proved electrically before anything goes above 5 V.
      </p>
      <ol>
        {plan.hookup.map(({ rail, supply, positive, negative, first, proved_by, advice }) => (
          <li key={`${rail}${supply}`}>
            <strong>{rail}</strong>, from {supply}: positive to {positive}; negative to {negative}.
            {first.length > 0 && ` First: ${first.join('; ')}.`}
            <span class="quiet"> {proved_by}</span>
            {(advice ?? []).length > 0 && (
              <details>
                <summary>what would let less through</summary>
                {advice?.map((text) => (
                  <p key={text} class="quiet">
                    {text}
                  </p>
                ))}
              </details>
            )}
          </li>
        ))}
      </ol>
    </section>
  )
}

const columns = ['expected', 'band', 'trip', 'ceiling', 'supply limit'] as const

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
                  {each}
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
    </section>
  )
}

function StepRow({ step, plan }: { readonly step: PlanStep; readonly plan: PlanDocument }) {
  const limits = step.rail === null ? undefined : step.limits[step.rail]
  const inAmps = step.rail !== null && readsInAmps(plan, step.rail)
  const moves = step.do === 'raise' || step.do === 'lower'
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
        </span>
        {step.ask !== null && (
          <details>
            <summary>asks</summary>
            {step.ask.text}
          </details>
        )}
      </td>
      <td>{step.rail}</td>
      <td class="n">{moves ? inV(step.target_V) : ''}</td>
      <td class="n">{duration(step.expected_s)}</td>
      {limits === undefined ? (
        <td colSpan={columns.length} class="quiet">
          {step.hookup?.because ?? ''}
        </td>
      ) : (
        columns.map((column) => <Limit key={column} column={column} limits={limits} inAmps={inAmps} />)
      )}
    </tr>
  )
}

function Limit({
  column,
  limits,
  inAmps,
}: {
  readonly column: (typeof columns)[number]
  readonly limits: RailLimits
  readonly inAmps: boolean
}) {
  const shown: Readonly<Record<(typeof columns)[number], string>> = {
    expected: inA(limits.expected_A, inAmps),
    band: `${inA(limits.lower_A, inAmps)} to ${inA(limits.upper_A, inAmps)}`,
    trip: inA(limits.trip_A, inAmps),
    ceiling: inA(limits.ceiling_A, inAmps),
    'supply limit': inA(limits.supply_limit_A, inAmps),
  }
  const reasons = limits.because.filter(({ limit }) => limit === column)
  const byHand = reasons.some(({ by_hand }) => by_hand === true)
  if (reasons.length === 0) return <td class="n">{shown[column]}</td>
  return (
    <td class="n">
      <details>
        <summary>
          {byHand && '✎ '}
          {shown[column]}
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
