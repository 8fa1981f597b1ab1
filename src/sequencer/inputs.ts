import type { InputLimit, Measures, MeterPlan, Step, WatchPlan } from '../plan/index.js'
import { broke } from './breach.js'
import { htIsOn, isUp, mayNotBeTouched } from './in-force.js'
import { inputObjection, inputValue, isBeyond } from './input-state.js'
import { whyQuiet } from './line-trouble.js'
import { leftAlone } from './prove.js'
import { warn } from './send.js'
import type { Draft, InputState, State } from './state.js'
import { currentStep, paced_s, us } from './state.js'

/**
 * Watched inputs: meters at nodes, thermometers, contacts. Beyond a trip limit they trip while there is something for the limit
 * to guard; before anything rises they are a gate; quiet, those that are needed make safe and the others are said to be lost.
 */

/** A reading of a temperature is believed with the next one: heat takes its time, and there is no checksum on the line. */
const inARow: Readonly<Record<Measures, number>> = { V: 1, A: 1, '°C': 2, contact: 1 }

/** Judged when a meter on a line answered. */
export function judgeInput(d: Draft, name: string): void {
  const meter = d.s.plan.meters[name]
  const sample = d.s.meters[name]
  const known = d.s.inputs[name]
  if (!meter?.watch || !sample || !known) return
  if (known.lost) change(d, name, { lost: false })
  if (d.s.phase !== 'running' && d.s.off?.how !== 'run down') return
  const beyond = meter.watch.limits.filter(
    (limit) => isBeyond(limit, sample.value) && guards(d.s, meter, limit),
  )
  for (const limit of beyond) if (limit.act === 'warn') warn(d, beyondText(meter, limit, null), null)
  const worst = beyond.find(({ act }) => act === 'trip')
  const count = worst === undefined ? 0 : (d.s.inputs[name]?.beyond ?? 0) + 1
  if (count !== known.beyond) change(d, name, { beyond: count })
  if (worst === undefined || count < inARow[meter.measures]) return
  broke(d, {
    code: 'watched-input',
    measured: sample.value,
    ...(worst.at !== null && { limit: worst.at }),
    unit: meter.measures === 'contact' ? '' : meter.measures,
    text: beyondText(meter, worst, sample.value),
  })
}

/** Judged at every tick: what is needed and has gone quiet, and what is lost. */
export function judgeInputsFreshness(d: Draft): void {
  for (const name in d.s.plan.meters) {
    const meter = d.s.plan.meters[name]
    const known = d.s.inputs[name]
    const watch = meter?.watch
    if (!meter || !watch || !known) continue
    const since_us = heardSince(d, meter)
    const age_s = (d.s.t_us - since_us) / 1e6
    const { stale_s } = watch
    // The question that nearly always settles it comes first.
    if (age_s <= stale_s || hasOwnRule(d.s, meter.name) || keptSilent(d.s, meter)) continue
    const up = Object.values(d.s.plan.rails).some((rail) => isUp(d.s, rail))
    if (watch.needed && up) {
      const { code, text } = whyQuiet(d, d.s.t_us - since_us, [meter])
      broke(d, {
        code,
        measured: age_s,
        limit: stale_s,
        unit: 's',
        text: `The newest reading of ${meter.name} is ${age_s.toFixed(1)} s old (limit ${stale_s.toFixed(1)} s), and the plan counts on it: it ${countedOn(watch)}.${text === null ? '' : ` ${text}`}`,
      })
    } else if (!watch.needed && !known.lost) {
      change(d, meter.name, { lost: true })
      warn(d, lostText(meter), null)
    }
  }
}

/** The cut-off relay is not asked while it is let open: since the step after that it must be heard again. */
function heardSince(d: Draft, { name }: MeterPlan): number {
  const heard_us = d.s.meters[name]?.t_us ?? d.s.begun_us ?? d.s.t_us
  return d.s.plan.cut_off?.meter === name ? Math.max(heard_us, d.s.step_us) : heard_us
}

/** While a dead-man is let run out, nothing is asked on its supply's line: that silence is ours. */
function keptSilent(s: State, meter: MeterPlan): boolean {
  if (s.plan.cut_off?.meter === meter.name && currentStep(s)?.proof?.of === 'cut-off relay') return true
  return Object.values(s.plan.rails).some(
    (rail) => rail.channels.some(({ port }) => port === meter.port) && leftAlone(s, rail.name),
  )
}

