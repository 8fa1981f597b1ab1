import type { Snapshot } from '../../service/api/index.js'
import type { RunEnding } from '../../story/index.js'

/** What of the outputs was measured, in words: no more than that, and no alarm where there was nothing to measure. */

type Stop = NonNullable<Snapshot['stop']>
const mains = 'Cut the mains of the HT sources now (not of the bias).'
/** As `slowglow run` says it. */
const notOurs = 'No output here is slowglow’s to confirm.'

/**
 * How far a stop has come: heard, and only then measured. `own`: every rail stands on a person's own knob; `open`: what is said of
 * those that nobody said are off.
 */
export function stopWords(
  { how, by, done }: Pick<Stop, 'how' | 'by' | 'done'>,
  {
    own,
    connected,
    open,
  }: { readonly own: boolean; readonly connected: boolean; readonly open: readonly string[] },
): string {
  const who = `${how === 'off now' ? 'Stop' : 'Run down'} (${by})`
  if (done === 'confirmed' && open.length > 0)
    return `${who}: what slowglow switches is measured off. ${open.join(' ')} Measure before touching.`
  if (done === 'confirmed') return `${who}: done. Outputs measured off. Measure before touching.`
  if (done === 'nothing to confirm')
    return `${who}: the run has ended. ${notOurs} Your own knobs stand as you left them. Measure before touching.`
  if (done === 'not confirmed') return `${who}: OUTPUTS NOT CONFIRMED OFF. ${mains}`
  if (!connected)
    return `${who}: heard at the bench; whether it is done is not known here. Take the outputs as on: cut the mains of the HT sources (not of the bias).`
  return own
    ? `${who}: heard at the bench. No output here is slowglow’s to switch: turn your own knob down and switch its mains off now.`
    : `${who}: sent and heard at the bench; the outputs are being measured …`
}

/** Every rail of this run stands on a person's own knob. */
export const onOwnKnobs = (run: Snapshot['run']): boolean =>
  run !== null && run.rails.length > 0 && run.rails.every(({ class: by }) => by === 'hand')

/** How a rehearsal left its virtual outputs. */
export function rehearsedOff({ outputs_off, details }: Pick<RunEnding, 'outputs_off' | 'details'>): string {
  if (outputs_off === 'confirmed') return 'Outputs confirmed off, measured at the virtual supplies.'
  if (details['nothing_to_confirm'] === true) return notOurs
  return 'Outputs NOT confirmed off, measured at the virtual supplies.'
}
