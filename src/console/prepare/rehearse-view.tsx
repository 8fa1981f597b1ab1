import { useSignal } from '@preact/signals'
import { useMemo } from 'preact/hooks'
import type { PlanParts, Planned } from '../../service/api/index.js'
import { faultKinds, faultsOf } from '../../virtual/index.js'
import { ChartKey, RailChart, type Moment } from '../charts/chart.js'
import { Field } from '../shell/field.js'
import { railsInOrder, readsInAmps, stageName } from '../words/course.js'
import { duration, durationWords, inA, inV, typedNumber } from '../words/figures.js'
import { inForce } from '../../service/api/index.js'
import { rehearsedOff } from '../words/outputs.js'
import { shapes, verdictOf } from '../words/verdict.js'
import { lastOf_s, limitsIn, seenAt, traceOf } from './kept.js'
import { before, giveUp, rehearsed, rehearseInPage, working } from './rehearsal.js'
import { planned } from './state.js'

const at = { second: 0 }

/** The whole plan against a virtual set, in this page, on the same core; any fault at any moment, any limit tried by hand. */
export function View() {
  const now = planned.value
  if (now?.parts == null) return null
  return <Rehearse key={now.plan.hash} now={now} parts={now.parts} />
}

function Rehearse({ now, parts }: { readonly now: Planned; readonly parts: PlanParts }) {
  const second = useSignal(at.second)
  const faults = useSignal<readonly string[]>([])
  const seed = useSignal(String(parts.bench.seed))
  const byHand = useSignal<Readonly<Record<string, string>>>({})
  const { seen, end, trouble, plan, events, told } = rehearsed.value
  const last_s = lastOf_s(seen)
  const shown_s = Math.min(second.value, last_s)
  const unread = useSignal<string | null>(null)
  const begin = (): void => {
    unread.value = null
    const limits = Object.entries(byHand.value).flatMap(([rail, text]) => {
      const value = typedNumber(text)
      if (text.trim() === '') return []
      if (value === null || value <= 0) {
        unread.value = `${rail}: "${text}" is no limit. Type a number above nothing, or leave it empty.`
        return []
      }
      return [[rail, readsInAmps(now.plan, rail) ? value : value / 1000] as const]
    })
    if (unread.peek() !== null) return
    rehearseInPage({
      parts,
      plan: now.plan,
      faults: faults.value,
      seed: Number(seed.value) || 0,
      by_hand: Object.fromEntries(limits),
    })
  }
  return (
    <article>
      <h1>Rehearse {now.plan.profile}</h1>
      <p>
        Nothing real is energised: a virtual set warms, charges and fails as told, judged by the same code
        that judges at the bench.
      </p>
      <section class="panel" aria-label="What is rehearsed">
        <div class="row">
          <Field
            id="seed"
            words="Which set and bench are drawn"
            numeric
            size={8}
            text={seed.value}
            set={(text) => {
              seed.value = text
            }}
          />
          {Object.keys(now.plan.rails).map((rail) => (
            <Field
              key={rail}
              id={`hand-${rail}`}
              words={`Trip of ${rail} by hand, ${readsInAmps(now.plan, rail) ? 'A' : 'mA'}`}
              numeric
              size={8}
              placeholder="as computed"
              text={byHand.value[rail] ?? ''}
              set={(text) => {
                byHand.value = { ...byHand.value, [rail]: text }
              }}
            />
          ))}
        </div>
        <FaultChoice
          parts={parts}
          moment_s={shown_s}
          rails={Object.keys(now.plan.rails)}
          add={(fault) => {
            faults.value = [...faults.value, fault]
          }}
        />
        {faults.value.length > 0 && (
          <ul aria-label="Faults put in">
            {faults.value.map((fault) => (
              <li key={fault}>
                <code>{fault}</code>{' '}
                <button
                  type="button"
                  onClick={() => {
                    faults.value = faults.value.filter((each) => each !== fault)
                  }}
                >
                  take out
                  <span class="heard"> {fault}</span>
                </button>
              </li>
            ))}
          </ul>
        )}
        <div class="row">
          <button type="button" class="chief" onClick={begin}>
            {seen.length === 0 ? 'Rehearse' : 'Rehearse again'}
          </button>
          {working.value && (
            <button type="button" onClick={giveUp}>
              Give up
            </button>
          )}
          {/* Said when it begins and when it is over: a counter would talk without end. */}
          <p role="status">
            {working.value ? 'Rehearsing …' : end !== null ? `Rehearsed: ${end.ending.outcome}.` : ''}
          </p>
          {working.value && <p aria-hidden="true">{durationWords(last_s)} of the run so far</p>}
        </div>
        {unread.value !== null && (
          <p class="finding" role="alert">
            ✕ {unread.value}
          </p>
        )}
        {trouble !== null && (
          <p class="finding" role="alert">
            ✕ {trouble}
          </p>
        )}
      </section>
      {end !== null && <Outcome end={end} wanted={faults.value} />}
      {plan !== null && seen.length > 1 && (
        <section class="panel" aria-label="The rehearsal">
          <div class="scrub">
            <label for="moment">Moment</label>
            <input
              id="moment"
              type="range"
              min={0}
              max={last_s}
              step={1}
              value={shown_s}
              aria-valuetext={`${durationWords(shown_s)} after the begin`}
              onInput={(event) => {
                second.value = Number(event.currentTarget.value)
                at.second = second.value
              }}
            />
            <span class="moment">
              {duration(shown_s)} of {duration(last_s)}
            </span>
          </div>
          <AtMoment second={shown_s} />
          <div class="charts">
            {railsInOrder(plan).map((rail) => (
              <RehearsedRail key={rail} rail={rail} second={shown_s} />
            ))}
          </div>
          <ChartKey />
          {before.value !== null && <p class="quiet">Dashed: the rehearsal before this one.</p>}
          <details>
            <summary>
              What happened, {told} entries{told > events.length && `, the newest ${events.length} here`}
            </summary>
            <ol class="told" tabIndex={0}>
              {events.map(({ what, text, t_us }, i) => (
                <li key={i}>
                  {duration(t_us / 1e6)} {what}: {text}
                </li>
              ))}
            </ol>
          </details>
        </section>
      )}
    </article>
  )
}

