import type { LineHealth } from '../exchange/index.js'
import { formatShort } from '../quantities/index.js'
import {
  byHand,
  chargeOf,
  endingSentence,
  lineFaultLines,
  measuredLine,
  offSaid,
  openHandLines,
  outputsOpen,
  railLines,
  reasonFigures,
} from '../session/index.js'
import type { Known, RunEnding } from '../story/index.js'
import type { Ended } from './api/index.js'

/** What a stop has come to. Where every rail stands on a person's own knob there is nothing to confirm, which is no alarm. */
export function offOf(ending: RunEnding): 'confirmed' | 'not confirmed' | 'nothing to confirm' {
  const said = offSaid(ending)
  if (outputsOpen(said)) return 'not confirmed'
  return said.nothing_to_confirm ? 'nothing to confirm' : 'confirmed'
}

/** The same for the terminal of the service: what only a person can put off stands first. */
export const endedWords = ({ open_hand_rails, sentence, outputs }: Ended): string =>
  [...open_hand_rails, sentence, outputs].join(' ')

/** How a run ended, in the words of the terminal. "Outputs off" and "stored charge" stay two statements. */
export function endedOf(
  ending: RunEnding,
  lines: Readonly<Record<string, LineHealth>>,
  command: Known['command'],
): Ended {
  const said = offSaid(ending)
  return {
    outcome: ending.outcome,
    ended_at: new Date().toISOString(),
    sentence: endingSentence(ending),
    outputs_off: ending.outputs_off,
    outputs: measuredLine(said),
    alarm: outputsOpen(said),
    rails: railLines(said).map((line) => line.trim()),
    open_hand_rails: openHandLines(said),
    charge_of: chargeOf(command),
    charge: Object.entries(ending.stored_charge).map(([node, found]) =>
      found === 'not measured'
        ? { node, volts: null, meter: null, age_s: null, text: 'not measured: take it as charged' }
        : {
            node,
            volts: found.volts,
            meter: found.meter,
            age_s: found.age_s,
            text: `${formatShort(found.volts, 'V')} by ${found.meter}, read ${found.age_s.toFixed(1)} s before the end${found.fell === undefined ? '' : `; ${found.fell}`}`,
          },
    ),
    charge_words: 'Measure before touching.',
    reason: ending.reason === null ? null : { ...ending.reason },
    figures: ending.reason === null ? null : reasonFigures(ending.reason),
    warnings: [...ending.warnings],
    by_hand: [...byHand(ending)],
    lines: lineFaultLines(lines),
    steps_done: ending.steps_done,
    duration_s: ending.duration_s,
    ending,
  }
}
