import type { PartName, RailName } from '../equipment/index.js'
import { storedEnergy_J } from './discharge.js'
import { show } from './rail-limits.js'
import type { HeatTaker } from './stress.js'
import type { LetThrough, RailBench, RailLimits, ShortCase, WeakestPart } from './types.js'

/**
 * What parts take once, above what they take for ever, in seconds of their rated watts. Resistors: 2.5 times the rated volts
 * for 5 s, so 6.25 times the watts (the short-time overload test of IEC 60115-1, from memory). Electrodes and windings: our
 * choice, no published source.
 */
const once_s: Readonly<Record<HeatTaker, number>> = { resistor: 31, electrode: 10, winding: 60 }

/** Decision to confirmed off where the bench has not measured it: the worst of 25 to 235 ms (supplies' published figures and line arithmetic). */
const worstOff_s = 0.235

export interface Timing {
  /** Until the readings that trip a run have come. */
  readonly seen_s: number
  /** From the decision to off; null = not measured on this bench. */
  readonly off_s: number | null
}

/**
 * Energy that a fault on a rail takes before the output is off: the current limit does nothing for charge that is stored
 * already. The whole of it goes where the short is; the weakest part is the one that a shorted capacitor brings nearest to
 * what it stands, with its share of charge and of what the supply gives meanwhile.
 */
export function letThrough(
  rail: RailBench,
  all: Readonly<Record<RailName, RailLimits>>,
  charging_F: number,
  shorts: readonly ShortCase[],
  { seen_s, off_s }: Timing,
): LetThrough | null {
  const limits = all[rail.name]
  if (limits === undefined) return null
  const V = limits.at_V
  const supply_J = storedEnergy_J(rail.output_F, V)
  const set_J = storedEnergy_J(Math.max(0, charging_F - rail.output_F), V)
  const for_s = seen_s + (off_s ?? worstOff_s)
  const fed_J = limits.supply_limit_A * V * for_s
  const total_J = supply_J + set_J + fed_J
  const weakest = weakestOf(
    rail.name,
    limits,
    shorts.filter((each) => own(each, rail.name, all)),
    supply_J + set_J,
    for_s,
  )
  return {
    rail: rail.name,
    at_V: V,
    supply_J,
    set_J,
    fed_J,
    for_s,
    off_measured: off_s !== null,
    total_J,
    weakest,
    text: `${rail.name} at ${show(V, 'V')}: a fault takes ${show(total_J, 'J')} at worst before the output is off: ${show(supply_J, 'J')} from the supply's own ${show(rail.output_F, 'F')}, ${show(set_J, 'J')} from the set's capacitors, ${show(fed_J, 'J')} at the ${show(limits.supply_limit_A, 'A')} limit for ${show(for_s, 's')} (${show(seen_s, 's')} until it is seen, ${show(off_s ?? worstOff_s, 's')} until off${off_s === null ? ', not measured on this bench: the worst figure published' : ', measured'})${weakest === null ? '' : `. ${weakest.text}`}.`,
  }
}

/** A short belongs to the rail that it drives furthest beyond its trip: bias that is lost runs HT up too. */
function own(short: ShortCase, rail: RailName, all: Readonly<Record<RailName, RailLimits>>): boolean {
  const beyond = (name: RailName): number =>
    (short.amps[name] ?? 0) / Math.max(all[name]?.trip_A ?? Infinity, 1e-9)
  return Object.keys(all).every((other) => beyond(other) <= beyond(rail))
}

function weakestOf(
  rail: RailName,
  limits: RailLimits,
  shorts: readonly ShortCase[],
  stored_J: number,
  for_s: number,
): WeakestPart | null {
  const all = shorts.flatMap((each) => {
    const amps = each.amps[rail] ?? 0
    // A short that stays inside the trip has all the time it wants: those are told by themselves.
    if (amps <= limits.trip_A) return []
    const held = Math.min(1, limits.supply_limit_A / amps)
    return each.over.flatMap(({ part, heat }): WeakestPart[] => {
      if (heat === null) return []
      const { W, rated_W, of } = heat
      const takes_J = W * held * for_s + stored_J * Math.min(1, W / (limits.at_V * amps))
      return [weak(each.capacitor, part, takes_J, of, rated_W)]
    })
  })
  return all.reduce<WeakestPart | null>(
    (worst, each) => (worst === null || each.of_stands > worst.of_stands ? each : worst),
    null,
  )
}

function weak(
  capacitor: PartName,
  part: PartName,
  takes_J: number,
  of: HeatTaker,
  rated_W: number,
): WeakestPart {
  const stands_J = once_s[of] * rated_W
  const of_stands = takes_J / stands_J
  const source =
    of === 'resistor'
      ? 'short-time overload test of IEC 60115-1, from memory'
      : 'our choice, no published source'
  return {
    part,
    fault: `${capacitor} shorts`,
    takes_J,
    stands_J,
    of_stands,
    text: `Weakest: ${part}, when ${capacitor} shorts, takes ${show(takes_J, 'J')} of the ${show(stands_J, 'J')} it should stand once (${once_s[of]} s of its ${show(rated_W, 'W')}: ${source})${of_stands > 1 ? ': IT MAY BURN BEFORE THE OUTPUT IS OFF' : ''}`,
  }
}
