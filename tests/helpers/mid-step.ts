import type { Decimal } from '../../src/exchange/index.js'
import type { Plan, RailPlan, Step } from '../../src/plan/index.js'
import { begin, step as decide } from '../../src/sequencer/index.js'
import type { Command, EventBody, State } from '../../src/sequencer/index.js'
import { limitsFor } from '../../src/sequencer/standing.js'
import type { StepPart } from '../../src/sequencer/state.js'

/**
 * A run in the middle of a step, put together by hand where climbing there would take long and tell nothing: every rail that the step
 * has limits for has stood at its volts for ten minutes and draws what is expected, a meter shows the bias. It hears only
 * what a test lets it hear.
 */
export class MidStep {
  state: State
  readonly commands: Command[] = []

  /** `at`: place of the step in the plan, from 0. */
  constructor(plan: Plan, at: number, part: StepPart, more: Partial<State> = {}) {
    this.state = { ...standing(plan, at, part), ...more }
  }

  get step(): Step {
    return this.state.plan.steps[this.state.step]!
  }

  /** Its part of the step began this moment. */
  justBegun(): this {
    this.state = { ...this.state, part_us: this.state.t_us }
    return this
  }

  /** Changes what is known of a rail. */
  rail(name: string, more: Partial<State['rails'][string]>): this {
    this.state = {
      ...this.state,
      rails: { ...this.state.rails, [name]: { ...this.state.rails[name]!, ...more } },
    }
    return this
  }

  /** So long after what was heard before, s; then all of it at once. */
  hear(after_s: number, ...bodies: readonly EventBody[]): this {
    const t_us = this.state.t_us + Math.round(after_s * 1e6)
    for (const body of bodies) {
      const { state, commands } = decide(this.state, { ...body, t_us })
      this.state = state
      this.commands.push(...commands)
    }
    return this
  }

  /** The same heard several times over, so long after one another, s; no further than to the OFF. */
  again(times: number, every_s: number, ...bodies: readonly EventBody[]): this {
    for (let i = 0; i < times && this.state.off === null; i++) this.hear(every_s, ...bodies)
    return this
  }

  get reason() {
    return this.state.off?.reason ?? null
  }
}

/** Readings as they come from a line. */
export const volts = (channel: string, value: number): EventBody => read(channel, 'V', value)
export const amps = (channel: string, value: number): EventBody => read(channel, 'A', value)
export const shown = (meter: string, value: number): EventBody => ({
  kind: 'meter',
  meter,
  value: decimal(value),
})
export const tick: EventBody = { kind: 'tick', late_us: 0, slept_us: 0 }

const read = (channel: string, quantity: 'V' | 'A', value: number): EventBody => ({
  kind: 'reading',
  channel,
  quantity,
  value: decimal(value),
})
const decimal = (value: number): Decimal => ({ n: Math.round(value * 1e6), k: 6 })

const now_us = 1200e6
const since_us = 600e6

function standing(plan: Plan, at: number, part: StepPart): State {
  const step = plan.steps[at]
  if (step === undefined) throw new Error(`the plan has no step ${at}`)
  const s = begin(plan)
  const up = Object.values(plan.rails).filter(({ name }) => (step.limits[name]?.at_V ?? 0) > 0)
  return {
    ...s,
    phase: 'running',
    ...{ t_us: now_us, tick_us: now_us, begun_us: 0, step: at, step_us: since_us, part, part_us: since_us },
    rails: { ...s.rails, ...Object.fromEntries(up.map((rail) => [rail.name, stands(s, rail, step)])) },
    channels: { ...s.channels, ...Object.fromEntries(up.flatMap((rail) => outputs(s, rail, step))) },
    meters: {
      ...s.meters,
      ...Object.fromEntries(
        Object.values(plan.rails).flatMap(({ bias }) =>
          bias?.meter == null
            ? []
            : [[bias.meter, { value: bias.sign * bias.nominal_V, t_us: now_us }] as const],
        ),
      ),
    },
    proved_dead: plan.prove_dead.length,
    wires_done: plan.wires.length,
    mercury: 'as it worked',
    outputs_proved: true,
    ever_energised: true,
    ht_was_up: true,
  }
}

function stands(s: State, { name, class: kind }: RailPlan, step: Step): State['rails'][string] {
  const limits = step.limits[name]!
  return {
    ...s.rails[name]!,
    set_V: limits.at_V,
    set_us: since_us,
    V: { value: limits.at_V, t_us: now_us },
    A: { value: limits.expected_A, t_us: now_us },
    good_since_us: since_us,
    energised: true,
    on_us: since_us,
    on_known_us: kind === 'programmed' ? since_us : null,
  }
}

function outputs(s: State, rail: RailPlan, step: Step): [string, State['channels'][string]][] {
  const limits = step.limits[rail.name]!
  return rail.channels.map((part) => {
    const { limit_A, over_voltage_V } = limitsFor(part, limits)
    return [
      part.channel,
      {
        ...s.channels[part.channel]!,
        ...{ set_V: limits.at_V * part.share, limit_A, over_V: over_voltage_V, limits_step: step.index },
        output: 'on',
        V: { value: limits.at_V * part.share, t_us: now_us },
        A: { value: limits.expected_A, t_us: now_us },
        regulation: 'voltage',
      },
    ]
  })
}
