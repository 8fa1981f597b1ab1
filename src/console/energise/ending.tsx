import { useEffect } from 'preact/hooks'
import type { Ended, Snapshot } from '../../service/api/index.js'
import { readEnding, snapshot } from '../live/state.js'
import { addressOf } from '../shell/places.js'
import { stopSaid } from '../shell/stop.js'
import { durationWords, inV, moment } from '../words/figures.js'
import { parted } from '../words/parted.js'
import { Messages } from './messages.js'
import { Start } from './start.js'
import { Title } from './title.js'
import { WaivedCold } from './waived.js'

const shapes = { completed: '●', tripped: '■', stopped: '◆', failed: '✕' } as const

/** After a run: what happened, what of the outputs was measured, what is known of the charge. Never more than that. */
export function Ending() {
  const now = snapshot.value
  const ended = now?.ended ?? null
  if (now === null || ended === null) return <p class="quiet">How it ended is on its way.</p>
  return <Told now={now} ended={ended} />
}

function Told({ now, ended }: { readonly now: Snapshot; readonly ended: Ended }) {
  const run = now.run?.run ?? null
  const [happened, ...more] = parted(ended.sentence)
  const { stop, live } = now
  useEffect(() => {
    readEnding.value = live
  }, [live])
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
      {ended.alarm && <OffAgain run={now.run} byHand={ended.open_hand_rails.length > 0} />}
      {stop !== null && <p class="large">{stopSaid(stop)}</p>}
      <ul>
        {ended.rails.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
      <More title="Warnings" lines={ended.warnings} />
      <More title="Limits that were stated by hand" lines={ended.by_hand} />
      <More title="Lines to the supplies" lines={ended.lines} />
      <WaivedCold />
      <section class="panel charge" aria-labelledby="charge-title">
        <h2 id="charge-title">{ended.charge_of}</h2>
        <dl>
          {ended.charge.map(({ node, volts, meter, age_s, text }) => (
            <div key={node}>
              <dt>{node}</dt>
              <dd>
                {volts === null || meter === null ? (
                  <strong>not measured: take it as charged</strong>
                ) : (
                  <>
                    <strong class="figure">{inV(volts)}</strong> by {meter}
                    {age_s !== null && `, read ${durationWords(age_s)} before the end`}
                    {text.includes('; ') && text.slice(text.indexOf('; '))}
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
        Started {moment(now.run?.asked_at ?? null)}, lasted {durationWords(ended.duration_s)} of the run’s own
        time, ended {moment(ended.ended_at)}.
      </p>
      <Messages />
      <Start after />
    </>
  )
}

/** Outputs that were not measured to be off: what is left to do from here, and from where it can still be done. */
export function OffAgain({
  run,
  byHand = false,
}: {
  readonly run: Snapshot['run']
  /** A rail on a person's own knob was left open. */
  readonly byHand?: boolean
}) {
  return (
    <p class="finding">
      {byHand &&
        'First turn your own knob down and switch its mains off: neither of these can, and a bias that stays on for it goes off some minutes after the heaters, whether or not HT is down. '}
      The stop below, and Esc, send OFF again and measure. So does a terminal of the bench machine: slowglow
      safe-off --bench {run?.bench_file ?? 'FILE'}. Neither takes the place of the mains switch.
    </p>
  )
}

function More({ title, lines }: { readonly title: string; readonly lines: readonly string[] }) {
  if (lines.length === 0) return null
  return (
    <section aria-label={title}>
      <h2>{title}</h2>
      <ul>
        {lines.map((line) => (
          <li key={line}>{line}</li>
        ))}
      </ul>
    </section>
  )
}
