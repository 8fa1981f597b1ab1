import { mayClose, obeysWithin_s, relayObeyed, type State } from '../sequencer/index.js'

/**
 * Whether the cut-off relay may be fed. By the loop that judges, and not before what lies behind the relay is off and set to nothing;
 * not while it is put to the proof, not once a run has ended, and an output that is not measured to go off is left to it.
 */
export function mayFeed(s: State): boolean {
  const { plan, phase, step, part, off, t_us } = s
  switch (phase) {
    case 'waiting':
    case 'ended':
      return false
    case 'running':
      if (!s.outputs_proved) return mayClose(s)
      return (
        plan.steps[step]?.proof?.of !== 'cut-off relay' || (part !== 'prove watch' && part !== 'prove off')
      )
    case 'making off':
      // What showed volts as the relay was closed is not waited for; and by a clock that is not believed nothing is fed in time: the relay
      // would open by itself, and close over what did not obey as the clock came round.
      if (!s.outputs_proved || off?.reason?.code === 'invariant') return false
      return relayObeyed(s) || t_us - (off?.since_us ?? t_us) < 1e6 * obeysWithin_s * (plan.pace ?? 1)
  }
}

/**
 * The same with what it was: one that opened does not close again while a run goes off, and while the computer slept it opened, though
 * the clock that the line goes by stood still.
 */
export const feeds = (s: State, before: boolean, slept = false): boolean =>
  mayFeed(s) && (s.phase === 'running' || (before && !slept))
