import { ceilingNow_A, inSoftStart, limitsNow } from './in-force.js'
import type { State } from './state.js'
import { channelOf, currentStep } from './state.js'

/**
 * Whether a current that this channel has just read ends the run at once, whatever else is judged of it: asked of a state as it stands,
 * before a copy of it is made. Yes only where `judgeCeiling` says so of the same reading, which is judged next: only time passes between
 * the two, and that ends only what a ceiling is wider for. Where it could be more than a question of one number the answer is no.
 */
export function endsTheRun(s: State, channel: string, amps: number): boolean {
  const step = currentStep(s)
  const found = channelOf(s, channel)
  if (s.phase !== 'running' || step === null || step.do === 'hook-up check' || found === null) return false
  const { rail } = found
  const state = s.rails[rail.name]
  if (rail.class !== 'programmed' || state?.energised !== true) return false
  // Of stacked channels the largest counts, once each has been read.
  for (const part of rail.channels) if (part.channel !== channel && !s.channels[part.channel]?.A) return false
  const limits = limitsNow(s, rail.name)
  if (limits === null || inSoftStart(s, step, rail.name, state)) return false
  return amps > ceilingNow_A(s, step, rail, state, limits)
}
