import type { Chance } from '../chance/index.js'
import type { Meter } from '../bench/index.js'
import { calibration } from './draw.js'
import { rounded } from './outputs.js'
import { digitsOf } from './scpi.js'
import type { FaultSpec } from './types.js'

/** A meter of the virtual bench that something reads: what it shows of the truth, with whatever is wrong about it. */
export interface VirtualInput {
  /** The number it shows; a contact: 1 closed, 0 open. Null = it says nothing. */
  shows(): number | null
  /** As it prints it. */
  text(): string | null
  faults(active: readonly FaultSpec[]): void
}

/** @param truth - what stands at its leads now, in its unit; a contact: 1 closed. */
export function createInput(
  name: string,
  meter: Meter,
  source: Chance,
  truth: () => number,
  noise: () => number,
): VirtualInput {
  const gain = 1 + meter.accuracy.of_reading * calibration(source)
  const zero = meter.accuracy.plus * calibration(source)
  let faults: readonly FaultSpec[] = []
  let held: number | null = null
  const has = (kind: string): FaultSpec | undefined => {
    for (const fault of faults) if (fault.kind === kind) return fault
    return undefined
  }
  const sees = (): number => {
    const told = has('reads')?.value
    if (told !== undefined && told !== null) return told
    if (has('open') !== undefined) return 0
    if (has('closed') !== undefined) return 1
    return truth()
  }
  const shows = (): number | null => {
    if (has('silent') !== undefined) return null
    if (meter.measures === 'contact') return (held ??= sees())
    return (held ??= rounded(sees() * gain + zero + 0.3 * meter.resolution * noise(), meter.resolution))
  }
  const now = (): number | null => {
    const value = shows()
    if (has('stuck') === undefined) held = null
    return value
  }
  return {
    shows: now,
    text() {
      const value = now()
      if (value === null) return null
      const said =
        meter.measures === 'contact'
          ? String(value === 1 ? meter.closed_is : 1 - meter.closed_is)
          : value.toFixed(digitsOf(meter.resolution))
      return meter.answer === null ? said : meter.answer.replace('{x}', said)
    },
    faults(active) {
      faults = active.filter(({ part }) => part === `input.${name}`)
    },
  }
}
