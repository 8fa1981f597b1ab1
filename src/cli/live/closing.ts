import { formatQuantity } from '../../quantities/index.js'
import type { RunEnding } from '../../story/index.js'
import { type Exit, exits } from '../exits.js'

/** What a run says at its end, the same for run and every take-over. "Outputs off" and "stored charge" stay two statements. */
export function closingText(ending: RunEnding, file: string | null): string {
  const lines = [`${heading(ending)}${ending.reason === null ? '' : `: ${ending.reason.text}`}`]
  if (ending.reason !== null) {
    const { code, rail, step, measured, limit, unit } = ending.reason
    const where = [rail === null ? '' : `rail ${rail}`, step === null ? '' : `step ${step}`].filter(
      (part) => part !== '',
    )
    const figures =
      measured === null
        ? ''
        : `measured ${figure(measured, unit)}${limit === null ? '' : `, limit ${figure(limit, unit)}`}`
    lines.push(`  ${[code, ...where, figures].filter((part) => part !== '').join('; ')}`)
  }
  for (const warning of ending.warnings) lines.push(`  Warning: ${warning}`)
  const off = Object.entries(offOf(ending))
  const hands = Object.entries(ending.hand_rails)
  lines.push(
    ending.outputs_off !== 'confirmed'
      ? 'OUTPUTS NOT CONFIRMED OFF. Cut the mains of the HT sources now (not of the bias).'
      : off.length === 0 && hands.length > 0
        ? onlyHands
        : 'Outputs confirmed off, measured at the supplies.',
  )
  for (const [rail, found] of off) {
    lines.push(`  ${rail}: ${found.how}${found.confirmed ? '' : '  NOT CONFIRMED'}`)
  }
  for (const [rail, left] of hands) lines.push(`  ${rail} (your own knob): ${handText(left)}`)
  lines.push("The set's stored charge: measure before touching.")
  for (const [node, found] of Object.entries(ending.stored_charge)) {
    lines.push(
      found === 'not measured'
        ? `  ${node}: not measured: take it as charged`
        : `  ${node}: ${formatQuantity(found.volts, 'V')} by ${found.meter}, read ${found.age_s.toFixed(1)} s before the end`,
    )
  }
  if (file !== null) lines.push(`Record: ${file}`)
  return lines.join('\n')
}

/** Where slowglow switched nothing, nothing of it can be confirmed off. */
export const onlyHands =
  'No output here was slowglow’s to switch: every rail that was up stood on your own knobs.'

/** What the person said of a hand rail at the end. */
export function handText(left: RunEnding['hand_rails'][string]): string {
  return typeof left === 'number' ? `${formatQuantity(left, 'V')}, typed by you` : `${left}: take it as on`
}

const outcomes = { tripped: 'TRIPPED', stopped: 'Stopped', failed: 'THE RIG FAILED' } as const

/** A run that did all its steps is not "within limits" where something was marginal, and not done where outputs are open. */
function heading(ending: RunEnding): string {
  if (ending.outcome !== 'completed') return outcomes[ending.outcome]
  if (ending.outputs_off !== 'confirmed') return 'All steps done, but the outputs did not go off'
  const open = Object.entries(ending.hand_rails).flatMap(([rail, left]) =>
    typeof left === 'number' ? [] : [rail],
  )
  if (open.length > 0) return `All steps done, but ${open.join(', ')} was not confirmed off by you`
  return ending.warnings.length > 0 ? 'Completed, with warnings' : 'Completed, within limits'
}

function figure(value: number, unit: string): string {
  return unit === 'V' || unit === 'A' ? formatQuantity(value, unit) : `${value} ${unit}`
}

/** How each rail was confirmed, where the ending says so. */
function offOf(ending: RunEnding): Record<string, { confirmed: boolean; how: string }> {
  const off = ending.details['off']
  const found: Record<string, { confirmed: boolean; how: string }> = {}
  if (typeof off !== 'object' || off === null) return found
  for (const [rail, value] of Object.entries(off)) {
    const entry: unknown = value
    if (typeof entry !== 'object' || entry === null || !('confirmed' in entry) || !('how' in entry)) continue
    found[rail] = { confirmed: entry.confirmed === true, how: String(entry.how) }
  }
  return found
}

/** 4 wins over every other. */
export function exitOf(ending: RunEnding): Exit {
  if (ending.outputs_off !== 'confirmed') return exits.notConfirmedOff
  switch (ending.outcome) {
    case 'tripped':
      return exits.tripped
    case 'stopped':
      return exits.stopped
    case 'failed':
      return exits.rigFailed
    case 'completed': {
      const open = Object.values(ending.hand_rails).some((left) => typeof left !== 'number')
      return open || ending.warnings.length > 0 ? exits.finding : exits.done
    }
  }
}
