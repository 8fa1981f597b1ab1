import type { Equipment, PartName, RailName } from '../equipment/index.js'
import { heaterWithSlope } from '../tubes/index.js'
import { chainsOf, elementOf, type HeaterElement, ratioOf } from './heaters.js'

/**
 * Heater chains as networks of their own: each chain is a row of groups in parallel behind its lead, a group being heaters,
 * lamps or resistors, and all chains hang on the bench's leads. Newton's method on each chain (its matrix is an arrow, so a
 * pass costs as much as writing it down) and on the volts behind the shared leads.
 */
export interface HeaterRail {
  readonly chains: readonly LaidChain[]
  /** Parts of chains that are not known well enough, in words. */
  readonly missing: readonly string[]
}

export interface LaidChain {
  readonly name: string
  readonly lead_ohm: number
  readonly groups: readonly (readonly HeaterElement[])[]
}

export interface ChainPoint {
  readonly chain: string
  readonly amps: number
  readonly elements: readonly {
    readonly part: PartName
    readonly volts: number
    readonly rated_V: number | null
  }[]
}
export interface HeaterPoint {
  readonly amps: number
  /** Volts behind the bench's leads. */
  readonly set_V: number
  readonly chains: readonly ChainPoint[]
  readonly missing: readonly string[]
}

/** How an element differs from nominal: factor on its current, open, its group shorted, or a heater of another rating. */
export type HeaterChange = (
  part: PartName,
) => number | 'open' | 'short' | { readonly hot_V: number; readonly hot_A: number }

const nominal: HeaterChange = () => 1

/** A dead short has this much left in it, so that a chain shorted from end to end still draws a finite current. */
const short_ohm = 1e-3

export function layHeaters(equipment: Equipment, rail: RailName): HeaterRail {
  const missing: string[] = []
  const chains = chainsOf(equipment, rail).map(([name, chain]) => ({
    name,
    lead_ohm: chain.lead_ohm,
    groups: chain.series.map((group) => group.flatMap((part) => elementOf(equipment, part, missing))),
  }))
  return { chains, missing: [...new Set(missing)] }
}

/**
 * Hot currents of every chain on a heater rail with `volts` at the supply's terminals.
 *
 * @param lead_ohm - resistance of the bench leads that all chains share, both ways; 0 where they are sensed at the set
 */
export function heaterPoint(
  equipment: Equipment,
  rail: RailName,
  volts: number,
  lead_ohm: number,
  change: HeaterChange = nominal,
): HeaterPoint {
  return solveHeaters(layHeaters(equipment, rail), volts, lead_ohm, change)
}

export function solveHeaters(
  laid: HeaterRail,
  volts: number,
  lead_ohm: number,
  change: HeaterChange = nominal,
): HeaterPoint {
  const chains = laid.chains.map((chain) => startChain(chain, volts, change))
  const { set_V, amps } = behindLeads(chains, volts, lead_ohm)
  return {
    amps,
    set_V,
    missing: laid.missing,
    chains: laid.chains.map(({ name, groups }, at) => ({
      chain: name,
      amps: chains[at]?.amps ?? 0,
      elements: groups.flatMap((group, g) =>
        group.map((element) => ({
          part: element.part,
          volts: chains[at]?.across[g] ?? 0,
          rated_V: element.kind === 'heater' ? element.hot_V : null,
        })),
      ),
    })),
  }
}

/** Volts behind the shared leads, where what the chains draw and what the leads lose agree. */
function behindLeads(
  chains: readonly Chain[],
  volts: number,
  lead_ohm: number,
): { readonly set_V: number; readonly amps: number } {
  let set_V = volts
  for (let round = 0; ; round++) {
    let amps = 0
    let slope_S = 0
    for (const chain of chains) {
      settle(chain, set_V)
      amps += chain.amps
      slope_S += chain.slope_S
    }
    const off_V = set_V + lead_ohm * amps - volts
    if (lead_ohm === 0 || Math.abs(off_V) <= 1e-9 * volts || round >= 40) return { set_V, amps }
    // A current that bends down is overshot from below: half way to nothing is far enough for one round.
    set_V = Math.max(set_V / 2, set_V - off_V / (1 + lead_ohm * slope_S))
  }
}

/** One element as it stands: a resistor where `ohm` is not 0. */
interface Standing {
  readonly factor: number
  readonly ohm: number
  readonly hot_V: number
  readonly hot_A: number
  readonly ratio: number
}

interface Chain {
  readonly lead_ohm: number
  /** Null where the group is shorted. */
  readonly groups: readonly (readonly Standing[] | null)[]
  /** Volts across each group. */
  readonly across: Float64Array
  amps: number
  slope_S: number
}

