import { standardBelow_ohm } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import type { SetPoints } from './guards.js'
import { show } from './rail-limits.js'
import type { DrivenNow, LimitProblem, RailBench } from './types.js'

/** Room on the grid current expected where its service names no most: 99 of 100 stages stay below (sampling.ts). */
const gridRoom = 1.5

/**
 * A supply that cannot take current back loses its hold on the bias once grid current is more than what the preload draws:
 * the grid return then goes where the grids drive it, and nothing shows it. Asked for wherever a stage draws grid current.
 *
 * @param nominal_A - what each rail gives here; what a bleeder at its terminals takes is in it and takes up grid current too
 */
export function preloadsTooSmall(
  equipment: Equipment,
  rails: Readonly<Record<string, RailBench>>,
  driven: readonly DrivenNow[],
  volts: SetPoints,
  nominal_A: Readonly<Record<string, number>>,
): LimitProblem[] {
  return Object.entries(equipment.rails).flatMap(([name, rail]): LimitProblem[] => {
    const V = volts[name] ?? 0
    if (rail.role !== 'bias' || V <= 0) return []
    const bleeder_ohm = rails[name]?.bleeder_ohm ?? null
    const alone_A = bleeder_ohm === null ? 0 : V / bleeder_ohm
    const onIt = driven.flatMap((now) => {
      const relief_A = (now.lost_A[name] ?? 0) - (nominal_A[name] ?? 0)
      const part = now.grid_A > 0 ? Math.min(1, relief_A / now.grid_A) : 0
      // A supply that gives to its own bleeder alone has lost its hold: how much more comes back no longer shows.
      const share = part > 0.1 && (nominal_A[name] ?? 0) < 1.02 * alone_A ? 1 : part
      const worst_A = Math.max(gridRoom * now.grid_A, now.grid_most_A ?? 0)
      return share > 0.1 ? [{ now, back_A: share * worst_A, worst_A }] : []
    })
    if (onIt.length === 0) return []
    // With no grid current at all: each stage's loss leaves so much more.
    const standing_A =
      (nominal_A[name] ?? 0) + sum(onIt, ({ now }) => (now.lost_A[name] ?? 0) - (nominal_A[name] ?? 0))
    const back_A = sum(onIt, (each) => each.back_A)
    if (standing_A > back_A) return []
    const node = rail.required_bias?.node ?? rail.negative
    const at_V = Math.abs(rail.required_bias?.nominal_V ?? V)
    const more_A = 1.2 * back_A - standing_A
    const ohm = standardBelow_ohm(at_V / more_A)
    const who = onIt
      .map(({ now, worst_A }) => `${now.tube} (${now.type}) up to ${show(worst_A, 'A')}`)
      .join(', ')
    return [
      {
        severity: 'error',
        what: `${name} gives ${show(standing_A, 'A')} without grid current, and ${who} of grid current comes back to it: a supply cannot take that, so the bias would go where the grids drive it.`,
        remedy: `Fit one more preload of ${show(ohm, 'Ω')}, rated ${show(2 * ((at_V * at_V) / ohm), 'W')} or more, from ${node} to ${equipment.chassis_node}, and put it in the file: with it ${show(1.2 * back_A, 'A')} flows, a fifth more than the worst.`,
      },
    ]
  })
}

const sum = <T>(all: readonly T[], of: (each: T) => number): number =>
  all.reduce((total, each) => total + of(each), 0)
