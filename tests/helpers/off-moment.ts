import { type OffAct, offBegin, type OffState, offStep } from '../../src/off/index.js'
import type { RailOff, Sample } from '../../src/off/types.js'
import type { OffPlan } from '../../src/plan/index.js'

/** A moment of going off, s after its first OFF, which is not at zero of the clock. */
export const at_us = (t_s: number): number => Math.round((40 + t_s) * 1e6)

/** Volts as read at a moment. */
export const read = (value: number, t_s: number): Sample => ({ value, t_us: at_us(t_s) })

/** Told OFF at the beginning and read back so a second later; nothing but that is known. */
export const told: Partial<RailOff> = { first_us: at_us(0), given_us: at_us(0), down_us: at_us(1) }

/** What may be off by now: read as off and, by three readings, without volts and current. */
export const gone = (t_s: number): Partial<RailOff> => ({
  ...told,
  ...{ V: read(0, t_s), from: read(0, 1), quiet: 9, low: 9, gone: 9, confirmed_us: at_us(1.3) },
})

/** Fallen to `V` at `t_s` by steps of as many volts, half a second each. */
export const falling = (V: number, t_s: number, step_V = 1): readonly Sample[] =>
  [3, 2, 1, 0].map((back) => read(V + back * step_V, t_s - back / 2))

/**
 * One tick of going off, as it stands at a moment, with nothing played before: what each rail has shown so far is given, and every
 * one named in `off` is confirmed. `over` is the rest of the state where it is not as it was at the first OFF.
 */
export function offAt(
  plan: OffPlan,
  t_s: number,
  rails: Readonly<Record<string, Partial<RailOff>>>,
  off: readonly string[] = [],
  over: Partial<OffState> = {},
): { readonly acts: readonly OffAct[]; readonly state: OffState } {
  const { state: begun } = offBegin(plan, {
    ...{ t_us: at_us(0), how: 'urgent', ht_was_up: true, live: 'yes', outputs: {}, volts: {}, knobs: {} },
    ...{ asks: false, calls_hands: false, look_first: false },
  })
  const before: OffState = {
    ...begun,
    ...{ t_us: at_us(t_s) - 100_000, awake_us: at_us(0), heaters_off_us: at_us(0) },
    confirmed: { ...begun.confirmed, ...Object.fromEntries(off.map((rail) => [rail, 'read back as off'])) },
    rails: {
      ...begun.rails,
      ...Object.fromEntries(
        Object.entries(rails).map(([rail, known]) => [rail, { ...begun.rails[rail]!, ...known }]),
      ),
    },
    ...over,
  }
  return offStep(plan, before, { kind: 'tick', t_us: at_us(t_s) })
}

/** The texts of one kind of what it gave out. */
export const saidIn = (acts: readonly OffAct[], kind: 'alarm' | 'record'): string[] =>
  acts.flatMap((act) => (act.do === kind && 'text' in act ? [act.text] : []))
