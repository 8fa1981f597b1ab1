import { snapshot } from '../live/state.js'
import { addressOf } from '../shell/places.js'
import { durationWords, inV, moment } from '../words/figures.js'
import { parted } from '../words/parted.js'
import { Messages } from './messages.js'
import { Start } from './start.js'
import { Title } from './title.js'

const shapes = { completed: '●', tripped: '■', stopped: '◆', failed: '✕' } as const

/** After a run: what happened, what of the outputs was measured, what is known of the charge. Never more than that. */
export function Ending() {
  const now = snapshot.value
  const ended = now?.ended ?? null
  if (now === null || ended === null) return <p class="quiet">How it ended is on its way.</p>
  const run = now.run?.run ?? null
  const [happened, ...more] = parted(ended.sentence)
  return (
    <>
      <Title run={now.run} />
      <p class="large outcome">
        <span aria-hidden="true">{shapes[ended.outcome]}</span> {happened}
      </p>
      {more.map((text) => (
        <p key={text}>{text}</p>
      ))}
      {ended.open_hand_rails.map((line) => (
        <p class="finding large" key={line}>
          ■ {line}
        </p>
      ))}
      <p class={ended.alarm ? 'finding large' : 'large outputs'} role={ended.alarm ? 'alert' : undefined}>
        <span aria-hidden="true">{ended.alarm ? '■' : '○'}</span> {ended.outputs}
      </p>
      <ul>
        {ended.rails.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
      <section class="panel charge" aria-labelledby="charge-title">
        <h2 id="charge-title">{ended.charge_of}</h2>
        <dl>
          {ended.charge.map(({ node, volts, meter, age_s }) => (
            <div key={node}>
              <dt>{node}</dt>
              <dd>
                {volts === null || meter === null ? (
                  <strong>not measured: take it as charged</strong>
                ) : (
                  <>
                    <strong class="figure">{inV(volts)}</strong> by {meter}
                    {age_s !== null && `, read ${durationWords(age_s)} before the end`}
                  </>
                )}
              </dd>
            </div>
          ))}
        </dl>
        <p class="very-large measure">Measure before touching.</p>
      </section>
      <div class="row no-print">
        {run !== null && (
          <a class="button chief" href={addressOf('review', run)}>
            Look at this run in Review
          </a>
        )}
      </div>
      <p class="quiet">
        Started {moment(now.run?.asked_at ?? null)}, lasted {durationWords(ended.duration_s)}.
      </p>
      <Messages />
      <Start after />
    </>
  )
}
