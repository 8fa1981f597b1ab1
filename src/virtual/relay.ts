import type { CutOff } from '../bench/index.js'
import type { VirtualInput } from './inputs.js'
import type { FaultSpec } from './types.js'

/** A cut-off relay: closed by being asked, open once nobody has asked it for its time. */
export interface Relay {
  closed(t_us: number): boolean
  /** Its contact as an input of the bench: the question is what feeds it. */
  readonly fed: (input: VirtualInput, now_us: () => number) => VirtualInput
}

export function createRelay({ meter, after_s }: CutOff): Relay {
  let fed_us = Number.NEGATIVE_INFINITY
  let faults: readonly FaultSpec[] = []
  const has = (kind: string): boolean => faults.some((fault) => fault.kind === kind)
  return {
    // `closed`: its contacts are welded; `open`: its coil is.
    closed: (t_us) => has('closed') || (!has('open') && t_us - fed_us <= after_s * 1e6),
    fed: (input, now_us) => ({
      shows: () => input.shows(),
      text() {
        fed_us = now_us()
        return input.text()
      },
      faults(active) {
        faults = active.filter(({ part }) => part === `input.${meter}`)
        input.faults(active)
      },
    }),
  }
}
