import { cutOffName } from '../../src/bench/to-cut-off.js'
import { type FaultSpec, readFault } from '../../src/virtual/index.js'
import type { Mischief } from './nemesis.js'
import type { Part } from './parts.js'

/** Faults of the relay itself, in some of the runs that have one. */
const relays_own = ['open', 'closed', 'silent', 'stuck'] as const

/** Faults of set, leads, supplies and lines that the virtual bench has itself. */
const own = [
  'C1:short',
  'C2:short',
  'C2:leaky=5k',
  'R1:open',
  'R5:open',
  'R4:open',
  'R3:open',
  'T1:open',
  'V1:gassy',
  'V1:heater-open',
  'V1:no-emission',
  'V1:strong=1.8',
  'V1:weak=0.4',
  'HT:ignores-off',
  'HT:lead-off',
  'HT:reversed',
  'HT:swapped=bias',
  'HT:drop-out',
  'HT:trips',
  'bias:bias-lost',
  'bias:lead-off',
  'bias:drop-out',
  'bias:trips',
  'bias:ignores-off',
  'heaters:lead-off',
  'heaters:drop-out',
  'heaters:ignores-off',
  'high:drop-out',
  'low:drop-out',
  'high:local',
  'low:local',
  'high:overheats',
  'high:no-protection',
  'high:mis-sets=0.9',
  'low:mis-sets=0.8',
  'high:reads-volts=9000V',
  'high:reads-amps=0A',
  'low:reads-volts=0V',
  'line.high:noise',
  'line.low:noise',
  'line.high:echo',
  'line.high:behind',
  'line.low:behind',
  'line.low:endless',
  'line.high:another',
  'line.high:silent',
  'line.low:silent',
  'line.high:garbled',
  'line.low:late=2s',
  'line.grid return meter:silent',
  'input.grid return meter:open',
  'input.grid return meter:stuck',
] as const

/** A supply whose output moves away from what is set, slowly or less so, in some of the runs. */
const drifting = ['high:drifts=1.1', 'high:drifts=0.9', 'high:drifts=2'] as const
const drifting_low = ['low:drifts=0.9', 'low:drifts=1.1', 'low:drifts=0.5'] as const
const drifts_part = 0.05

/**
 * Worlds in which the order of going off can be seen: HT that does not obey OFF, or falls slowly, and something that puts
 * everything off while it stands high.
 */
const stays = ['HT:ignores-off', 'high:ignores-off', 'R1:open', 'HT:lead-off'] as const
const puts_off = ['C2:leaky=3k', 'R1:short', 'V1:heater-open', 'bias:bias-lost', 'V1:strong=3'] as const

/** What can befall a reform: two lifted electrolytics behind their feed resistors, one supply, a meter across each. */
const forming = [
  'C1:short',
  'C2:short',
  'C2:leaky=5k',
  'C1:leaky=60k',
  'C1:open',
  'C2:low=0.4',
  'C1:slow=0.8',
  'C2:runs-away=0.2',
  'C1:by-steps',
  'feed C1:open',
  'feed C2:drift=3',
  'HT:ignores-off',
  'HT:lead-off',
  'HT:reversed',
  'HT:drop-out',
  'HT:trips',
  'high:local',
  'high:overheats',
  'high:no-protection',
  'high:mis-sets=0.9',
  'high:reads-volts=9000V',
  'high:reads-amps=0A',
  'line.high:noise',
  'line.high:echo',
  'line.high:behind',
  'line.high:another',
  'line.high:silent',
  'line.high:garbled',
  'line.meter C1:silent',
  'line.meter C2:endless',
  'input.meter C1:open',
  'input.meter C2:stuck',
] as const

/** None to two of them, each from the start, at a moment before the calm, or when HT has passed some volts. */
export function drawFaults(nemesis: Mischief, part: Part): FaultSpec[] {
  const { plan, behind, bench } = part
  const reform = plan.reform !== undefined
  const can: readonly string[] = reform ? forming : own
  const top_V = Math.max(...plan.steps.map((step) => (step.rail === 'HT' ? step.target_V : 0)))
  const dice = nemesis.dice('own')
  const count = dice < 0.4 ? 0 : dice < 0.65 ? 1 : 2
  const drawn = Array.from({ length: count }, () => {
    const text: string = nemesis.pick('own', can) ?? own[0]
    const whenever = nemesis.dice('own')
    const share = nemesis.dice('own')
    const t_s = share * (nemesis.calm_us / 1e6)
    if (whenever < 0.2) return { text, at: '', t_us: 0 }
    return whenever < 0.55
      ? { text, at: `@HT>${((top_V * (20 + 125 * share)) / 150).toFixed(0)}V`, t_us: 0 }
      : { text, at: `@t>${t_s.toFixed(3)}s`, t_us: t_s * 1e6 }
  })
  if (!reform && dice > 0.65 && dice < 0.95) {
    const at = `@HT>${(70 + 70 * nemesis.dice('stays')).toFixed(0)}V`
    drawn.splice(0, drawn.length, { text: nemesis.pick('stays', stays) ?? stays[0], at, t_us: 0 })
    if (nemesis.dice('stays') < 0.7)
      drawn.push({ text: nemesis.pick('stays', puts_off) ?? puts_off[0], at: '@HT>145V', t_us: 0 })
  }
  if (plan.cut_off !== undefined && nemesis.dice('relay fault') < 0.2) {
    const t_s = nemesis.dice('relay fault') * (nemesis.calm_us / 1e6)
    const text = `input.${cutOffName}:${nemesis.pick('relay fault', relays_own) ?? 'open'}`
    drawn.push({ text, at: `@t>${t_s.toFixed(3)}s`, t_us: t_s * 1e6 })
  }
  // What is counted on when nobody is there does not work: its proof must not let the run go on, with nothing else to end it.
  if (plan.unattended !== undefined && nemesis.dice('no dead-man') < 0.2)
    drawn.splice(0, drawn.length, { text: 'high:no-protection', at: '', t_us: 0 })
  if (nemesis.dice('supply drifts') < drifts_part) {
    const which = reform ? drifting : [...drifting, ...drifting_low]
    const t_s = nemesis.dice('supply drifts') * (nemesis.calm_us / 1e6)
    const text = nemesis.pick('supply drifts', which) ?? drifting[0]
    drawn.push({ text, at: `@t>${t_s.toFixed(3)}s`, t_us: t_s * 1e6 })
  }
  return drawn
    .filter(({ text }) => !nemesis.without.has(text))
    .map(({ text, at, t_us }): FaultSpec => {
      const parsed = readFault(text + at, behind, bench)
      if (!parsed.ok) throw new Error(parsed.problem)
      nemesis.did(text, t_us)
      return parsed.value
    })
}