function startChain(chain: LaidChain, volts: number, change: HeaterChange): Chain {
  const count = Math.max(1, chain.groups.length)
  return {
    lead_ohm: chain.lead_ohm,
    groups: chain.groups.map((group) => standing(group, change)),
    across: new Float64Array(chain.groups.length).fill(volts / count),
    amps: 0,
    slope_S: 0,
  }
}

function standing(group: readonly HeaterElement[], change: HeaterChange): Standing[] | null {
  const elements: Standing[] = []
  for (const element of group) {
    const by = change(element.part)
    if (by === 'short') return null
    if (by === 'open') continue
    const { hot_V, hot_A } = typeof by === 'number' ? element : by
    const ohm = element.kind === 'resistor' ? element.ohm : 0
    elements.push({ factor: typeof by === 'number' ? by : 1, ohm, hot_V, hot_A, ratio: ratioOf(element) })
  }
  return elements
}

/** Newton's method for one chain at `volts`, from where it stands. An open chain leaves its volts at the gap. */
function settle(chain: Chain, volts: number): void {
  const { groups, across } = chain
  const gap = groups.findIndex((group) => group?.length === 0)
  if (gap >= 0 || volts <= 0) {
    across.fill(0)
    if (gap >= 0) across[gap] = volts
    chain.amps = 0
    chain.slope_S = 0
    return
  }
  const whole = groups.some((group) => group !== null)
  const currents = new Float64Array(groups.length)
  const slopes = new Float64Array(groups.length)
  for (let pass = 0; pass < 60; pass++) {
    let rest_V = volts
    let ohm = whole ? chain.lead_ohm : Math.max(chain.lead_ohm, short_ohm)
    for (const [g, group] of groups.entries()) {
      if (group === null) {
        across[g] = 0
        continue
      }
      const here_V = across[g] ?? 0
      let I = 0
      let slope_S = 0
      for (const element of group) {
        const of =
          element.ohm > 0
            ? { I: here_V / element.ohm, slope_S: 1 / element.ohm }
            : heaterWithSlope(element.hot_V, element.hot_A, here_V, element.ratio)
        I += element.factor * of.I
        slope_S += element.factor * of.slope_S
      }
      currents[g] = I
      slopes[g] = slope_S
      rest_V -= here_V - I / slope_S
      ohm += 1 / slope_S
    }
    const amps = rest_V / ohm
    let moved = 0
    for (const [g, group] of groups.entries()) {
      if (group === null) continue
      const here_V = across[g] ?? 0
      const next_V = here_V + (amps - (currents[g] ?? 0)) / (slopes[g] ?? 1)
      const kept_V = Math.max(next_V, here_V / 10)
      moved = Math.max(moved, Math.abs(kept_V - here_V))
      across[g] = kept_V
    }
    chain.amps = amps
    chain.slope_S = 1 / ohm
    if (moved <= 1e-9 * volts) return
  }
}

/**
 * What each change makes of a rail at `volts`: as a small update, since only the chain that holds the part is solved again;
 * the others follow the few millivolts that the leads lose more or less by their slope.
 */
export function heaterChanges(
  laid: HeaterRail,
  volts: number,
  lead_ohm: number,
): (chain: string, change: HeaterChange) => HeaterChanged {
  const chains = laid.chains.map((chain) => startChain(chain, volts, nominal))
  const whole = behindLeads(chains, volts, lead_ohm)
  return (name, change) => {
    const at = laid.chains.findIndex((chain) => chain.name === name)
    const [before, of] = [chains[at], laid.chains[at]]
    if (before === undefined || of === undefined) return { change_A: 0, set_change_V: 0, elements: [] }
    const own = startChain(of, whole.set_V, change)
    const others_S = chains.reduce((sum, each) => sum + (each === before ? 0 : each.slope_S), 0)
    let set_V = whole.set_V
    for (let round = 0; round < 40; round++) {
      settle(own, set_V)
      const amps = whole.amps - before.amps + own.amps + others_S * (set_V - whole.set_V)
      const off_V = set_V + lead_ohm * amps - volts
      if (lead_ohm === 0 || Math.abs(off_V) <= 1e-9 * volts) break
      set_V = Math.max(set_V / 2, set_V - off_V / (1 + lead_ohm * (own.slope_S + others_S)))
    }
    return {
      change_A: own.amps - before.amps + others_S * (set_V - whole.set_V),
      set_change_V: set_V - whole.set_V,
      elements: of.groups.flatMap((group, g) =>
        group.map((element) => ({ element, volts: own.across[g] ?? 0 })),
      ),
    }
  }
}

export interface HeaterChanged {
  readonly change_A: number
  /** Change of the volts behind the bench's leads. */
  readonly set_change_V: number
  /** Every element of the changed chain with its volts now. */
  readonly elements: readonly { readonly element: HeaterElement; readonly volts: number }[]
}
