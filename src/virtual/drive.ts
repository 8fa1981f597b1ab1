import type { DrivenStage } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { vigour } from './live.js'
import type { Parts } from './parts.js'
import type { FaultSpec } from './types.js'

type Valve = Extract<Element, { kind: 'triode' | 'screen tube' }>

/** A driver with less than this of its emission drives nothing (common practice, no source). */
const weakest = 0.3

/** Whether drive arrives at a tube: every stage before it works, and nothing took it away. */
export function isDriven(parts: Parts, tube: string, faults: readonly FaultSpec[]): boolean {
  let at = tube
  // A file whose stages drive each other in a ring is none: bounded by the number of its tubes.
  for (let hops = 0; hops < Object.keys(parts.equipment.tubes).length; hops++) {
    if (faults.some(({ part, kind }) => part === at && kind === 'no-drive')) return false
    const from = stageOf(parts, at)?.from
    if (from === undefined) return true
    if (vigour(parts, from) < weakest) return false
    at = from
  }
  return true
}

function stageOf(parts: Parts, tube: string): DrivenStage | undefined {
  const of = parts.equipment.tubes[tube]
  return of?.driven ?? of?.sections.find(({ driven }) => driven !== undefined)?.driven
}

/**
 * How this set's stage is tuned, loaded and driven: within some 15 % of what its handbook says, whatever its cathode could
 * give. Off tune the plate draws several times the dip and less reaches the screen (common practice, no source).
 */
export function ownDrive(parts: Parts, tube: string, given: Valve, faults: readonly FaultSpec[]): Valve {
  const { driven } = given
  if (driven === undefined) return given
  const chance = parts.chance(`drive ${tube}`)
  const own = (spread: number): number =>
    Math.exp(spread * Math.max(-2, Math.min(2, chance.normal()))) /
    (driven.by === 'RF' ? parts.tube(tube) : 1)
  const off = faults.find(({ part, kind }) => part === tube && kind === 'off-tune')
  const detuned = off === undefined ? 1 : (off.value ?? 2.5)
  return {
    ...given,
    driven: {
      ...driven,
      plate: driven.plate * own(0.07) * detuned,
      screen: driven.screen * own(0.1) * (off === undefined ? 1 : 0.7),
      grid: driven.grid * own(0.1),
      bend: 0.2 * chance.next(),
    },
  }
}
