import type { Channel } from '../bench/index.js'
import { between, deviation, mean, type Seen, spanOf, toldAt } from './seen.js'
import type { ChannelFigures, Figure } from './types.js'

type Dynamics = Pick<ChannelFigures, 'settling_s' | 'overshoot_V' | 'slew_V_per_s'>

interface Jump {
  readonly from_V: number
  readonly to_V: number
  /** From telling it to the last reading outside its final band, and to the first inside for good. */
  readonly outside_s: number
  readonly inside_s: number
  readonly over_V: number
  readonly noise_V: number
}

/** Set-points told at once: what the supply does by itself, as far as readings between which it may have happened can tell. */
export function dynamicsOf(channel: Channel, seen: Seen): Dynamics {
  const jumps = seen.plan.steps.flatMap((step): Jump[] => {
    if (step.do !== 'raise' || !/^(jump|on again, )/.test(step.stage)) return []
    const span = spanOf(seen, step)
    const told_s = toldAt(seen, step, 'set')
    if (span === null || told_s === null) return []
    const after = between(seen.V, told_s, span.to_s)
    const last = after.slice(Math.floor(after.length / 2)).map(({ value }) => value)
    if (last.length < 3) return []
    const final_V = mean(last)
    const noise_V = deviation(last)
    const band_V = Math.max(3 * noise_V, 2 * channel.resolution_V, 0.001 * final_V)
    const outside = after.filter(({ value }) => Math.abs(value - final_V) > band_V)
    const outside_s = (outside.at(-1)?.t_s ?? told_s) - told_s
    const inside_s = (after.find(({ t_s }) => t_s - told_s > outside_s)?.t_s ?? told_s) - told_s
    const from_V = between(seen.V, told_s - 2, told_s).at(-1)?.value ?? 0
    const over_V = Math.max(0, ...after.map(({ value }) => value - final_V))
    return [{ from_V, to_V: final_V, outside_s, inside_s, over_V, noise_V }]
  })
  if (jumps.length === 0) return { settling_s: null, overshoot_V: null, slew_V_per_s: null }
  const latest = jumps.reduce((most, jump) => (jump.inside_s > most.inside_s ? jump : most))
  const gap_s = Math.max(...jumps.map(({ inside_s, outside_s }) => inside_s - outside_s))
  const over = jumps.reduce((most, jump) => (jump.over_V > most.over_V ? jump : most))
  const swing = jumps.reduce((most, jump) =>
    jump.to_V - jump.from_V > most.to_V - most.from_V ? jump : most,
  )
  const rise = (swing.to_V - swing.from_V) / Math.max(swing.inside_s, 1e-6)
  const count = `of ${jumps.length} jumps`
  const settling: Figure = {
    value: latest.inside_s,
    unit: 's',
    uncertainty: gap_s,
    bound: 'at most',
    how: `first reading that stays within 3 times the noise, 2 steps or 0.1 %, the latest ${count}; the reading before it was outside`,
  }
  return {
    settling_s: settling,
    overshoot_V: {
      value: over.over_V,
      unit: 'V',
      uncertainty: 3 * over.noise_V + channel.resolution_V,
      how: `highest reading above where it settled, the most ${count}; a shorter one between two readings is not seen`,
    },
    slew_V_per_s: {
      value: rise,
      unit: 'V/s',
      uncertainty: 0,
      bound: 'at least',
      how: `the largest jump over the time to the first settled reading, ${count}`,
    },
  }
}
