import { driveAsked, endsAtOnce, mustBeRead } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { broke } from './breach.js'
import { nextStep } from './hold.js'
import { polarityWrong } from './hookup.js'
import { knobTurned, renewed } from './knob.js'
import { mercuryStands } from './mercury.js'
import { heatersOpen } from './open-heaters.js'
import { cathodeRead } from './over-rating.js'
import { answerHandOff } from './off.js'
import { closePrompt } from './prompts.js'
import { feedExchanged, takenOff } from './reform.js'
import { record, send, warn } from './send.js'
import type { Draft, Prompt } from './state.js'
import { currentStep, us } from './state.js'
import { nothingMoved, provedDead, wireConfirmed } from './wires.js'
import { amps, volts } from './words.js'

/** What a person's answer means. A slip of the pen is asked once more; then it counts. Too much current of the set's own pack does so at once. */

const handsClear_s = 5

export function answer(d: Draft, prompt: number, value: number | string, by: string): void {
  const open = d.s.prompt
  if (open?.id !== prompt) return
  record(d, 'answer', `${open.text} → ${value}${typeof value === 'number' ? ` ${open.unit}` : ''}`, {
    data: { prompt, value, by },
  })
  if (open.purpose.kind === 'hand off') {
    answerHandOff(d, open.purpose.rail, value)
    return
  }
  if (open.purpose.kind === 'nothing moved' && value === 'no') {
    nothingMoved(d, false)
    return
  }
  if (open.purpose.kind === 'mercury' && value === 'no') {
    mercuryStands(d, false)
    return
  }
  if (value === 'no') {
    closePrompt(d, 'answered no')
    broke(d, { code: 'operator', text: `Stopped by a person, who answered no to: ${open.text}` })
    return
  }
  if (open.low !== null && open.high !== null) {
    if (typeof value !== 'number') {
      // HT goes to its top on a stage whose drive was read, or not at all.
      const { about } = open.ask
      if (
        value === 'go on' &&
        open.purpose.kind === 'step' &&
        driveAsked(about) === null &&
        !mustBeRead(about)
      ) {
        warn(d, `Could not tell: ${open.text} (the person answered "go on").`, null)
        takeAnswer(d, null)
      } else askInWords(d, `A number of ${open.unit} is wanted here. `)
      return
    }
    // Written so that what is no number at all lies outside too.
    if (!(value >= open.low && value <= open.high)) {
      outside(d, value)
      return
    }
    takeAnswer(d, value)
    return
  }
  if (value === 'yes' || (value === 'go on' && offersGoOn.has(open.purpose.kind))) takeAnswer(d, null)
  else askInWords(d, 'Yes or no is wanted here. ')
}

/** Questions that end in "Go on, or stop?". */
const offersGoOn: ReadonlySet<Prompt['purpose']['kind']> = new Set(['weak', 'not settled'])

/** The same question, with what was wrong with the answer before it. */
function askInWords(d: Draft, why: string): void {
  const open = d.s.prompt
  if (!open) return
  const wanted = { ...open.ask, text: why + open.text }
  d.out.push({ kind: 'prompt', prompt: open.id, ask: wanted, until_us: open.until_us })
}

/** Outside its window: asked once more (a slip of the pen), then it counts. */
function outside(d: Draft, value: number): void {
  const open = d.s.prompt
  if (!open) return
  const step = currentStep(d.s)
  // A charged can is discharged and read again, as often as it takes.
  const atOnce = endsAtOnce(open.ask.about, open.unit) && value > (open.high ?? value)
  if ((open.tries === 0 && !atOnce) || open.purpose.kind === 'charge' || open.ask.about === 'stored charge') {
    d.s.prompt = { ...open, tries: 1 }
    askInWords(d, `${windowMissed(open, value)}; read and type it once more. `)
    return
  }
  closePrompt(d, atOnce ? 'above its limit' : 'outside its window twice')
  if (open.purpose.kind === 'polarity' && step?.hookup) {
    polarityWrong(d, step.hookup, value)
    return
  }
  const code =
    open.purpose.kind === 'bias'
      ? 'bias-low'
      : step?.do === 'hook-up check'
        ? 'hook-up'
        : driveAsked(open.ask.about) !== null && value < (open.low ?? value)
          ? 'drive-lost'
          : 'watched-input'
  broke(d, {
    code,
    rail: 'rail' in open.purpose ? open.purpose.rail : (step?.rail ?? step?.hookup?.rail ?? ''),
    measured: value,
    limit: value < (open.low ?? value) ? (open.low ?? value) : (open.high ?? value),
    unit: open.unit,
    text: `${atOnce ? 'Turn it down now. ' : ''}A reading of ${windowMissed(open, value)}: ${open.text}`,
  })
}

