import type { Chance } from '../chance/index.js'
import type { Channel } from '../bench/index.js'
import type { Element, Transient } from '../network/index.js'
import { calibration } from './draw.js'
import type { OutputFace } from './types.js'

/** One output of a supply: what its words set on one side, what it does at its terminals on the other. */
export interface Output {
  /** `SUPPLY.CHANNEL`. */
  readonly name: string
  readonly rail: string
  /** Nodes of its terminals, and its source in the network. */
  readonly plus: string
  readonly minus: string
  readonly source: string
  readonly spec: Channel
  readonly face: OutputFace
  /** The settings in force in the world: the face's, as of the last time the world was told. */
  applied: Settings
  /** This supply's own calibration: true volts per set volt, and so on. */
  readonly gain_V: number
  readonly zero_V: number
  readonly gain_A: number
  readonly zero_A: number
  readonly chance: Chance
  /** Where its regulator stands now; rises at the supply's own slew, falls at once (and the terminals follow as they discharge). */
  regulator_V: number
  ignoresOff: boolean
  dropped: boolean
  /** What it gives moves away from what is set: by this share a second, and by this share as yet. */
  drifts_per_s: number
  drifted: number
  /** An open relay outside of the supply keeps its HT from it; what it says of itself goes on. */
  cut: boolean
  /** Its current as its converter averages it, as of the world's last step, A. */
  averaged_A: number
  /** Ignoring OFF: what it holds on to. */
  held: { readonly V: number; readonly limit_A: number } | null
}

/** What of a face moves the world. */
interface Settings {
  readonly V: number
  readonly limit_A: number
  readonly live: boolean
}

function settingsOf(face: OutputFace): Settings {
  return { V: face.set_V, limit_A: face.limit_A, live: face.on && face.tripped === null }
}

/** Puts the face's settings into force; true when they differ from those before. */
export function apply(output: Output): boolean {
  const next = settingsOf(output.face)
  const { V, limit_A, live } = output.applied
  if (next.V === V && next.limit_A === limit_A && next.live === live) return false
  output.applied = next
  return true
}
/** Whether the face has been set to something the world has not been told of. */
export function differs(output: Output): boolean {
  const { face, applied } = output
  const live = face.on && face.tripped === null
  return face.set_V !== applied.V || face.limit_A !== applied.limit_A || live !== applied.live
}

/** A supply takes this long from nothing to its full volts by itself (common practice, no source). */
const rise_s = 0.1
/** Output resistance of a regulated supply, ohm (common practice, no source). */
const output_ohm = 1e-3
/** Its own read-back divider across the terminals, ohm (common practice, no source). */
const divider_ohm = 1e6
/** Leads sensed at the set: what is left of their resistance. */
const sensed_ohm = 0.002

export function makeOutput(name: string, spec: Channel, chance: Chance): Output {
  const face: OutputFace = {
    set_V: 0,
    limit_A: spec.max_A,
    over_V: spec.over_voltage ? spec.max_V * 1.1 : null,
    over_V_on: false,
    on: false,
    tripped: null,
    measured_V: 0,
    measured_A: 0,
    limiting: false,
  }
  return {
    name,
    rail: spec.feeds,
    plus: plusOf(name),
    minus: minusOf(name),
    source: supplyName(name),
    spec,
    face,
    applied: settingsOf(face),
    gain_V: 1 + spec.accuracy_V.of_reading * calibration(chance),
    zero_V: spec.accuracy_V.plus * calibration(chance),
    gain_A: 1 + spec.accuracy_A.of_reading * calibration(chance),
    zero_A: spec.accuracy_A.plus * calibration(chance),
    chance,
    regulator_V: 0,
    ignoresOff: false,
    dropped: false,
    drifts_per_s: 0,
    drifted: 0,
    cut: false,
    averaged_A: 0,
    held: null,
  }
}

const plusOf = (output: string): string => `bench ${output} +`
const minusOf = (output: string): string => `bench ${output} -`
const supplyName = (output: string): string => `supply ${output}`

/**
 * What an output does now: its regulator's volts and current limit. OFF and a fired protection take both to nothing;
 * an output that ignores OFF (a pass element burnt through) ignores every lowering with it.
 */
export function drive(output: Output): { readonly V: number; readonly limit_A: number } {
  const { V, limit_A, live } = output.applied
  if (output.dropped || output.cut) return { V: 0, limit_A: 0 }
  const asked = {
    V: Math.max(0, (V / output.gain_V - output.zero_V) * (1 + output.drifted)),
    limit_A: Math.max(0, limit_A / output.gain_A),
  }
  if (output.ignoresOff) {
    if (live && asked.V >= (output.held?.V ?? 0)) output.held = asked
    return output.held ?? { V: 0, limit_A: 0 }
  }
  return live ? asked : { V: 0, limit_A: 0 }
}

