import { broke } from './breach.js'
import { send, warn } from './send.js'
import type { Draft, State } from './state.js'
import { paced_s, us } from './state.js'

/**
 * The cut-off relay of a bench. It is open when a run begins, and what lies behind it may have been left on: closed it would bring
 * that back in one jump. So it is closed only when each output behind it reads as off and was set to nothing, and what the
 * terminals show is believed only once its contact was heard closed.
 */

/** Reading back, setting to nothing and closing take no longer, s (our choice). */
const closesWithin_s = 15
/** What OFF does by itself it does in this time; after it the relay is left to open, s (our choice). */
export const obeysWithin_s = 5

/** Whether this output lies behind a relay that was not heard closed in this run. */
export function behindOpenRelay(s: State, channel: string): boolean {
  return s.plan.cut_off?.channels.includes(channel) === true && !heardClosed(s)
}

function heardClosed(s: State): boolean {
  const sample = s.plan.cut_off === undefined ? null : s.meters[s.plan.cut_off.meter]
  return s.begun_us !== null && sample != null && sample.t_us > s.begun_us && sample.value === 1
}

/** What lies behind it is off by its own word and set to nothing: it may be closed. */
export function mayClose({ plan, channels }: State): boolean {
  return (plan.cut_off?.channels ?? []).every((name) => {
    const known = channels[name]
    return known?.output === 'off' && known.set_V !== null
  })
}

/** True where there is none, or it was heard closed; until then what lies behind it is set to nothing. */
export function relayClosed(d: Draft): boolean {
  const { cut_off } = d.s.plan
  if (cut_off === undefined || heardClosed(d.s)) return true
  for (const name of cut_off.channels) {
    const known = d.s.channels[name]
    const asked = Object.values(d.s.pending).some(({ channel }) => channel === name)
    if (known?.output === 'off' && known.set_V === null && !asked) send(d, name, { do: 'zero' })
  }
  if (d.s.t_us - (d.s.begun_us ?? d.s.t_us) <= us(paced_s(d.s, closesWithin_s))) return false
  const open = cut_off.channels.filter((name) => d.s.channels[name]?.output !== 'off')
  broke(d, {
    code: 'watched-input',
    text:
      open.length > 0
        ? `The cut-off relay was not closed: ${open.join(', ')} behind it did not read back as off within ${closesWithin_s} s. What it would give with the relay closed is not known.`
        : `${cut_off.meter} did not say that it is closed within ${closesWithin_s} s: the relay, its line, or an interlock of its own. Nothing was switched on.`,
  })
  return false
}

/** Every output behind it is confirmed off by what was measured: its own word is not enough. */
export function relayObeyed({ plan, off }: State): boolean {
  const behind = Object.values(plan.rails).filter(({ channels }) =>
    channels.some(({ channel }) => plan.cut_off?.channels.includes(channel) === true),
  )
  return off !== null && behind.every(({ name }) => (off.confirmed[name] ?? null) !== null)
}

/** Said once: from here on it may be the relay that took the volts, and not the supply that obeyed. */
export function sayLeftToRelay(d: Draft): void {
  const { off } = d.s
  if (d.s.plan.cut_off === undefined || off === null || relayObeyed(d.s)) return
  if (d.s.t_us - off.since_us <= us(paced_s(d.s, obeysWithin_s))) return
  warn(
    d,
    `${d.s.plan.cut_off.channels.join(', ')}: not confirmed off ${obeysWithin_s} s after OFF, so the cut-off relay is left to open. That the volts go after this does not show that the supply obeyed.`,
    null,
  )
}
