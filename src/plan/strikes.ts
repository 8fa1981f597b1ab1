import type { RailName } from '../equipment/index.js'
import { type PointLimits, show } from '../limits/index.js'
import type { Built, Course } from './course.js'
import { isHot } from './stages.js'

/** A hold where a gas regulator may be lit or dark: two currents would both be right there. */
export function refuseStrikes(
  course: Course,
  name: string,
  rail: RailName,
  target_V: number,
  point: PointLimits,
): void {
  if (!isHot(course.of.equipment, rail)) return
  for (const { regulator, dark_V, low_V, high_V } of point.strikes)
    course.problems.push({
      severity: target_V >= (course.of.equipment.rails[rail]?.working_V ?? 0) ? 'warning' : 'error',
      what: `Stage "${name}" holds ${rail} at ${show(target_V, 'V')}, where ${regulator} gets ${show(dark_V, 'V')} while dark: it strikes somewhere from ${show(low_V, 'V')} to ${show(high_V, 'V')}, so it may be lit or dark and no current can be judged.`,
      remedy: `Hold at ${show(Math.floor((target_V * low_V) / dark_V), 'V')} or below, or at ${show(Math.ceil((target_V * high_V) / dark_V), 'V')} or above, and pass what lies between.`,
    })
}

/** Why the program's own step is not held: two currents would both be right there. */
export function leftOut(
  rail: RailName,
  V: number,
  doubt: PointLimits['strikes'][number],
): Built['left_out'][number] {
  const { regulator, dark_V, low_V, high_V } = doubt
  return {
    rail,
    V,
    text: `${rail} is not held at ${show(V, 'V')}, as it would be else: ${regulator} gets ${show(dark_V, 'V')} there while dark and strikes somewhere from ${show(low_V, 'V')} to ${show(high_V, 'V')}, so it may be lit or dark and no current can be judged. The ramp passes through to the next step.`,
  }
}
