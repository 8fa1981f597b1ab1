import type { RailPlan } from '../plan/index.js'
import { inOffOrder, isBias, isHeater, personWithin_s } from './off-rails.js'
import { ask, closePrompt, readingOf } from './prompts.js'
import { record } from './send.js'
import type { Draft, Off } from './state.js'
import { isHot, off_V, us } from './state.js'
import { volts } from './words.js'

/** Hand rails going off: nobody but the person can turn them down, or say that they are. */

/** Asks for the next one, in the order of going off: heaters and bias only when their own rule lets them go. */
export function askHands(d: Draft, off: Off): void {
  if (d.s.prompt) return
  const rail = handsMissing(d, off).find(
    (each) =>
      (!isHeater(each) || off.heaters_off_us !== null) && (!isBias(each) || off.bias_released_by !== null),
  )
  if (!rail) return
  const wanted = readingOf(
    `Turn ${rail.name} down to zero by its knob and switch it off, one hand; then type the volts that its own meter shows, or one that was clipped on before. Measure before touching.`,
    `hand off ${rail.name}`,
    'V',
    -offBelow_V(d, rail),
    offBelow_V(d, rail),
    { rail: rail.name },
  )
  ask(d, { kind: 'hand off', rail: rail.name }, { ...wanted, timeout_s: personWithin_s })
}

/** What still counts as off: 5 V, and of a heater rail no more than a tenth of its volts. */
function offBelow_V(d: Draft, rail: RailPlan | undefined): number {
  const full_V = d.s.plan.heaters.filter((watch) => watch.rail === rail?.name).map(({ volts }) => volts)
  return Math.min(off_V, ...full_V.map((each) => 0.1 * each))
}

/** Hand rails that may be up and of which nothing was said yet, in the order of going off. */
export function handsMissing(d: Draft, off: Off): RailPlan[] {
  return inOffOrder(
    d,
    (rail) =>
      rail.class === 'hand' && d.s.rails[rail.name]?.energised === true && off.hand[rail.name] === undefined,
  )
}

/** A plate or screen rail by hand of which nobody said that it is down: the bias has to stay. */
export function keepsBias(d: Draft, off: Off): boolean {
  return (
    off.bias_released_by === null && inOffOrder(d, isHot).some((rail) => off.hand[rail.name] === unconfirmed)
  )
}

const unconfirmed = 'not confirmed by you'

export function answerHandOff(d: Draft, rail: string, value: number | string): void {
  const state = d.s.rails[rail]
  const open = d.s.prompt
  if (!d.s.off || !open || !state) return
  if (typeof value !== 'number' || Math.abs(value) > offBelow_V(d, d.s.plan.rails[rail])) {
    const again =
      typeof value === 'number'
        ? `${volts(value)} is not off (at most ${volts(offBelow_V(d, d.s.plan.rails[rail]))}). `
        : 'A number of volts is wanted here. '
    d.out.push({
      kind: 'prompt',
      prompt: open.id,
      ask: { ...open.ask, text: again + open.ask.text },
      until_us: open.until_us,
    })
    return
  }
  d.s.off.hand = { ...d.s.off.hand, [rail]: value }
  d.s.off.down_us = { ...d.s.off.down_us, [rail]: d.s.t_us }
  state.energised = false
  record(d, 'off', `${rail}: turned down by hand, ${volts(value)} typed.`, { rail, data: { volts: value } })
  closePrompt(d, 'answered')
}

/** The question ran out: the rail counts as up, and what must not go off before it stays. */
export function handRanOut(d: Draft, off: Off): void {
  const prompt = d.s.prompt
  if (prompt?.purpose.kind !== 'hand off' || d.s.t_us < prompt.until_us) return
  const { rail } = prompt.purpose
  off.hand = { ...off.hand, [rail]: unconfirmed }
  closePrompt(d, 'ran out')
  const minutes = Math.round((prompt.until_us - prompt.opened_us) / us(60))
  const kept = keepsBias(d, off) ? inOffOrder(d, isBias).map(({ name }) => name) : []
  const stays =
    kept.length === 0 ? '' : ` ${kept.join(', ')} stays on: take ${rail} down first, the bias last.`
  const text = `${rail} was not confirmed off by you in ${minutes} min: take it as on.${stays} Measure before touching.`
  d.out.push({ kind: 'alarm', text })
  record(d, 'alarm', text, { rail })
}

/**
 * Told again, by a signal, to put outputs off now: nobody need be there to answer. What only a person could say stays
 * unsaid, and the run may end as soon as everything else is off. False where nothing of a person's is waited for.
 */
export function handsGivenUp(d: Draft, by: string): boolean {
  const { off } = d.s
  if (off?.how !== 'urgent' || d.s.prompt?.purpose.kind !== 'hand off') return false
  const names = handsMissing(d, off).map(({ name }) => name)
  off.hand = { ...off.hand, ...Object.fromEntries(names.map((name) => [name, unconfirmed])) }
  closePrompt(d, `given up by ${by}`)
  const text = `${names.join(', ')} not confirmed off by you, and no longer asked for (${by}): take it as on. HT mains off first, bias last. Measure before touching.`
  d.out.push({ kind: 'alarm', text })
  record(d, 'alarm', text)
  return true
}
