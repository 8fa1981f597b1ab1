import type { Equipment, RailName } from '../equipment/index.js'
import { heaterPoint, heaterWindow, type HeaterChange, type RailBench, show } from '../limits/index.js'
import type { Plan, Step } from '../plan/index.js'
import type { Noticed, WorstStress } from './coverage.js'
import { isRead } from './notice.js'
import type { Fault } from './types.js'

/** What a fault makes of the heaters of its set. */
export const heatersWith =
  (fault: Pick<Fault, 'heater' | 'heater_shorted'> | null): HeaterChange =>
  (part) =>
    fault === null || part !== fault.heater ? 1 : fault.heater_shorted === true ? 'short' : 'open'

/** Where its rail first stands at full volts. */
function risesAt(equipment: Equipment, plan: Plan, fault: Fault) {
  const { heater } = fault
  const chain =
    heater === null
      ? undefined
      : Object.values(equipment.heater_chains).find(({ series }) => series.flat().includes(heater))
  if (chain === undefined) return []
  const { rail } = chain
  return plan.steps.flatMap((step) => {
    const limits = step.limits[rail]
    return step.do === 'raise' && step.rail === rail && limits !== undefined ? [{ rail, step, limits }] : []
  })
}

/** A heater that is open or shorted, by what its rail then draws. */
export function heaterNoticed(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  plan: Plan,
  fault: Fault,
): { readonly noticed: Noticed; readonly surely: boolean } | null {
  for (const { rail, step, limits } of risesAt(equipment, plan, fault)) {
    if (!isRead(plan, rail)) continue
    const lead_ohm = rails[rail]?.lead_ohm ?? 0
    const A = heaterPoint(equipment, rail, limits.at_V, lead_ohm, heatersWith(fault)).amps
    const part = A / Math.max(limits.expected_A, 1e-9)
    const noticed = (how: Noticed['how'], text: string): Noticed => ({
      ...{ step: step.index, how, by: rail, at_V: limits.at_V },
      text: `${rail} draws ${text}`,
    })
    if (A > limits.trip_A)
      return {
        noticed: noticed('off at once', `${show(A, 'A')}, trip ${show(limits.trip_A, 'A')}`),
        surely: limits.lower_A * part > limits.trip_A,
      }
    if (A < limits.ask_A)
      return {
        noticed: noticed('asked', `only ${show(A, 'A')}, asked below ${show(limits.ask_A, 'A')}`),
        surely: limits.upper_A * part < limits.ask_A,
      }
  }
  return null
}

/**
 * The worst of what is left of its chain when one heater is shorted, or the one beside it open: it may get more than it stands. Null
 * where its rail does not come to full volts, or the fault is none of a heater.
 */
export function heaterStress(
  equipment: Equipment,
  rails: Readonly<Record<RailName, RailBench>>,
  plan: Plan,
  fault: Fault,
  /** Number of the step in which the outputs went off at once; its rail does not come to full volts there. */
  until: number | null,
): WorstStress | null {
  let worst: WorstStress | null = null
  const look = (rail: RailName, step: Step, volts: number): void => {
    const lead_ohm = rails[rail]?.lead_ohm ?? 0
    const elementsOf = (of: Fault | null) =>
      heaterPoint(equipment, rail, volts, lead_ohm, heatersWith(of)).chains.flatMap(
        ({ elements }) => elements,
      )
    const whole = elementsOf(null)
    for (const { part, volts: V, rated_V } of elementsOf(fault)) {
      if (rated_V === null || part === fault.heater) continue
      const of_rating = V / rated_V
      const of_allowed = of_rating / heaterWindow.high
      if (of_allowed <= (worst?.of_allowed ?? 0)) continue
      worst = {
        ...{ part, what: `${part} heater volts`, of_rating, of_allowed, step: step.index },
        rating: `${show(rated_V, 'V')} (${heaterWindow.source})`,
        as_whole: whole.some((each) => each.part === part && V <= 1.0005 * each.volts),
      }
    }
  }
  for (const { rail, step, limits } of risesAt(equipment, plan, fault)) {
    if (until !== null && step.index >= until) break
    look(rail, step, limits.at_V)
  }
  return worst
}
