import { isHotRole, type Plan } from '../../src/plan/index.js'

/** How each rail stood when whoever put it off had done. */
export type Left = Readonly<Record<string, { readonly confirmed: boolean; readonly how: string }>>

/** On a line: nothing comes over it, or nothing that could be believed. */
const deafens = ['silent', 'garbled', 'noise', 'endless', 'another', 'behind', 'echo', 'late']
/** Of a supply: it goes on whatever it is told, or shows volts or amps that are not there. */
const disobeys = ['ignores-off', 'local']
const lies = ['reads-volts', 'reads-amps']
/** Calls that fail for good, on every line at once. */
const cutOff = [
  'port refuses',
  'drop to supply',
  'drop to controller',
  'garble to controller',
  'delay to controller',
]
/** Of a heater rail: what would discharge its supply's own capacitor is gone. */
const opens = ['V1:heater-open', 'heaters:lead-off']

/**
 * What of the faults that last, `lasting`, keeps this rail from ever being confirmed off; null where nothing does. The alarm is the
 * right end of what these leave, and of nothing else.
 */
export function excuse(plan: Plan, left: Left, name: string, lasting: readonly string[]): string | null {
  const rail = plan.rails[name]
  if (rail === undefined) return null
  const ports = rail.channels.map(({ port }) => port)
  for (const text of lasting) {
    if (cutOff.some((kind) => text === `for good: ${kind}`)) return text
    const [fault = ''] = text.split('@')
    const [, part = '', kind = ''] = /^(.+?):([a-z-]+)/.exec(fault) ?? []
    const supply = part === name || ports.includes(part)
    if (supply && (disobeys.includes(kind) || lies.includes(kind))) return fault
    if (ports.some((port) => part === `line.${port}`) && deafens.includes(kind)) return fault
    if (rail.role === 'heater' && opens.includes(fault)) return fault
  }
  // Bias stays while nothing shows that HT is down, however well it obeys; heaters wait a while for it, and are not told in a run that
  // had nothing on and is over before that.
  const waits = rail.role === 'heater' && left[name]?.how.startsWith('not told OFF') === true
  if (rail.role !== 'bias' && !waits) return null
  const hot = Object.values(plan.rails).filter(
    (other) => isHotRole(other.role) && left[other.name]?.confirmed === false,
  )
  const [first] = hot.flatMap((other) => excuse(plan, left, other.name, lasting) ?? [])
  return first ?? null
}
