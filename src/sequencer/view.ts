import { inSoftStart, isCharging, limitsNow } from './in-force.js'
import { warmUp_s } from './interlocks.js'
import { overRating } from './over-rating.js'
import { isPassedOver } from './pass-over.js'
import { reformWords } from './reform.js'
import type { State } from './state.js'
import { currentStep } from './state.js'
import { inputValue, inputWaited } from './input-state.js'
import type { InputView, View } from './types.js'

const waiting: Readonly<Record<State['part'], string>> = {
  gate: 'interlocks',
  hands: 'hands clear',
  intent: 'the record',
  limits: 'limits read back',
  'first set': 'set-point at its lowest',
  on: 'output on',
  ramp: 'the ramp',
  arrive: 'volts to arrive',
  hold: 'the hold',
  settle: 'the current to settle',
  asking: 'your answer',
  'hook-up least': 'set-point at its lowest',
  'hook-up limits': 'limits read back',
  'hook-up set': 'test volts',
  'hook-up on': 'output on',
  'hook-up polarity': 'polarity',
  'hook-up ohms': 'volts over amps',
  'hook-up off': 'output off',
  'hook-up fall': 'the fall',
  'prove tell': 'the line',
  'prove watch': 'what the supply does',
  'prove back': 'its usual limits',
  'prove off': 'output off',
}

const raising: ReadonlySet<State['part']> = new Set(['gate', 'intent', 'on', 'ramp'])

/** What pages and terminals show. Derived, never decides. */
export function view(s: State): View {
  const step = currentStep(s)
  const wanted = s.plan.steps.filter((each) => !isPassedOver(s, each))
  const rest = wanted.reduce((sum, next) => sum + (next.index > (step?.index ?? 0) ? next.expected_s : 0), 0)
  const inStep_s = (s.t_us - s.part_us) / 1e6
  const left = step && s.phase === 'running' ? rest + Math.max(0, step.expected_s - inStep_s) : 0
  return {
    phase: s.phase,
    step: step?.index ?? s.plan.steps.length,
    steps_done: s.done.length,
    steps: wanted.length,
    stage: step?.stage ?? 'running down',
    rail: step?.rail ?? step?.hookup?.rail ?? null,
    waiting_for:
      s.phase === 'making off' ? 'outputs off, confirmed' : s.prompt ? 'your answer' : gateWords(s),
    elapsed_s: s.begun_us === null ? 0 : (s.t_us - s.begun_us) / 1e6,
    left_s: left,
    rails: Object.values(s.plan.rails).map((rail) => {
      const state = s.rails[rail.name]
      const outputs = rail.channels.map((part) => s.channels[part.channel]?.output ?? 'unknown')
      const oldest = Math.min(state?.V?.t_us ?? Infinity, state?.A?.t_us ?? Infinity)
      const limits = s.phase === 'running' ? limitsNow(s, rail.name) : null
      const over_rating = overRating(limits, state?.A?.value ?? null)
      const charging_A =
        limits !== null && step && state && isCharging(s, step, rail, state) ? limits.charge_A : 0
      const soft = limits !== null && step && state && inSoftStart(s, step, rail.name, state)
      return {
        rail: rail.name,
        class: rail.class,
        set_V: state?.set_V ?? 0,
        volts: state?.V?.value ?? null,
        amps: state?.A?.value ?? null,
        age_s: oldest === Infinity ? null : (s.t_us - oldest) / 1e6,
        output: outputs.every((output) => output === 'off')
          ? 'off'
          : outputs.some((output) => output === 'on')
            ? 'on'
            : 'unknown',
        limits,
        ...(charging_A > 0 && { charging_A }),
        ...(soft === true && { soft_start: true as const }),
        ...(over_rating !== null && { over_rating }),
      }
    }),
    inputs: Object.values(s.plan.meters).flatMap((meter): InputView[] => {
      const sample = s.meters[meter.name]
      if (meter.port === null) return []
      return [
        {
          name: meter.name,
          at: meter.at,
          shows: sample ? inputValue(meter.measures, sample.value) : null,
          age_s: sample ? (s.t_us - sample.t_us) / 1e6 : null,
          quiet_s: meter.watch?.stale_s ?? s.plan.stale_s,
        },
      ]
    }),
    reason: s.off?.reason ?? null,
  }
}

function gateWords(s: State): string {
  const step = currentStep(s)
  const input = step?.do === 'raise' && raising.has(s.part) ? inputWaited(s, step) : null
  if (input !== null) return input
  if (s.part === 'gate' && step?.needs_heaters) {
    let left = 0
    for (const watch of s.plan.heaters) {
      const since = s.rails[watch.rail]?.good_since_us ?? null
      const wait_s = warmUp_s(s, watch)
      left = Math.max(left, since === null ? wait_s : wait_s - (s.t_us - since) / 1e6)
    }
    if (left > 0) return `heaters to warm (${Math.ceil(left)} s)`
  }
  return reformWords(s) ?? waiting[s.part]
}
