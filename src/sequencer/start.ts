import { broke } from './breach.js'
import { behindOpenRelay, relayClosed } from './relay.js'
import { warn } from './send.js'
import type { Draft, Sample } from './state.js'
import { channelOf, off_V, paced_s, us } from './state.js'
import { amps, volts } from './words.js'

/**
 * Nothing starts before every output was read back as off and its terminals were measured to carry nothing: what an output
 * says of itself is not enough. Volts that fall are a charge left behind the terminals and are waited for; volts that stand
 * are a live output, another source or a charge without a path, and the run is refused.
 */

const startWithin_s = 10
/** Longest wait for a charge that still falls (our choice: a set's bleeder takes seconds to minutes). */
const chargeWithin_s = 600
const samples = 3

/** Counts what a channel's terminals show, for every reading until the start is proved. */
export function noteNothing(d: Draft, channel: string, quantity: 'V' | 'A'): void {
  const found = d.s.outputs_proved ? null : channelOf(d.s, channel)
  const sample = found?.state[quantity]
  if (!found || !sample || d.s.begun_us === null || behindOpenRelay(d.s, channel)) return
  const { state, plan } = found
  const size = Math.abs(sample.value)
  const carriesNone =
    quantity === 'V' ? size < off_V : size <= Math.max(plan.resolution_A, plan.accuracy_A.plus)
  state.nothing = { ...state.nothing, [quantity]: carriesNone ? state.nothing[quantity] + 1 : 0 }
  if (quantity === 'V' && falls(state.lowest, sample, 3 * plan.resolution_V)) state.lowest = sample
}

function falls(lowest: Sample | null, now: Sample, least_V: number): boolean {
  return lowest === null || Math.abs(now.value) <= Math.abs(lowest.value) - least_V
}

export function outputsProved(d: Draft): boolean {
  if (d.s.outputs_proved) return true
  if (!relayClosed(d)) return false
  const waited_us = d.s.t_us - (d.s.begun_us ?? d.s.t_us)
  const late = waited_us > us(paced_s(d.s, startWithin_s))
  const silent: string[] = []
  const standing: string[] = []
  let open = false
  for (const rail of Object.values(d.s.plan.rails)) {
    for (const part of rail.channels) {
      const channel = d.s.channels[part.channel]
      if (!channel) continue
      const { V, A, nothing, lowest } = channel
      if (channel.output === 'off' && nothing.V >= samples && nothing.A >= samples) continue
      open = true
      if (channel.output !== 'off' || !V || !A || !lowest) {
        silent.push(part.channel)
        continue
      }
      const charged = Math.abs(V.value) >= off_V
      if (charged)
        warn(
          d,
          `${rail.name} (${part.channel}) is off and its terminals stood above ${volts(off_V)} when the run began: waiting for that charge to go. Measure before touching.`,
          rail.name,
        )
      // From the last time that the volts fell: a charge may take its minutes, what stands still may not.
      if (d.s.t_us - lowest.t_us <= us(paced_s(d.s, startWithin_s)) && waited_us <= us(chargeWithin_s))
        continue
      const current = nothing.A < samples ? ` and carries ${amps(A.value)}` : ''
      standing.push(`${rail.name} (${part.channel}) stands at ${volts(V.value)}${current}`)
    }
  }
  if (!open) {
    d.s.outputs_proved = true
    return true
  }
  if (standing.length > 0) {
    broke(d, {
      code: 'read-back',
      text: `${standing.join('; ')}, though every output reads as off: an output that did not obey OFF, another source on the same leads, or a charge that has no path to go. Nothing was switched on. Find out which, and measure before touching.`,
    })
  } else if (late && silent.length > 0) {
    broke(d, {
      code: 'line-lost',
      text: `${silent.join(', ')} did not answer or did not read back as off within ${startWithin_s} s, so nothing was energised.`,
    })
  }
  return false
}
