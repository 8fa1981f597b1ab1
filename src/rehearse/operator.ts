import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import { type Ask, driveAsked, fitAsked, liftAsked, type Plan, type Step } from '../plan/index.js'
import type { VirtualBench } from '../virtual/index.js'

/** What the person at the rehearsed bench knows when a question comes. */
export interface AtTheBench {
  readonly plan: Plan
  readonly equipment: Equipment
  readonly bench: Bench
  readonly world: VirtualBench
  readonly step: Step | null
}
export type Said = number | 'yes' | 'no' | 'go on'
export interface Answer {
  /** How long the person takes. */
  readonly after_s: number
  /** A function is called when the time is over: what the needle shows then. */
  readonly value: Said | (() => Said)
}
/**
 * Answers a question, or does not (null): then it runs out. May turn knobs and set controls first. An alarm that tells the
 * person to turn a rail down comes as a question about `hand off RAIL` too; what is answered to it is not heard.
 */
export type Operator = (ask: Ask, at: AtTheBench) => Answer | null

/** An ordinary multimeter where the bench file has none for the hand. Common practice, no source. */
const anyMeter_ohm = 10e6
const readingTakes_s = 3
/** A knob is turned and the needle waited for. */
const turningTakes_s = 4

/**
 * A person who does what is asked and reads what the meter shows: sets controls to the step's mode, turns knobs, types
 * readings, says yes. What the readings mean is left to the run.
 */
export const willing: Operator = (ask, at) => {
  if (ask.about === 'mode' && at.step !== null) at.world.mode(at.step.mode)
  const knob = /^knob (.+)$/.exec(ask.about)?.[1]
  if (knob !== undefined && at.step?.rail === knob) at.world.turn(knob, at.step.target_V)
  const off = /^hand off (.+)$/.exec(ask.about)?.[1]
  if (off !== undefined) at.world.turn(off, 0)
  const latched = /^clear (.+)$/.exec(ask.about)?.[1]
  if (latched !== undefined) at.world.clear(latched)
  for (const part of liftAsked(ask.about)) at.world.lift(part)
  const fit = fitAsked(ask.about)
  if (fit !== null) at.world.fit(fit)
  const weak = /^below-ask (.+)$/.exec(ask.about)?.[1]
  if (weak !== undefined) return { after_s: readingTakes_s, value: mayGoOn(weak, at) ? 'yes' : 'no' }
  const after_s = knob !== undefined || off !== undefined ? turningTakes_s : readingTakes_s
  if (ask.wants.kind === 'confirm') return { after_s, value: 'yes' }
  const { wants } = ask
  const part = /^read (.+)$/.exec(ask.about)?.[1]
  if (part !== undefined) return { after_s, value: () => clippedOn(part, at) ?? 'go on' }
  const driven = driveAsked(ask.about)
  if (driven !== null) return { after_s, value: () => toDigits(at.world.grid_A(driven)) }
  return { after_s, value: () => read(wants, at) ?? 'go on' }
}

/** Tubes long in store read 40 to 70 % of new and rise (common practice, no source); below that a careful person stops. */
const weakest = 0.4
function mayGoOn(rail: string, at: AtTheBench): boolean {
  // A heater does not wear weak: less current is one that is open, or not there.
  if (at.plan.rails[rail]?.role === 'heater') return false
  const expected_A = at.step?.limits[rail]?.expected_A ?? 0
  return (at.world.truth().rails[rail]?.amps ?? 0) >= weakest * expected_A
}

/** What the meter shows that hangs on a lifted part: its own current flows already. */
function clippedOn(name: string, { plan, bench, world }: AtTheBench): number | null {
  const meter = bench.meters[plan.reform?.parts.find((part) => part.name === name)?.meter ?? '']
  if (meter?.at == null || meter.against === null) return null
  return toDigits(world.probe(meter.at, meter.against, nothing_ohm))
}
const nothing_ohm = 1e12

/** What the meter in hand shows; null where nothing can be read there. */
function read(wants: Extract<Ask['wants'], { kind: 'reading' }>, at: AtTheBench): number | null {
  const { equipment, world } = at
  const { node, rail, unit } = wants
  const declared = rail === null ? undefined : equipment.rails[rail]
  const ends = rail ?? node
  if (unit === 'Ω') return ends === null ? null : toDigits(Math.min(world.ohms(ends), 9.99e7))
  const own = rail === null ? undefined : world.truth().rails[rail]
  if (unit === 'A') return rail === null ? null : toDigits(own?.amps ?? 0)
  const meter = handMeter(at.bench)
  const ohm = meter?.ohm ?? anyMeter_ohm
  if (node !== null) return toDigits(world.probe(node, equipment.chassis_node, ohm))
  if (declared === undefined) return own === undefined ? null : toDigits(own.volts)
  return toDigits(world.probe(declared.positive, declared.negative, ohm))
}

/** The first voltmeter of the bench that a person holds. */
function handMeter(bench: Bench): Bench['meters'][string] | undefined {
  return Object.values(bench.meters).find(({ line, measures }) => line === null && measures === 'V')
}

/** Four digits, as a hand meter shows. */
function toDigits(value: number): number {
  return Number(value.toPrecision(4))
}