/** Moves the regulator towards what is asked during `dt_s`; true while it is still on its way. */
export function slew(output: Output, dt_s: number): boolean {
  output.drifted += output.drifts_per_s * dt_s
  const { V } = drive(output)
  const step = (output.spec.max_V / rise_s) * dt_s
  output.regulator_V = V <= output.regulator_V ? V : Math.min(V, output.regulator_V + step)
  return output.regulator_V < V
}

/** The source itself, as it stands now. */
export function sourceElement(output: Output): Extract<Element, { kind: 'supply' }> {
  return {
    kind: 'supply',
    name: output.source,
    a: output.plus,
    b: output.minus,
    V: output.regulator_V,
    limit_A: drive(output).limit_A,
    ohm: output_ohm,
  }
}

/** What else sits across its terminals: output capacitor, read-back divider, bleeder, and the diode that lets a stack's current pass. */
export function terminalElements(output: Output, stacked: boolean): Element[] {
  const { spec, plus: a, minus: b } = output
  const elements: Element[] = [{ kind: 'resistor', name: `divider ${output.name}`, a, b, ohm: divider_ohm }]
  if (spec.output_F > 0) {
    elements.push({
      kind: 'capacitor',
      name: `output capacitor ${output.name}`,
      a,
      b,
      F: spec.output_F,
      leak_S: 0,
      series_ohm: 0.02,
    })
  }
  if (spec.bleeder_ohm !== null) {
    elements.push({ kind: 'resistor', name: `bleeder ${output.name}`, a, b, ohm: spec.bleeder_ohm })
  }
  if (stacked) elements.push({ kind: 'junction', name: `pass diode ${output.name}`, a: b, b: a })
  return elements
}

/** One lead's resistance, ohm. */
export function lead_ohm(output: Output): number {
  return Math.max(1e-3, output.spec.remote_sense ? sensed_ohm : output.spec.lead_ohm / 2)
}

/** An over-voltage protection that is armed and exceeded latches the output off. */
export function protect(output: Output, terminal_V: number): boolean {
  const { face } = output
  if (face.inert === true || face.tripped !== null || face.over_V === null || !face.over_V_on) return false
  if (terminal_V <= face.over_V || !output.applied.live) return false
  face.tripped = 'over-voltage'
  apply(output)
  return true
}

/** A supply's converter averages over about one period of the mains (common practice, no source). */
const converter_s = 0.02

/** The average at the end of `dt_s` during which this current flowed: a spike of a millisecond hardly shows, as on a real supply. */
export function averaged(before_A: number, amps: number, dt_s: number): number {
  return amps + (before_A - amps) * Math.exp(-dt_s / converter_s)
}

/** Where an output stands in the network as it is laid: looked at at every reading and in every step of the world. */
export interface Terminals {
  readonly output: Output
  readonly plus: number
  readonly minus: number
  /** Its source; null where nothing of it is laid. */
  readonly source: number | null
}

export function terminalsIn(network: Transient, output: Output): Terminals {
  const { plus, minus, source } = output
  return {
    output,
    plus: network.placeOf(plus),
    minus: network.placeOf(minus),
    source: network.numberOf(source),
  }
}

/** Volts between its terminals. */
export function terminal_V({ plus, minus }: Terminals, { nodeVolts }: Transient): number {
  return (nodeVolts[plus] ?? 0) - (nodeVolts[minus] ?? 0)
}

/** Positive out of the positive terminal; an element's current flows into its `a`. */
export function flowingOut({ source }: Terminals, network: Transient): number {
  return source === null ? 0 : -network.amps(source)
}

/** Read-back: calibration, some noise, then rounded to the digit the supply has. With the output off the current's zero is true. */
export function readBack(output: Output, terminal_V: number, amps: number, limiting: boolean): void {
  const { spec, face, chance } = output
  const volts = terminal_V * output.gain_V + output.zero_V + 0.2 * spec.resolution_V * chance.normal()
  const live = face.on && face.tripped === null
  const zero_A = live ? output.zero_A + 0.2 * spec.resolution_A * chance.normal() : 0
  const current = amps * output.gain_A + zero_A
  face.measured_V = Math.max(0, rounded(volts, spec.resolution_V))
  face.measured_A = Math.max(0, rounded(current, spec.resolution_A))
  face.limiting = limiting
}

/** To whole digits; the decimal text is the device's business. */
export function rounded(value: number, resolution: number): number {
  return resolution > 0 ? Math.round(value / resolution) * resolution : value
}
