import { type Diagnosis, percent } from '../faults/index.js'
import { show } from '../limits/index.js'
import { columns } from './columns.js'
import { quoted } from './problems.js'

/** Causes told before the rest is only counted. */
const causesShown = 6

/**
 * What is wrong, why, and where the meter goes next, on a page.
 *
 * @param set - the set's file, as a person gives it
 */
export function diagnosisText(run: string, diagnosis: Diagnosis, fails: boolean, set: string): string {
  const { hypotheses, none, nothing, verdict, from, next, search_ends, learned, notes } = diagnosis
  const lines = [run, verdict]
  if (from.length > 0) lines.push('', 'Reckoned from:', ...from.map((line) => `  ${line}`))
  if (hypotheses.length > 0) {
    lines.push('', 'Causes:')
    for (const { text, probability, rivals, explains } of hypotheses.slice(0, causesShown)) {
      lines.push(`  ${likely(probability)}  ${text}`)
      if (rivals.length > 0) lines.push(`            cannot be told from ${listed(rivals)}`)
      lines.push(`            ${explains}`)
    }
    const more = hypotheses.length - causesShown
    if (more > 0) lines.push(`  and ${more} less likely`)
  }
  if (hypotheses.length > 0 || nothing.probability > 0)
    lines.push(
      `  ${likely(nothing.probability)}  nothing that shows here (a whole set, or one of ${nothing.cannot_show} faults that these readings neither show nor rule out)`,
      `  ${likely(none)}  none of the known faults`,
    )
  if (next !== null) {
    lines.push(
      '',
      `Next: ${next.measure} at ${next.where}`,
      `  ${next.how}`,
      `  ${next.why}`,
      '  What it would read:',
    )
    lines.push(
      ...columns(
        next.predicts.map(({ value, unit, causes, whole }) => [
          show(value, unit),
          listed([...(whole ? ['nothing wrong'] : []), ...causes]),
        ]),
      ).map((line) => `    ${line}`),
    )
    lines.push(
      `  Then: slowglow diagnose ${run} --reading "${next.place}=VALUE${next.step === null ? '' : ` at step ${next.step}`}" (VALUE with ± where your meter is not the bench file's)`,
    )
  }
  if (search_ends !== null) lines.push('', search_ends)
  if (next === null && hypotheses.length === 0 && !fails)
    lines.push(`  Then: slowglow diagnose ${run} --fails`)
  if (search_ends !== null)
    lines.push(
      `Found it? slowglow book ${quoted(set)} --finding "what it was" --part ${hypotheses[0]?.part ?? 'C17'} (the part that it was: later runs of this set are diagnosed with it)`,
    )
  if (learned.length > 0)
    lines.push('', 'What was learned of this set:', ...learned.map((line) => `  ${line}`))
  if (notes.length > 0) lines.push('', ...notes)
  return lines.join('\n')
}

function listed(names: readonly string[]): string {
  return names.length <= 8 ? names.join(', ') : `${names.slice(0, 8).join(', ')} and ${names.length - 8} more`
}

const likely = (part: number): string => percent(part).padStart(9)
