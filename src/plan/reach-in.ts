import type { Course } from './course.js'
import { touch_V } from './head.js'
import { isHot, railsOf } from './stages.js'

/*
 * Before a hand, probe or clip goes inside, nothing stands above the touch limit there, whatever its role: a bias of 105 V and a
 * heater string on 110 V kill as HT does. HT alone goes down where all else may be touched.
 */

/** Heaters and bias that may not be touched. */
function coldAbove(course: Course): string[] {
  const { equipment } = course.of
  return [...railsOf(equipment, 'heater'), ...railsOf(equipment, 'bias')].filter(
    (rail) => course.at(rail) > touch_V,
  )
}

/** What goes down before hands go in, in the order in which it comes up again: heaters, bias, then what feeds the plates. */
export function downToReach(course: Course): string[] {
  const cold = coldAbove(course)
  // Tubes that lose their bias have no plate volts at all, however few those are.
  const least_V = cold.length > 0 ? 0 : touch_V
  return [...cold, ...course.hotRails().filter((rail) => course.at(rail) > least_V)]
}

export function lowerToReach(course: Course, stage: string): void {
  for (const rail of downToReach(course).reverse()) course.lower(stage, rail, 0)
}

/** The same rails as before, in their order. Heaters warm and bias settles again, whatever is said of the holds of HT. */
export function comeBack(
  course: Course,
  stage: string,
  rails: readonly string[],
  before: Readonly<Record<string, number>>,
  holds: boolean,
): void {
  for (const rail of rails)
    course.climbAgain(stage, rail, before[rail] ?? 0, holds || !isHot(course.of.equipment, rail))
}

/** Said before anybody reaches in. */
export function downWords(course: Course, rails: readonly string[]): string {
  const cold = rails.filter((rail) => !isHot(course.of.equipment, rail))
  if (cold.length === 0) return 'HT is down; measure before touching.'
  const names = ['HT', ...cold]
  return `${names.slice(0, -1).join(', ')} and ${names[names.length - 1] ?? ''} are down; measure before touching.`
}
