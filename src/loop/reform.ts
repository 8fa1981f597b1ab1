import type { LineConfig } from '../line/index.js'
import type { Seen, Standing } from '../reform/index.js'
import type { State } from '../sequencer/index.js'

/* How a reform stands, for the estimator and for the pace of the lines. */

export function standingOf(s: State): Standing {
  const step = s.phase === 'running' ? (s.plan.steps[s.step] ?? null) : null
  return {
    step,
    holds: step?.reform !== undefined && s.part === 'hold',
    t_us: s.t_us,
  }
}

/** What the run may still spend on waiting, s: its budget without what it has used and what the steps to come need. */
export function leftOf(s: State): number {
  const run_s = s.begun_us === null ? 0 : (s.t_us - s.begun_us) / 1e6
  return Math.max(0, s.plan.time_budget_s - run_s - restOf(s))
}

/** What the steps after this one hold at least. */
function restOf(s: State): number {
  let sum = 0
  for (let at = s.step + 1; at < s.plan.steps.length; at++) sum += s.plan.steps[at]?.hold_s ?? 0
  return sum
}

/** What a person typed in this very moment: the volts of a part whose meter has no line, the ohms of a feed resistor. */
export function typedIn(s: State): Seen | null {
  const now = (node: string): number | null => {
    const sample = s.typed[`node:${node}`]
    return sample?.t_us === s.t_us ? sample.value : null
  }
  for (const { name: part, typed, feed_untold, next_feed } of s.plan.reform?.parts ?? []) {
    const volts = typed === undefined ? null : now(typed.node)
    if (volts !== null) return { kind: 'typed', part, volts, t_us: s.t_us }
    const ohm = feed_untold === undefined && next_feed === undefined ? null : now(`feed ${part}`)
    if (ohm !== null) return { kind: 'feed', part, ohm, t_us: s.t_us }
  }
  return null
}

/** Charging and the first leakages are read as fast as the lines allow; after that nothing moves quickly (our choice). */
const brisk_s = 90

/** Hours in which a part behind its feed resistor does nothing sudden: a reading a second is enough, and a night stays small. */
export function isSlow(s: State): boolean {
  const step = s.plan.steps[s.step]
  if (s.phase !== 'running' || s.prompt !== null || step === undefined) return false
  const waits = (step.reform !== undefined && s.part === 'hold') || step.do === 'hold'
  if (!waits) return false
  let charging_s = 0
  for (const { feed_ohm, F } of s.plan.reform?.parts ?? [])
    charging_s = Math.max(charging_s, 8 * feed_ohm * F)
  return s.t_us - s.part_us > 1e6 * (brisk_s + charging_s)
}

/** The rail once a second, what stands still behind a resistor every five. */
export const slowPoll_us = ({ meter }: LineConfig): number => (meter === null ? 1_000_000 : 5_000_000)
