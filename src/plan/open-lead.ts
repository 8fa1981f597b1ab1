import type { Equipment } from '../equipment/index.js'
import { type LimitProblem, type RailBench, show } from '../limits/index.js'
import type { BiasPlan, RailLimits, RailPlan, Step } from './types.js'

/**
 * A bias supply whose lead is off feeds its own bleeder alone. Grid current of a driven stage comes back to it and takes from
 * what it gives, so that much of it looks like an open lead: there, a meter at the grid return must tell.
 */

/** A bleeder's tolerance where no file states it (common practice, no source). */
const usualTolerance = 0.05

/** With its lead off: what the bleeder at the supply's terminals takes. */
export function openLead_A({ bleeder_ohm }: BiasPlan, at_V: number): number {
  return bleeder_ohm === undefined ? 0 : at_V / bleeder_ohm
}

/** The most that an open lead may read. A current this small is no sign of anything but that. */
export function openLeadMost_A(bias: BiasPlan, at_V: number, resolution_A: number): number {
  const { bleeder_tolerance = usualTolerance } = bias
  // A resistor low by its tolerance takes more by a little more than that.
  return openLead_A(bias, at_V) / (1 - bleeder_tolerance) + 2 * resolution_A
}

/** The least that a healthy set draws here. */
export function healthyLeast_A({ expected_A, lower_A }: RailLimits): number {
  return Math.min(expected_A, lower_A)
}

/** The least current at which the lead still counts as on: half way between the least of a healthy set and an open lead. */
export function leadOn_A(bias: BiasPlan, limits: RailLimits): number {
  return (healthyLeast_A(limits) + openLead_A(bias, limits.at_V)) / 2
}

/** Whether that line stands clear of what an open lead may read. */
function tellsOpen(bias: BiasPlan, limits: RailLimits, resolution_A: number): boolean {
  return leadOn_A(bias, limits) >= openLeadMost_A(bias, limits.at_V, resolution_A)
}

/** A preload is no proof of the lead where grid current hides what it draws. */
export function hiddenLeads(
  equipment: Equipment,
  plans: Readonly<Record<string, RailPlan>>,
  benches: Readonly<Record<string, RailBench>>,
  steps: readonly Step[],
): LimitProblem[] {
  return Object.values(plans).flatMap((rail): LimitProblem[] => {
    const { name, bias } = rail
    if (bias === null || bias.meter !== null || bias.preload_A === null) return []
    const hides = steps.find(({ drive, limits }) => {
      const own = limits[name]
      return (
        drive !== undefined &&
        own !== undefined &&
        own.at_V > 0 &&
        !tellsOpen(bias, own, benches[name]?.resolution_A ?? 0)
      )
    })
    const limits = hides?.limits[name]
    if (hides === undefined || limits === undefined) return []
    return [
      {
        severity: 'error',
        what: `${name} may give as little as ${show(healthyLeast_A(limits), 'A')} in ${hides.mode}, with the grid current of its driven stages coming back to it, and with its lead off its bleeder alone would take ${show(openLead_A(bias, limits.at_V), 'A')}: a lost bias would not be told from drive.`,
        remedy: `Clip a voltmeter on a line at ${bias.node} against ${equipment.chassis_node} and put it in the bench file; or fit a preload there that draws well more than the grid current.`,
      },
    ]
  })
}
