import { leftOf } from '../live/left.js'
import { mayBeOn, snapshot } from '../live/state.js'
import { Cautions } from './cautions.js'
import { Ending, OffAgain } from './ending.js'
import './energise.css'
import { Alarms, Found, Messages } from './messages.js'
import { HandsClear, QuestionScreen } from './question.js'
import { isWholeScreen } from '../words/hands-work.js'
import { Running } from './running.js'
import { Start } from './start.js'
import { Refused } from '../shell/refused.js'
import { Title } from './title.js'

/** The place at the bench: one screen at a time, the one that is needed now. */
export function Place() {
  const now = snapshot.value
  if (now === null) return <p class="quiet">Waiting for the service.</p>
  switch (now.phase) {
    case 'none':
      return (
        <>
          <Alarms />
          <Found />
          <Start />
        </>
      )
    case 'preparing':
      return (
        <>
          <Title run={now.run} />
          <p class="waiting" role="status">
            <span class="turning" aria-hidden="true" /> The bench is made ready: outputs of an earlier run are
            looked for and made safe first. Nothing of this run is energised.
          </p>
          <Messages />
        </>
      )
    case 'cautions':
      return (
        <>
          <Alarms />
          <Cautions />
        </>
      )
    case 'starting':
      return (
        <>
          <Title run={now.run} />
          <p class="waiting" role="status">
            <span class="turning" aria-hidden="true" /> The supplies are being opened and asked what they are.
            A stop counts from here on.
          </p>
          <Messages />
        </>
      )
    case 'running':
    case 'going off': {
      const { prompt, hands_clear } = now
      // Its seconds are over, whether or not anybody says so: what follows must not stay hidden behind it.
      if (hands_clear !== null && prompt === null && leftOf(hands_clear.until_ms) > 0)
        return <HandsClear until_ms={hands_clear.until_ms} />
      if (prompt !== null && isWholeScreen(prompt)) return <QuestionScreen prompt={prompt} />
      return <Running />
    }
    case 'ended':
      return <Ending />
    case 'refused':
      return (
        <>
          <h1>
            {now.refused?.code === 'outputs not confirmed off'
              ? '■ Outputs are NOT confirmed off'
              : now.refused?.code === 'our fault'
                ? 'There was no run'
                : 'There was no run. Nothing was energised.'}
          </h1>
          <Refused why={now.refused} />
          {mayBeOn.value && <OffAgain run={now.run} />}
          <Messages />
          <Start after />
        </>
      )
  }
}
