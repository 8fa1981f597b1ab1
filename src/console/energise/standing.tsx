import { isOld, notOfNow, oldWords, typedAgo } from '../live/old.js'
import { snapshot } from '../live/state.js'
import { inV } from '../words/figures.js'

/** What each rail shows while a question has the screen: hands may be inside by what was said to be down. */
export function Standing() {
  const rails = snapshot.value?.view?.rails ?? []
  if (rails.length === 0) return null
  return (
    <section class="standing" aria-label="What the rails show">
      {notOfNow.value && (
        <p class="finding large" role="alert">
          ✕ What the rails do is not known now: take HT as on. Hands out.
        </p>
      )}
      <dl>
        {rails.map(({ rail, volts, class: by, output }) => (
          <div key={rail} data-old={isOld(rail)}>
            <dt>
              {rail}
              {by === 'programmed' ? `, output ${output}` : ', your own knob'}
            </dt>
            <dd class="figure">
              {inV(volts)}
              {isOld(rail) && <span class="old-word"> ✕ {oldWords()}</span>}
              {typedAgo(rail) !== null && <small> typed {typedAgo(rail)} ago</small>}
            </dd>
          </div>
        ))}
      </dl>
      <p class="quiet">
        These are the supplies’ own terminals. The set’s charge is another matter: measure before touching.
      </p>
    </section>
  )
}
