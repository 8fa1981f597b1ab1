/** So long an OFF has the machine for itself, ms: the system carries it to the adapter in far less (our choice, by the trip bench). */
export const moment_ms = 1

/**
 * Takes one input after another. One that `look` has sent OFF for is taken a moment later, and what comes meanwhile behind it, in
 * its order: judging, record and whoever is woken by them would take the processor from the threads of the system that still carry
 * the OFF to its line. `look` tells what it wrote, null where nothing was to be written; `moment` does what it is given a moment later.
 */
export function offFirst<Input, Given>(
  look: (input: Input) => Given | null,
  take: (input: Input, given: Given | null) => void,
  moment: (act: () => void) => void = (act) => void setTimeout(act, moment_ms),
): (input: Input) => void {
  let waiting: Input[] | null = null
  return (input) => {
    if (waiting !== null) {
      waiting.push(input)
      return
    }
    const given = look(input)
    if (given === null) {
      take(input, null)
      return
    }
    waiting = []
    moment(() => {
      take(input, given)
      // What taking them brings comes last.
      for (let next = waiting?.shift(); next !== undefined; next = waiting?.shift()) take(next, null)
      waiting = null
    })
  }
}
