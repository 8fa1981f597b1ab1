import type { Modulated, RailLimits, RailPlan, Step } from '../plan/index.js'
import { broke, lasting, tripAt } from './breach.js'
import { due_V, htIsOn, leastOf } from './in-force.js'
import { judgeBiasReading } from './judge-bias.js'
import type { Draft, RailState } from './state.js'
import { resolution } from './state.js'
import { amps, volts } from './words.js'

/**
 * What should be there and is not: heaters, bias and drive under HT, the plate of a screen, a watched rail that went dead.
 * Judged by volts as well as by amps: a rail with a voltmeter only is lost by its volts, and a dead one draws nothing.
 */
export function judgeLost(
  d: Draft,
  step: Step,
  rail: RailPlan,
  state: RailState,
  limits: RailLimits,
  by: 'V' | 'A',
): void {
  if (htIsOn(d.s)) {
    if (rail.role === 'heater') heaterLost(d, step, rail, state, limits, by)
    if (rail.role === 'bias') judgeBiasReading(d, rail, by)
    if (rail.role === 'drive') driveLost(d, step, rail, state, limits, by)
  }
  const modulated = loadedBy(d, step, rail)
  if (rail.role === 'HT' || modulated !== undefined) plateLost(d, step, rail, state, limits, by, modulated)
  if (rail.class === 'watched' && by === 'V') wentDead(d, rail, state)
}

/** Each kind of reading has its own count of samples in a row. */
const byVolts = (by: 'V' | 'A'): string => (by === 'V' ? ' by volts' : '')

function told(rail: RailPlan, state: RailState): string {
  const current = state.A === null ? '' : ` and draws ${amps(state.A.value)}`
  return `${rail.name} stands at ${volts(state.V?.value ?? 0)}${current}`
}

function heaterLost(
  d: Draft,
  step: Step,
  rail: RailPlan,
  state: RailState,
  limits: RailLimits,
  by: 'V' | 'A',
): void {
  const measured_V = state.V?.value ?? 0
  const measured_A = state.A?.value ?? 0
  const least_V = 0.9 * due_V(d.s, step, rail, state, limits)
  const least_A = leastOf(d.s, rail.name, limits)
  const cold = measured_V < least_V
  const open = by === 'A' && measured_A < least_A
  if (!lasting(d, state, 'heater-lost', cold || open, byVolts(by))) return
  broke(d, {
    code: 'heater-lost',
    rail: rail.name,
    measured: open ? measured_A : measured_V,
    limit: open ? least_A : least_V,
    unit: open ? 'A' : 'V',
    text: `${told(rail, state)} while HT is on, below ${open ? amps(least_A) : volts(least_V)}: ${open ? 'a heater or a chain has opened' : 'the heaters are losing their supply'}.`,
  })
}

function driveLost(
  d: Draft,
  step: Step,
  rail: RailPlan,
  state: RailState,
  limits: RailLimits,
  by: 'V' | 'A',
): void {
  const part = tripAt(d.s, 'drive-lost', 0.5)
  const due = by === 'V' ? due_V(d.s, step, rail, state, limits) : limits.expected_A
  const measured = state[by]?.value ?? 0
  const visible = due >= 5 * resolution(d.s, rail)[by]
  if (!lasting(d, state, 'drive-lost', visible && measured < part * due, byVolts(by))) return
  broke(d, {
    code: 'drive-lost',
    rail: rail.name,
    measured,
    limit: part * due,
    unit: by,
    text: `${told(rail, state)}; drive should be ${by === 'V' ? volts(due) : amps(due)}. A driven stage without drive has no bias of its own.`,
  })
}

/** The modulated stage of this rail whose modulators are on now. */
function loadedBy(d: Draft, step: Step, rail: RailPlan): Modulated | undefined {
  return step.modulated?.find((each) => each.rail === rail.name && d.s.rails[each.by]?.energised)
}

/** Below this the modulated stage is taken as gone (see `modulatedAt`). A rail that a person accepted as weak is measured by what it then drew. */
export function leastLoaded_A(d: Draft, { rail, least }: Modulated, limits: RailLimits): number {
  return least * Math.min(1, d.s.weak[rail] ?? 1) * limits.expected_A
}

function screenIsOn(d: Draft): boolean {
  for (const name in d.s.plan.rails)
    if (d.s.plan.rails[name]?.role === 'screen' && d.s.rails[name]?.energised) return true
  return false
}

/** Screen volts without plate volts or plate current: the whole cathode current lands on the screen. */
function plateLost(
  d: Draft,
  step: Step,
  rail: RailPlan,
  state: RailState,
  limits: RailLimits,
  by: 'V' | 'A',
  modulated: Modulated | undefined,
): void {
  const screenOn = rail.role === 'HT' && screenIsOn(d)
  if (!screenOn && modulated === undefined) return
  const measured_V = state.V?.value ?? 0
  const measured_A = state.A?.value ?? 0
  const least_V = 0.5 * due_V(d.s, step, rail, state, limits)
  const least_A = Math.max(
    screenOn ? tripAt(d.s, 'plate-lost', 0.25) * limits.expected_A : 0,
    modulated === undefined ? 0 : leastLoaded_A(d, modulated, limits),
  )
  const visible = limits.expected_A >= 5 * resolution(d.s, rail).A
  const noVolts = measured_V < least_V
  const noCurrent = by === 'A' && visible && measured_A < least_A
  if (!lasting(d, state, 'plate-lost', noVolts || noCurrent, byVolts(by))) return
  broke(d, {
    code: 'plate-lost',
    rail: rail.name,
    measured: noVolts ? measured_V : measured_A,
    limit: noVolts ? least_V : least_A,
    unit: noVolts ? 'V' : 'A',
    text: `${rail.name} has lost its plate volts or plate current (${volts(measured_V)}, ${amps(measured_A)}) while ${screenOn ? 'the screen is on: the screen would carry the whole cathode current' : `${modulated?.by ?? ''} is on: nothing loads the modulation transformer, and it flashes over`}.`,
  })
}

/** A knob's rail that the plan counts on and that is gone; half is ours: the mains and a load move it by far less. */
function wentDead(d: Draft, rail: RailPlan, state: RailState): void {
  const measured = state.V?.value ?? 0
  const least_V = 0.5 * state.set_V
  if (!lasting(d, state, 'watched-input', measured < least_V, ' went dead')) return
  broke(d, {
    code: 'watched-input',
    rail: rail.name,
    measured,
    limit: least_V,
    unit: 'V',
    text: `${rail.name} reads ${volts(measured)} where it stood at ${volts(state.set_V)}: its supply, its lead or its meter is gone.`,
  })
}