function windowMissed({ unit, low, high }: Prompt, value: number): string {
  return `${shown(value, unit)} is outside ${shown(low, unit)} to ${shown(high, unit)}`
}

const shown = (figure: number | null, unit: Prompt['unit']): string =>
  figure === null || (unit !== 'V' && unit !== 'A' && unit !== 'Ω') ? '' : formatShort(figure, unit)

function windowKept({ unit, low, high }: Prompt, value: number): string {
  return `${shown(value, unit)}, within ${shown(low, unit)} to ${shown(high, unit)}`
}

function takeAnswer(d: Draft, value: number | null): void {
  const open = d.s.prompt
  const step = currentStep(d.s)
  if (!open || !step) return
  const purpose = open.purpose
  closePrompt(d, value === null || open.low === null ? 'answered' : `answered: ${windowKept(open, value)}`)
  const sample = value === null ? null : { value, t_us: d.s.t_us }
  switch (purpose.kind) {
    case 'charge':
      provedDead(d, value)
      return
    case 'wire':
      wireConfirmed(d)
      return
    case 'nothing moved':
      nothingMoved(d, true)
      return
    case 'mercury':
      mercuryStands(d, true)
      return
    case 'step':
      if (step.ask?.about.startsWith('clear ')) d.s.latched = false
      // It may be local now, and would refuse what is set next.
      if (step.ask?.takes_panel !== undefined) send(d, step.ask.takes_panel, { do: 'panel', to: 'computer' })
      if (step.aside === true) takenOff(d)
      if (step.exchange !== undefined && open.unit === 'Ω') feedExchanged(d, step.exchange)
      if (sample && step.ask?.wants.kind === 'reading' && step.ask.wants.node !== null) {
        d.s.typed = { ...d.s.typed, [`node:${step.ask.wants.node}`]: sample }
      }
      if (sample) cathodeRead(d, step, sample.value)
      if (step.do === 'hook-up check' && step.hookup)
        d.s.hookup_done = [...d.s.hookup_done, step.hookup.channel]
      nextStep(d, step)
      return
    case 'polarity':
      if (sample && step.hookup) {
        d.s.typed = { ...d.s.typed, [`polarity:${step.hookup.channel}`]: sample }
        record(
          d,
          'hook-up',
          `${step.hookup.rail}: ${volts(sample.value)} at ${step.hookup.polarity?.node ?? step.hookup.rail}, typed: polarity as it should be.`,
          { rail: step.hookup.rail, data: { volts: sample.value } },
        )
      }
      return
    case 'bias':
      if (sample) d.s.typed = { ...d.s.typed, [`node:${purpose.node}`]: sample }
      return
    case 'hands clear':
      d.s.hands_clear_until_us = d.s.t_us + us(handsClear_s)
      d.out.push({ kind: 'hands clear', until_us: d.s.hands_clear_until_us })
      return
    case 'weak': {
      const limits = step.limits[purpose.rail]
      const measured = d.s.rails[purpose.rail]?.A?.value ?? 0
      // It may have gone on falling while the question stood.
      if (limits && heatersOpen(d, purpose.rail, measured, limits)) return
      if (limits) d.s.weak = { ...d.s.weak, [purpose.rail]: measured / limits.expected_A }
      d.s.weak_in = { ...d.s.weak_in, [purpose.rail]: step.index }
      warn(
        d,
        `${purpose.rail} is weak (${amps(measured)}, expected ${amps(limits?.expected_A ?? 0)}); the person chose to go on.`,
        purpose.rail,
      )
      return
    }
    case 'not settled':
      d.s.unsettled = { ...d.s.unsettled, [purpose.rail]: step.index }
      warn(
        d,
        `${purpose.rail} had not settled at step ${step.index}; the person chose to go on.`,
        purpose.rail,
      )
      return
    case 'knob':
      knobTurned(d, step, purpose.rail, purpose.wants, sample)
      return
    case 'renew':
      if (sample) renewed(d, purpose.rail, sample)
      return
    case 'read':
      if (sample) d.s.typed = { ...d.s.typed, [`node:${purpose.node}`]: sample }
      return
    case 'hand off':
      return
  }
}