/** A port that only carries what is not needed is lost without harm: said, and no more. True where that was all. */
export function onlyInformative(d: Draft, port: string): boolean {
  const { meters, rails } = d.s.plan
  const channels = Object.values(rails).some((rail) => rail.channels.some((part) => part.port === port))
  const here = Object.values(meters).filter((meter) => meter.port === port)
  const needed = here.some(({ name, watch }) => watch?.needed !== false || hasOwnRule(d.s, name))
  if (channels || here.length === 0 || needed) return false
  for (const meter of here) {
    change(d, meter.name, { lost: true })
    warn(d, lostText(meter), null)
  }
  return true
}

/** What would be missed: the limits it trips by, else what it is for. */
function countedOn(watch: WatchPlan): string {
  const trips = watch.uses.filter((use) => use.startsWith('trips'))
  return (trips.length > 0 ? trips : watch.uses).join('; ')
}

/** How long a gate waits for an input's first reading. */
const firstWithin_s = 20

/** Gate of a raise: every needed input read and within its trip limits. Waits for a person to close a lid, not for ever. */
export function inputsAllow(d: Draft, step: Step): boolean {
  const objection = inputObjection(d.s, step)
  if (objection === null) return true
  const { meter, limit } = objection
  const waited_us = d.s.t_us - d.s.part_us
  if (limit === null) {
    if (waited_us > us(paced_s(d.s, firstWithin_s)))
      broke(d, {
        code: 'stale',
        text: `${meter.name} has not been read, and nothing rises without it: it ${meter.watch ? countedOn(meter.watch) : ''}.`,
      })
    return false
  }
  warn(d, `Nothing rises while this is so: ${beyondText(meter, limit, null)}`, null)
  const value = d.s.meters[meter.name]?.value
  if (waited_us > us(d.s.plan.prompt_timeout_s))
    broke(d, {
      code: 'prompt-timeout',
      measured: waited_us / 1e6,
      limit: d.s.plan.prompt_timeout_s,
      unit: 's',
      text: `Waited ${Math.round(waited_us / 1e6)} s. ${beyondText(meter, limit, value ?? null)}`,
    })
  return false
}

function change(d: Draft, name: string, by: Partial<InputState>): void {
  const known = d.s.inputs[name]
  if (known) d.s.inputs = { ...d.s.inputs, [name]: { ...known, ...by } }
}

/** Bias meters and those of a rail on a knob have rules of their own that speak of what they are for. */
function hasOwnRule(s: State, name: string): boolean {
  return Object.values(s.plan.rails).some(
    (rail) =>
      rail.bias?.meter === name ||
      (rail.class === 'watched' && (rail.volts_meter === name || rail.amps_meter === name)),
  )
}

/** Whether there is something for the limit to guard now. */
function guards(s: State, meter: MeterPlan, limit: InputLimit): boolean {
  const rails = Object.values(s.plan.rails)
  if (meter.measures === 'contact') return rails.some((rail) => mayNotBeTouched(s, rail))
  if (limit.when === 'below' && meter.measures !== '°C') return htIsOn(s)
  return rails.some((rail) => isUp(s, rail))
}

function beyondText(meter: MeterPlan, limit: InputLimit, value: number | null): string {
  const { name, measures } = meter
  const why = limit.because.replace(/\.$/, '')
  if (measures === 'contact' || limit.at === null) return `${name} is ${limit.when}, and must not be: ${why}.`
  const where = meter.at === null ? '' : ` at ${meter.at}`
  const shows =
    value === null ? `is ${limit.when}` : `reads ${inputValue(measures, value)}${where}, ${limit.when}`
  return `${name} ${shows} ${inputValue(measures, limit.at)}: ${why}.`
}

function lostText({ name, watch }: MeterPlan): string {
  const uses = watch?.uses.filter((use) => !use.startsWith('shown and recorded')) ?? []
  return `${name} no longer answers: its reading is lost. The run goes on without it${uses.length > 0 ? `; missing is: ${uses.join('; ')}` : ''}.`
}
