import { biasStays, type OffResult } from '../off/index.js'
import type { ChannelPlan } from '../plan/index.js'
import { send, warn } from './send.js'
import { type Draft, paced_s, us } from './state.js'

/*
 * The dead-men of supplies at the end of a run: an armed one that nobody feeds any more would run out and hold its output off
 * against whoever uses the supply next. They rest when every output is confirmed off. Where one is not, they stay armed, and what
 * is no longer fed may still switch it off; but a supply whose bias stays on, since nothing shows that HT is down, would take it
 * when nobody feeds it any more: that one rests, where nothing but bias and heaters hangs on it.
 */

/** Time for the answers; a supply that gives none lets its dead-man run out, which does no harm to an output that is off. */
const within_s = 3

/**
 * Puts them to rest, and then gives the panels back, one request a supply; false where there is neither. A panel is given back only
 * where every output is confirmed off: some supplies refuse OFF while somebody has it.
 */
export function rest(d: Draft, result: OffResult): boolean {
  const { off } = d.s
  if (off === null) return false
  const confirmed = result.outputs_off === 'confirmed'
  const parts = Object.values(d.s.plan.rails).flatMap(({ channels }) => channels)
  const oneOf = (wanted: (part: ChannelPlan) => boolean): readonly string[] =>
    parts
      .filter(
        (part, at) =>
          wanted(part) && !parts.slice(0, at).some((one) => one.port === part.port && wanted(one)),
      )
      .map(({ channel }) => channel)
  const rests = oneOf(
    ({ dead_man, port }) => dead_man === true && (confirmed || biasStays(d.s.plan.off, result, port)),
  )
  const panels = oneOf(({ panel }) => panel === true && confirmed)
  if (rests.length === 0 && panels.length === 0) return false
  d.s.off = { ...off, rests: { result, since_us: d.s.t_us } }
  for (const channel of rests) send(d, channel, { do: 'disarm' })
  for (const channel of panels) send(d, channel, { do: 'panel', to: 'person' })
  return true
}

/** All have answered, or time is up. */
export function restOver(d: Draft): boolean {
  const rests = d.s.off?.rests
  if (!rests) return false
  const open = Object.values(d.s.pending).filter(
    ({ request }) => request.do === 'disarm' || request.do === 'panel',
  )
  if (open.length === 0) return true
  if (d.s.t_us - rests.since_us < us(paced_s(d.s, within_s))) return false
  for (const { channel, request } of open) {
    const failed = request.do === 'panel' ? notGivenBack : notRested
    failed(d, channel, `no answer within ${within_s} s`)
  }
  return true
}

export function notRested(d: Draft, channel: string, text: string): void {
  const stays = Object.values(d.s.plan.rails).some(
    (rail) =>
      rail.channels.some((part) => part.channel === channel) &&
      d.s.off?.rests?.result.outputs_off === 'not confirmed',
  )
  if (stays) {
    warn(
      d,
      `The dead-man of ${channel}'s supply could not be put to rest (${text}), and it takes the bias when it runs out, while nothing shows that HT is down. Cut the mains of the HT sources now.`,
      null,
    )
    return
  }
  warn(
    d,
    `The dead-man of ${channel}'s supply could not be put to rest (${text}). Its outputs are off; it runs out by itself and then keeps them off until it is armed again or the supply is switched off at the mains.`,
    null,
  )
}

export function notGivenBack(d: Draft, channel: string, text: string): void {
  warn(
    d,
    `The panel of ${channel}'s supply could not be given back (${text}). Its outputs are off; its own key, or its mains, frees the panel.`,
    null,
  )
}
