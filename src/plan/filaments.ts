import { chainAmps, type Equipment, type ModeName, type RailName, recordOf } from '../equipment/index.js'
import { chainsOf, type FilamentStage, filamentStages, type LimitProblem, show } from '../limits/index.js'
import type { FilamentPlan, Step } from './types.js'

/*
 * Directly heated tubes on the bench's direct current: what the polarity of the filament supply does to each stage's bias, and
 * that no filament is kept long below its volts, where its emitting layer is worn or poisoned while current is drawn.
 */

/** Below this part of its rated volts a filament is on its way, not at work; and how long that may last. */
const low = 0.8
export const lowFilament_s = 120
const lowSource =
  'physics of filaments as commonly taught: at most 2 min below 80 % of rated volts (common practice, no source)'

/** A tenth more current than its own through a filament matters (common practice, no source: filaments stand +-10 %). */
const returnsMatter = 0.1

/** Directly heated tubes that a heater rail feeds. */
export function filamentsOn(equipment: Equipment, rail: RailName): string[] {
  return chainsOf(equipment, rail)
    .flatMap(([, { series }]) => series.flat())
    .filter((part) => {
      const tube = equipment.tubes[part]
      return tube !== undefined && tube.pulled !== true && recordOf(tube)?.cathode === 'direct'
    })
}

/** Those of them whose bias their filament is part of: rectifiers have none. */
export function amplifyingFilaments(equipment: Equipment, rail: RailName): string[] {
  return filamentsOn(equipment, rail).filter((part) => {
    const tube = equipment.tubes[part]
    return tube !== undefined && recordOf(tube)?.filament_reference !== undefined
  })
}

/** Whether these volts keep filaments of the rail below what they are made for. */
export function keepsFilamentsLow(equipment: Equipment, rail: RailName, V: number): boolean {
  const working_V = equipment.rails[rail]?.working_V ?? 0
  return (
    equipment.rails[rail]?.role === 'heater' &&
    V > 0 &&
    V < low * working_V &&
    filamentsOn(equipment, rail).length > 0
  )
}

/** Steps that would keep filaments low for longer than they may be, or draw current from them there. */
export function lowFilamentProblems(equipment: Equipment, steps: readonly Step[]): LimitProblem[] {
  const problems: LimitProblem[] = []
  const at_V: Record<RailName, number> = {}
  for (const step of steps) {
    const { rail, target_V } = step
    if ((step.do === 'raise' || step.do === 'lower') && rail !== null) at_V[rail] = target_V
    for (const [name, V] of Object.entries(at_V)) {
      if (!keepsFilamentsLow(equipment, name, V)) continue
      const working_V = equipment.rails[name]?.working_V ?? 0
      const which = `${show(V, 'V')} on ${name}, ${Math.round((100 * V) / working_V)} % of the ${show(working_V, 'V')} that the filaments of ${filamentsOn(equipment, name).join(', ')} are made for`
      const onWay_s = step.do === 'raise' && rail === name ? V / step.slew_V_per_s : 0
      const lasts_s = onWay_s + step.hold_s + step.settle_within_s
      if (step.do === 'raise' && rail !== name && equipment.rails[rail ?? '']?.role !== 'bias')
        problems.push({
          severity: 'error',
          what: `Stage "${step.stage}" raises ${rail ?? 'a rail'} with ${which}: plate current would be drawn from filaments that are not hot.`,
          remedy: `Raise ${name} to ${show(working_V, 'V')} first.`,
        })
      else if (step.do === 'ask')
        problems.push({
          severity: 'error',
          what: `Stage "${step.stage}" asks a question with ${which}; answers take their time, and filaments may not stay below 80 % for more than 2 min.`,
          remedy: `Ask before ${name} is raised, or at its full volts.`,
        })
      else if (lasts_s > lowFilament_s + 1)
        problems.push({
          severity: 'error',
          what: `Stage "${step.stage}" keeps ${which}, for up to ${show(Math.round(lasts_s), 's')}; below 80 % of their volts filaments may stay for 2 min at most.`,
          remedy: `Raise ${name} faster or hold it for less there, or go to ${show(working_V, 'V')} in one step: ${lowSource}.`,
        })
    }
    // The way up to full volts passes below 80 % too.
    if (step.do === 'raise' && rail !== null && filamentsOn(equipment, rail).length > 0) {
      const working_V = equipment.rails[rail]?.working_V ?? 0
      const below_s = (low * working_V) / step.slew_V_per_s
      if (target_V >= low * working_V && equipment.rails[rail]?.role === 'heater' && below_s > lowFilament_s)
        problems.push({
          severity: 'error',
          what: `Stage "${step.stage}" takes ${show(Math.round(below_s), 's')} to bring the filaments on ${rail} to 80 % of their volts; 2 min is the most.`,
          remedy: `Write slew: ${show(Number(((low * working_V) / lowFilament_s).toPrecision(2)), 'V/s')} or more: ${lowSource}.`,
        })
    }
  }
  return problems
}

/** What the plan says of each directly heated stage on direct current; empty where the set has none, or no circuit is known. */
export function filamentPlans(equipment: Equipment, mode: ModeName): FilamentPlan[] {
  if (equipment.level !== 3) return []
  return filamentStages(equipment, mode).map((stage) => {
    const { part, section, type, rail, volts, reference_V, exchanged_V, plate_A, exchanged_A } = stage
    return {
      part,
      section,
      rail,
      filament_V: volts,
      reference_V,
      exchanged_V,
      plate_A,
      exchanged_A,
      text: `${part} (${type}${stage.does === null ? '' : `, ${stage.does}`}): ${bothWays(stage)}${returned(equipment, stage)}`,
    }
  })
}

function bothWays(stage: FilamentStage): string {
  const { reference, reference_V, exchanged_V, volts, from, rail, plate_A, exchanged_A } = stage
  const point = reference === 'middle' ? 'middle' : 'negative end'
  const draws = (A: number | null): string => (A === null ? 'no solution' : `plate ${show(A, 'A')}`)
  return `with the leads of ${rail} as the hook-up sheet has them the ${point} of its ${show(volts, 'V')} filament, which its sheet counts from, stands ${against(reference_V, from)}: ${biasWords(reference_V)}, ${draws(plate_A)}. With the leads exchanged it stands ${against(exchanged_V, from)}: ${draws(exchanged_A)}.`
}

function against(V: number, from: string): string {
  if (Math.abs(V) < 0.005) return `at ${from}`
  return `${show(Math.abs(V), 'V')} ${V > 0 ? 'above' : 'below'} ${from}`
}

function biasWords(V: number): string {
  if (Math.abs(V) < 0.005) return 'its grid bias is what the circuit gives'
  return `${show(Math.abs(V), 'V')} ${V > 0 ? 'more' : 'less'} grid bias than the circuit alone gives`
}

/** In a string the plate and screen currents of the tubes above go home through the filaments below. */
function returned(equipment: Equipment, { chain, above, returned_A, part }: FilamentStage): string {
  const of = equipment.heater_chains[chain]
  if (of === undefined || above.length === 0) return ''
  const amps = chainAmps(equipment, of)
  if (!(returned_A > returnsMatter * amps)) return ''
  return ` ${show(returned_A, 'A')} of plate and screen current of ${above.join(', ')} returns through it, beside the ${show(amps, 'A')} of the chain: a shunt across ${part} carries it in most sets; see that it is there.`
}
