import type { State } from '../sequencer/index.js'

/** So long an output may take to be read back as off before it counts as one that does not obey, s (our choice). */
const obeysWithin_s = 5

/**
 * Whether the cut-off relay is fed. By the loop that judges, as long as what the relay cuts obeys: not while it is put to the
 * proof, not once a run has ended, and an output that does not go off is left to it.
 */
export function mayFeed({ plan, phase, step, part, channels, off, t_us }: State): boolean {
  if (plan.cut_off === undefined) return true
  switch (phase) {
    case 'waiting':
      return true
    case 'running':
      return (
        plan.steps[step]?.proof?.of !== 'cut-off relay' || (part !== 'prove watch' && part !== 'prove off')
      )
    case 'making off': {
      const obeys = plan.cut_off.channels.every((name) => channels[name]?.output === 'off')
      return obeys || t_us - (off?.since_us ?? t_us) < 1e6 * obeysWithin_s * (plan.pace ?? 1)
    }
    case 'ended':
      return false
  }
}
