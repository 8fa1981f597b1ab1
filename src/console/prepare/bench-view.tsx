import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { suppliesShape, type Supplies } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { isLive, mayDo } from '../live/state.js'
import { Refused } from '../shell/refused.js'
import { now_ms, stale } from '../live/clock.js'
import { clock, inA, inV } from '../words/figures.js'
import { planned } from './state.js'

const states = {
  measured: '● measured',
  old: '△ measured long ago',
  foreign: '△ measured on another supply',
  failed: '✕ FAILED when it was measured: it may not feed a set',
  none: '○ not qualified',
} as const

/** Which bench it is, what each supply can do, and how far its figures were measured. */
export function View() {
  const found = useSignal<{
    readonly supplies: Supplies['supplies']
    readonly at: Date
    readonly at_ms: number
  } | null>(null)
  const why = useSignal<Why | null>(null)
  const asking = useSignal(false)
  const now = planned.value
  // A run moves what was read, and a lost line leaves it unknown: neither shows what was.
  const gone = isLive.value || stale.value
  useEffect(() => {
    if (gone) found.value = null
  }, [gone])
  if (now === null) return null
  const { plan } = now
  const ask = (): void => {
    asking.value = true
    why.value = null
    void call('supplies', suppliesShape, { body: { bench: now.bench }, within_ms: 60_000 }).then((came) => {
      asking.value = false
      if (came.ok) found.value = { ...came.value, at: new Date(), at_ms: performance.now() }
      else why.value = came.why
    })
  }
  return (
    <article>
      <h1>{plan.bench}</h1>
      <p>
        {plan.bench_kind === 'virtual' ? 'A virtual bench: nothing real hangs on it.' : 'A real bench.'} File{' '}
        {now.bench}.
      </p>
      <section class="panel">
        <h2>Rails, and who can do what</h2>
        {Object.values(plan.rails).map((rail) => (
          <div key={rail.name}>
            <h3>
              {rail.name} ({rail.role}, {rail.class})
            </h3>
            <ul>
              {rail.channels.map((channel) => (
                <li key={channel.channel}>
                  {channel.channel}: to {inV(channel.max_V)} and {inA(channel.max_A, channel.max_A >= 2)}
                  {channel.over_voltage
                    ? ', own over-voltage protection'
                    : ', no over-voltage protection of its own'}
                </li>
              ))}
              {rail.can.map((text) => (
                <li key={text}>slowglow can: {text}</li>
              ))}
              {rail.cannot.map((text) => (
                <li key={text}>
                  <strong>slowglow cannot:</strong> {text}
                </li>
              ))}
            </ul>
          </div>
        ))}
      </section>
      <section class="panel">
        <h2>Qualification</h2>
        {(plan.supplies ?? []).length === 0 && <p>No supply of this plan is on a line.</p>}
        <ul>
          {plan.supplies?.map(({ channel, rail, state, text }) => (
            <li key={channel}>
              <strong>
                {channel}, {rail}: {states[state]}.
              </strong>{' '}
              {text}
            </li>
          ))}
        </ul>
      </section>
      <section class="panel no-print">
        <h2>What is connected now</h2>
        {mayDo('ask supplies') ? (
          <button type="button" onClick={ask} disabled={asking.value || isLive.value}>
            {asking.value ? 'Asking …' : 'Ask the supplies (changes nothing)'}
          </button>
        ) : (
          <p>Supplies are asked from the bench machine.</p>
        )}
        {isLive.value && <p class="quiet">A run has the lines now.</p>}
        <Refused why={why.value} />
        <div aria-live="polite">{found.value !== null && !gone && <Read {...found.value} />}</div>
      </section>
    </article>
  )
}

/** Read once, and not followed: from the first moment it is told as of then, and soon as nothing that still holds. */
const holds_s = 5
function Read({
  supplies,
  at,
  at_ms,
}: {
  readonly supplies: Supplies['supplies']
  readonly at: Date
  readonly at_ms: number
}) {
  const old = now_ms.value - at_ms > holds_s * 1000
  return (
    <div data-old={old}>
      <p class={old ? 'old-word' : ''}>
        {old ? '✕ of then, not of now: ' : ''}read once, at {clock(at)}; ask again for what stands there now.
      </p>
      {Object.entries(supplies).map(([name, supply]) => (
        <div key={name}>
          <h3>{name}</h3>
          <p>
            {supply.trouble === null ? `Answers as ${supply.identity ?? 'nothing'}.` : `✕ ${supply.trouble}`}{' '}
            {supply.line}
          </p>
          <ul>
            {Object.entries(supply.channels).map(
              ([channel, { output, volts, amps, set_V, limit_A, fired, guards_off }]) => (
                <li key={channel}>
                  {channel}: output {output ?? 'not known'}, reads{' '}
                  <span class="once">
                    {inV(volts)} and {inA(amps)}
                  </span>
                  , set to {inV(set_V)}, limit {inA(limit_A)}
                  {fired.map((of) => `, ✕ its ${of} protection FIRED and is latched`).join('')}
                  {guards_off.map((of) => `, △ its ${of} protection is switched off`).join('')}
                </li>
              ),
            )}
          </ul>
        </div>
      ))}
    </div>
  )
}
