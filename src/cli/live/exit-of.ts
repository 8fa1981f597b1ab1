import { handsOpen, offSaid, outputsOpen } from '../../session/index.js'
import type { RunEnding } from '../../story/index.js'
import { type Exit, exits } from '../exits.js'

/** 4 wins over every other; a hand rail that was left open is a finding whatever the outcome: the others promise outputs off. */
export function exitOf(ending: RunEnding): Exit {
  if (outputsOpen(offSaid(ending))) return exits.notConfirmedOff
  if (handsOpen(ending).length > 0) return exits.finding
  switch (ending.outcome) {
    case 'tripped':
      return exits.tripped
    case 'stopped':
      return exits.stopped
    case 'failed':
      return exits.rigFailed
    case 'completed':
      return ending.warnings.length > 0 ? exits.finding : exits.done
  }
}
