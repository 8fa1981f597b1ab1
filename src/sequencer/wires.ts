import { ask, closePrompt, confirm, readingOf } from './prompts.js'
import { record } from './send.js'
import type { Draft } from './state.js'
import { hookedUp } from './state.js'
import { volts } from './words.js'

/**
 * Before the first volt the set is proved dead with a meter, in every run; then a person confirms the hook-up: wire by wire
 * where it is new or has changed since the set's last run, else by one question. Every output was read back as off by then;
 * the electrical proof comes after.
 */

/** Nothing is energised while wires are being made, so the person may take long over each. */
const perWire_s = 3600
/** The hook-up check itself goes to 5 V; dielectric absorption leaves a volt or two in a can (common practice, no source). */
const dead_V = 5

/** True once the hook-up is confirmed; until then the next question stands open. */
export function wiresConfirmed(d: Draft): boolean {
  const { wires } = d.s.plan
  if (hookedUp(d.s)) return true
  if (d.s.prompt) return false
  const charged = d.s.plan.prove_dead[d.s.proved_dead]
  if (charged !== undefined) {
    ask(
      d,
      { kind: 'charge' },
      {
        ...readingOf(
          `Outputs read back as off; the set may still hold a charge. One hand, a meter rated for it and tried on a known source: read ${charged.rail === d.s.plan.reform?.rail ? `the volts across ${charged.at}` : `${charged.rail} at ${charged.at} against chassis`}, and type the volts. Above ${dead_V} V, discharge it through a resistor first.`,
          'stored charge',
          'V',
          -dead_V,
          dead_V,
          { node: charged.node },
        ),
        timeout_s: perWire_s,
      },
    )
    return false
  }
  if (d.s.wires_as_in !== null) {
    ask(
      d,
      { kind: 'nothing moved' },
      {
        ...confirm(
          `Hook-up: the set's last run, ${d.s.wires_as_in}, had these same ${wires.length} connections. Is all of it still as it was, nothing moved, lifted, pulled or refitted since? (n: go through it wire by wire.)`,
          'nothing moved',
        ),
        timeout_s: perWire_s,
      },
    )
    return false
  }
  const at = d.s.wires_done
  const wire = wires[at]
  if (wire === undefined) return true
  const first = at === 0 ? 'Hook-up, line by line; measure before touching. ' : ''
  ask(
    d,
    { kind: 'wire' },
    {
      ...confirm(`${first}${at + 1} of ${wires.length}. ${wire.of}: ${wire.text}. Is it so?`, 'wire'),
      timeout_s: perWire_s,
    },
  )
  return false
}

/** A point read as dead, or the person could not tell, which stays in the record. */
export function provedDead(d: Draft, value: number | null): void {
  const point = d.s.plan.prove_dead[d.s.proved_dead]
  if (point === undefined) return
  d.s.proved_dead += 1
  record(
    d,
    'hook-up',
    `Before hooking up, ${point.rail} at ${point.at}: ${value === null ? 'not read' : volts(value)}.`,
    { rail: point.rail, data: { node: point.node, volts: value } },
  )
}

/** One connection confirmed. */
export function wireConfirmed(d: Draft): void {
  d.s.wires_done += 1
  if (!hookedUp(d.s)) return
  confirmed(d, `wire by wire, ${d.s.wires_done} of ${d.s.plan.wires.length}`)
}

/** Everything still as in the set's last run; or not, and then it is gone through wire by wire. */
export function nothingMoved(d: Draft, yes: boolean): void {
  const last = d.s.wires_as_in ?? ''
  if (yes) {
    d.s.wires_done = d.s.plan.wires.length
    confirmed(d, `nothing moved since ${last}`)
    return
  }
  closePrompt(d, 'something was moved')
  d.s.wires_as_in = null
  record(d, 'hook-up', `Something was moved since ${last}: the hook-up is gone through wire by wire.`)
}

function confirmed(d: Draft, how: string): void {
  // The run's own time begins here: making wires is not held against its budget.
  d.s.begun_us = d.s.t_us
  d.s.part_us = d.s.t_us
  record(d, 'hook-up', `Hook-up confirmed by the person: ${how}.`, { data: { confirmed: true, how } })
}

/** In a rehearsal there are no wires, and it says so. */
export function noWires(d: Draft): void {
  d.s.wires_done = d.s.plan.wires.length
  d.s.proved_dead = d.s.plan.prove_dead.length
  if (d.s.wires_done > 0)
    record(d, 'hook-up', `A rehearsal has no wires: ${d.s.wires_done} connections stand unconfirmed.`)
}