function Outcome({
  end,
  wanted,
}: {
  readonly end: NonNullable<typeof rehearsed.value.end>
  readonly wanted: readonly string[]
}) {
  const { ending, came, virtual_s } = end
  const never = wanted.filter((fault) => !came.includes(fault))
  return (
    <section
      class={ending.outcome === 'completed' ? 'remark' : 'finding'}
      aria-label="How the rehearsal ended"
    >
      <p>
        <strong>Rehearsal {ending.outcome}</strong> after {durationWords(virtual_s)}:{' '}
        {ending.reason?.text ?? 'every step was done.'}
      </p>
      <p>{rehearsedOff(ending)}</p>
      {never.length > 0 && <p>Never came, since its moment was not reached: {never.join(', ')}.</p>}
    </section>
  )
}

function AtMoment({ second }: { readonly second: number }) {
  const { seen, plan } = rehearsed.value
  const view = seenAt(seen, second)
  if (view === null || plan === null) return null
  return (
    <div class="scroll" tabIndex={0} role="region" aria-label="Figures at this moment">
      <table class="moment">
        <caption>
          Step {view.step} of {view.steps}, {stageName(view.stage)}; waiting for {view.waiting_for}
        </caption>
        <thead>
          <tr>
            <th scope="col">rail</th>
            <th scope="col" class="n">
              volts
            </th>
            <th scope="col" class="n">
              current
            </th>
            <th scope="col" class="n">
              expected
            </th>
            <th scope="col" class="n">
              trip
            </th>
            <th scope="col">stands</th>
          </tr>
        </thead>
        <tbody>
          {view.rails.map((one) => {
            const { rail, volts, amps, output } = one
            const inAmps = readsInAmps(plan, rail)
            const verdict = verdictOf(amps, output === 'off' ? null : one.limits, one)
            const limits = inForce(one.limits, one)
            return (
              <tr key={rail}>
                <th scope="row">{rail}</th>
                <td class="n">{inV(volts)}</td>
                <td class="n">{inA(amps, inAmps)}</td>
                <td class="n">{limits === null ? '' : inA(limits.expected_A, inAmps)}</td>
                <td class="n">{limits === null ? '' : inA(limits.trip_A, inAmps)}</td>
                <td>
                  {shapes[verdict]} {verdict}
                </td>
              </tr>
            )
          })}
        </tbody>
      </table>
    </div>
  )
}

