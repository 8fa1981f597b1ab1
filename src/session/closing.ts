import { faultsInWords, type LineHealth } from '../exchange/index.js'
import type { Known, RunEnding } from '../story/index.js'
import {
  chargeLines,
  chargeOf,
  handsOpen,
  measuredLine,
  offSaid,
  openHandLines,
  outputsOpen,
  railLines,
} from './off-words.js'
import { reasonFigures } from './reason-words.js'

/** What a run says at its end, the same for run and every take-over. "Outputs off" and "stored charge" stay two statements. */
export function closingText(
  ending: RunEnding,
  file: string | null,
  health: Readonly<Record<string, LineHealth>> = {},
  command: Known['command'] = 'run',
): string {
  const said = offSaid(ending)
  const lines = [...openHandLines(said), endingSentence(ending)]
  if (ending.reason !== null) lines.push(`  ${reasonFigures(ending.reason)}`)
  for (const stated of byHand(ending)) lines.push(`  Limit by hand: ${stated}`)
  for (const warning of ending.warnings) lines.push(`  Warning: ${warning}`)
  lines.push(measuredLine(said), ...railLines(said))
  lines.push(`${chargeOf(command)}: measure before touching.`)
  lines.push(...chargeLines(ending.stored_charge))
  lines.push(...lineFaultLines(health))
  if (command === 'qualify' && Object.values(health).some(isProvoked)) lines.push(provoked)
  if (file !== null) lines.push(`Record: ${file}`)
  return lines.join('\n')
}

/** What a protection that fires as it was meant to leaves behind on its line. */
const isProvoked = ({ faults }: LineHealth): boolean =>
  faults.read_back_differs !== undefined || faults.supply_error !== undefined
const provoked =
  '  The proofs bring some of these about: an output that its protection switched off reads back as off, and the supply tells that as an error.'

/** Lines with troubles only, one short line each. */
export function lineFaultLines(health: Readonly<Record<string, LineHealth>>): string[] {
  return Object.entries(health).flatMap(([port, one]) => {
    const faults = faultsInWords(one)
    return faults === null ? [] : [`Line ${port}: ${faults}`]
  })
}

/** What happened, in one sentence. */
export function endingSentence(ending: RunEnding): string {
  return `${heading(ending)}${ending.reason === null ? '' : `: ${ending.reason.text}`}`
}

/** Limits stated by hand that held in this run, in words. */
export function byHand({ details }: RunEnding): readonly string[] {
  const { by_hand } = details
  return Array.isArray(by_hand) ? by_hand.filter((each) => typeof each === 'string') : []
}

const outcomes = { tripped: 'TRIPPED', stopped: 'Stopped', failed: 'THE RIG FAILED' } as const

/** A run that did all its steps is not "within limits" where something was marginal, and not done where outputs are open. */
function heading(ending: RunEnding): string {
  if (ending.outcome !== 'completed') return outcomes[ending.outcome]
  if (outputsOpen(offSaid(ending))) return 'All steps done, but the outputs did not go off'
  const open = handsOpen(ending)
  if (open.length > 0)
    return `All steps done, but ${open.join(', ')} ${open.length === 1 ? 'was' : 'were'} not confirmed off by you`
  return ending.warnings.length > 0 ? 'Completed, with warnings' : 'Completed, within limits'
}
