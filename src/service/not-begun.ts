import type { NotBegun } from '../session/index.js'
import type { ErrorCode, Snapshot } from './api/index.js'

/* Why there was no run. */

const codeOf: Readonly<Record<NotBegun['why'], ErrorCode>> = {
  usage: 'bad request',
  'not to be left alone': 'not allowed',
  'cold checks': 'findings',
  busy: 'busy',
  'given up': 'nothing under way',
  'not reachable': 'not reachable',
  'outputs not confirmed off': 'outputs not confirmed off',
  'record not available': 'record not available',
  'rig failed': 'our fault',
}

export function refusedAs(not: NotBegun): NonNullable<Snapshot['refused']> {
  const { why, what, remedy = null, where = null } = not
  return { code: codeOf[why], what, remedy, where, problems: [] }
}

/** This program failed at a start; `begun`: something may have been energised by then. */
export function ownFault(error: unknown, begun: boolean): NotBegun {
  const what = error instanceof Error ? error.message : String(error)
  if (!begun) return { kind: 'not begun', why: 'rig failed', what: `Our own fault: ${what}` }
  return {
    kind: 'not begun',
    why: 'outputs not confirmed off',
    what: `Our own fault after the run had begun: ${what} What its outputs do is not known here.`,
    remedy:
      'Cut the mains of the HT sources (not of the bias), then slowglow safe-off --bench FILE. Measure before touching.',
  }
}
