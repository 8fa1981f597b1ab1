import type { LineFault } from '../exchange/index.js'
import type { RuleCode } from '../plan/index.js'
import type { Draft, LineTrouble } from './state.js'

/** Nothing came, or too late; anything else came and could not be believed. */
const cameLate: ReadonlySet<LineFault> = new Set([
  'no_reply',
  'late_reply',
  'stale_reply',
  'connection_lost',
  'write_failed',
])

/**
 * Readings that stay away for `age_us` are told with what has been wrong on their line since, as the line itself told it.
 * Nothing but the code and the sentence depends on it.
 */
export function whyQuiet(
  d: Draft,
  age_us: number,
  from: readonly { readonly port: string | null }[],
): { readonly code: RuleCode; readonly text: string | null } {
  let trouble: LineTrouble | null = null
  for (const { port } of from) {
    const one = d.s.line_troubles[port ?? '']
    if (one !== undefined && one.t_us >= d.s.t_us - age_us && one.t_us >= (trouble?.t_us ?? 0)) trouble = one
  }
  if (trouble === null) return { code: 'stale', text: null }
  const { fault, text } = trouble
  return { code: cameLate.has(fault) ? 'stale' : 'bad-reply', text: text.endsWith('.') ? text : `${text}.` }
}