function RehearsedRail({ rail, second }: { readonly rail: string; readonly second: number }) {
  const { seen, plan, end } = rehearsed.value
  const trace = useMemo(() => traceOf(seen, rail), [seen, rail])
  const limits = useMemo(() => limitsIn(seen, rail), [seen, rail])
  const former = before.value
  const over = useMemo(() => (former === null ? undefined : traceOf(former.seen, rail)), [former, rail])
  if (plan === null) return null
  const moments: Moment[] = [{ t_s: second, words: '' }]
  if (end !== null && end.ending.outcome !== 'completed')
    moments.push({
      t_s: seen.find(({ view }) => view.reason !== null)?.t_s ?? lastOf_s(seen),
      words: end.ending.reason?.code ?? '',
      bad: true,
    })
  return (
    <figure>
      <figcaption>{rail}</figcaption>
      <RailChart
        describes={`Rehearsed current of ${rail} with the limits in force. The table above has the figures of the chosen moment.`}
        inAmps={readsInAmps(plan, rail)}
        trace={trace}
        over={over}
        limits={limits}
        from_s={0}
        to_s={Math.max(1, lastOf_s(seen), lastOf_s(former?.seen ?? []))}
        moments={moments}
        height={200}
      />
    </figure>
  )
}

/** A fault from what this set and bench can have, and when it comes. */
function FaultChoice({
  parts,
  moment_s,
  rails,
  add,
}: {
  readonly parts: PlanParts
  readonly moment_s: number
  readonly rails: readonly string[]
  readonly add: (fault: string) => void
}) {
  const { equipment, bench } = parts
  const names = useMemo(
    () =>
      [
        ...Object.keys(equipment.parts),
        ...Object.keys(equipment.rail_capacitors),
        ...Object.keys(equipment.tubes),
        ...rails,
        ...Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
          Object.keys(channels).map((channel) => `${supply}.${channel}`),
        ),
        ...Object.keys(bench.supplies).map((port) => `line.${port}`),
        ...Object.keys(bench.meters).map((meter) => `input.${meter}`),
      ].filter((name) => faultsOf(name, equipment, bench).length > 0),
    [equipment, bench],
  )
  const part = useSignal(names[0] ?? '')
  const kind = useSignal('')
  const value = useSignal('')
  const when = useSignal<'now' | 'start'>('now')
  const kinds = faultsOf(part.value, equipment, bench)
  const chosen = kinds.includes(kind.value) ? kind.value : (kinds[0] ?? '')
  const needs = Object.values(faultKinds).flatMap((all) => all[chosen] ?? [])[0]
  return (
    <fieldset>
      <legend>Put a fault in</legend>
      <div class="row">
        <p>
          <label for="fault-part">Part</label>
          <select
            id="fault-part"
            value={part.value}
            onChange={(event) => {
              part.value = event.currentTarget.value
            }}
          >
            {names.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </p>
        <p>
          <label for="fault-kind">Fault</label>
          <select
            id="fault-kind"
            value={chosen}
            onChange={(event) => {
              kind.value = event.currentTarget.value
            }}
          >
            {kinds.map((name) => (
              <option key={name}>{name}</option>
            ))}
          </select>
        </p>
        {needs?.value != null && (
          <p>
            <label for="fault-value">
              Value{needs.value === 'rail' ? ', the other rail' : needs.value === 'ratio' ? ', times' : ''}
              {needs.needed ? '' : ' (may be left out)'}
            </label>
            <input
              id="fault-value"
              size={8}
              value={value.value}
              onInput={(event) => {
                value.value = event.currentTarget.value
              }}
            />
          </p>
        )}
        <p>
          <label for="fault-when">When</label>
          <select
            id="fault-when"
            value={when.value}
            onChange={(event) => {
              when.value = event.currentTarget.value === 'start' ? 'start' : 'now'
            }}
          >
            <option value="now">at the chosen moment, {duration(moment_s)}</option>
            <option value="start">from the start</option>
          </select>
        </p>
        <button
          type="button"
          onClick={() => {
            const given = needs?.value != null && value.value.trim() !== '' ? `=${value.value.trim()}` : ''
            add(`${part.value}:${chosen}${given}${when.value === 'now' ? `@t>${Math.round(moment_s)}s` : ''}`)
          }}
        >
          Put it in
        </button>
      </div>
    </fieldset>
  )
}
