import { z } from 'zod'
import { formatShort } from '../quantities/index.js'
import type { Known, RunEnding } from '../story/index.js'

/**
 * What is said of outputs at the end, the same for run, take-over, `show` and `runs`. It speaks of what was measured; rails on
 * a person's own knob stand apart, and one that was left open is said first.
 */

export interface OffSaid {
  readonly outputs_off: RunEnding['outputs_off']
  /** Programmed and watched rails. */
  readonly off: Readonly<Record<string, { readonly confirmed: boolean; readonly how: string }>>
  /** No rail of this run was slowglow's to switch or to measure. */
  readonly nothing_to_confirm: boolean
  readonly hand_rails: RunEnding['hand_rails']
  /** Volts last typed for each hand rail. */
  readonly hand_last_V: Readonly<Record<string, number>>
}

const detailsShape = z.object({
  off: z.record(z.string(), z.object({ confirmed: z.boolean(), how: z.string() })).catch({}),
  nothing_to_confirm: z.boolean().catch(false),
  hand_last_V: z.record(z.string(), z.number()).catch({}),
})

export function offSaid({ outputs_off, hand_rails, details }: RunEnding): OffSaid {
  return { outputs_off, hand_rails, ...detailsShape.parse(details) }
}

/** A programmed or watched rail may still be on. */
export function outputsOpen(said: OffSaid): boolean {
  return said.outputs_off !== 'confirmed' && !said.nothing_to_confirm
}

/** Hand rails of which the person did not say that they are off. */
export function handsOpen({ hand_rails }: Pick<OffSaid, 'hand_rails'>): string[] {
  return Object.entries(hand_rails).flatMap(([rail, left]) => (typeof left === 'number' ? [] : [rail]))
}

/** What stands above everything else: rails that only the person can put off, and that nobody said are off. */
export function openHandLines(said: Pick<OffSaid, 'hand_rails' | 'hand_last_V'>): string[] {
  const [first, ...open] = handsOpen(said)
  if (first === undefined) return []
  const stood = (rail: string): string => {
    const last = said.hand_last_V[rail]
    return `${rail} (your own knob): NOT confirmed off by you: ${last === undefined ? 'no volts were typed, take it as on' : `last typed ${formatShort(last, 'V')}`}`
  }
  // They stand in the order of going off: bias after HT.
  return [
    `${stood(first)}. Switch off the mains of the ${first} supply.`,
    ...open.map(
      (rail) =>
        `${stood(rail)}. Switch off the mains of the ${rail} supply, but not before ${first} is down.`,
    ),
  ]
}

/** One statement about what was measured. */
export function measuredLine(said: OffSaid): string {
  if (said.nothing_to_confirm) return 'No output here is slowglow’s to confirm.'
  if (!outputsOpen(said)) return 'Outputs confirmed off, measured at the supplies.'
  const open = Object.entries(said.off).flatMap(([rail, { confirmed }]) => (confirmed ? [] : [rail]))
  return `OUTPUTS NOT CONFIRMED OFF${open.length === 0 ? '' : `: ${open.join(', ')}`}. Cut the mains of the HT sources now (not of the bias).`
}

/** Each rail below that statement: measured ones, then those that the person said are off, or had down before the end. */
export function railLines(said: OffSaid): string[] {
  return [
    ...Object.entries(said.off).map(
      ([rail, { how, confirmed }]) => `  ${rail}: ${how}${confirmed ? '' : '  NOT CONFIRMED'}`,
    ),
    ...Object.entries(said.hand_rails).flatMap(([rail, left]) =>
      typeof left === 'number' ? [`  ${rail} (your own knob): ${formatShort(left, 'V')}, typed by you`] : [],
    ),
    ...Object.entries(said.hand_last_V).flatMap(([rail, V]) =>
      rail in said.hand_rails
        ? []
        : [`  ${rail} (your own knob): ${formatShort(V, 'V')}, the last that you typed in this run`],
    ),
  ]
}

/** What the charge is told of: on a dummy load there is no set. */
export function chargeOf(command: Known['command'] | undefined): string {
  return command === 'qualify'
    ? "Charge left at the load, in the supply's own capacitor"
    : "The set's stored charge"
}

/** The set's own charge, node by node: by which meter and how old, or not measured. */
export function chargeLines(charge: RunEnding['stored_charge']): string[] {
  return Object.entries(charge).flatMap(([node, found]) =>
    found === 'not measured'
      ? [`  ${node}: not measured: take it as charged`]
      : [
          `  ${node}: ${formatShort(found.volts, 'V')} by ${found.meter}, read ${found.age_s.toFixed(1)} s before the end`,
          ...(found.fell === undefined ? [] : [`    ${found.fell}`]),
        ],
  )
}
