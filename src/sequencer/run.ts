import type { RailPlan, Step } from '../plan/index.js'
import { advanceHookup, polarityWrong } from './hookup.js'
import { broke, htIsOn, isLimiting, leastOf, limitsNow } from './judge.js'
import { answerHandOff, makeOff } from './off.js'
import { ask, closePrompt, confirm, readingOf } from './prompts.js'
import { heatersReady, record, send, warn } from './send.js'
import type { Draft, RailState, StepPart } from './state.js'
import { accuracy, currentStep, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/** How a step goes forward: gate, hands clear, intent on disk, limits read back, on, ramp, arrive, hold, settle, judge. */

const handsClear_s = 5
const touch_V = 60
const startWithin_s = 10
const typedValid_s = 900
const raiseEvery_us = 100_000

export function advance(d: Draft): void {
  // One event may finish several parts; a bound keeps it total.
  for (let i = 0; i < 12; i++) {
    const before = `${d.s.step}:${d.s.part}`
    advanceOnce(d)
    if (d.broken.length > 0 || d.s.phase !== 'running' || before === `${d.s.step}:${d.s.part}`) return
  }
}

function enter(d: Draft, part: StepPart): void {
  d.s.part = part
  d.s.part_us = d.s.t_us
}

function advanceOnce(d: Draft): void {
  const step = currentStep(d.s)
  if (!step) {
    makeOff(d, 'run down', 'completed', null)
    return
  }
  if (!outputsKnown(d)) return
  if (step.do === 'hook-up check') {
    if (step.hookup?.method === 'low volts' && !intentRecorded(d, step)) return
    advanceHookup(
      d,
      step,
      (part) => {
        enter(d, part)
      },
      () => {
        nextStep(d, step)
      },
    )
    return
  }
  if (step.do === 'ask') {
    if (d.s.part === 'gate' && step.ask) {
      if (step.ask.inside && htIsOn(d.s)) {
        broke(d, {
          code: 'invariant',
          text: `Step ${step.index} asks for a reading inside the set while HT is above ${touch_V} V.`,
        })
        return
      }
      ask(d, { kind: 'step' }, step.ask)
      enter(d, 'asking')
    }
    return
  }
  if (step.do === 'hold' || step.rail === null) {
    if (d.s.part === 'gate') {
      enter(d, 'hold')
      record(d, 'step', `${step.stage}: holding ${Math.round(step.hold_s)} s.`)
    }
    holdAndSettle(d, step)
    return
  }
  const rail = d.s.plan.rails[step.rail]
  const state = d.s.rails[step.rail]
  if (!rail || !state) {
    broke(d, { code: 'invariant', text: `Step ${step.index} moves a rail that is not in the plan.` })
    return
  }
  if (step.do === 'lower') lower(d, step, rail, state)
  else if (rail.class === 'programmed') raiseProgrammed(d, step, rail, state)
  else raiseByKnob(d, step, rail)
}

/** Nothing starts before every output was read back as off. */
function outputsKnown(d: Draft): boolean {
  if (d.s.ever_energised || d.s.step > 0 || d.s.part !== 'gate') return true
  const open = Object.entries(d.s.channels).filter(([, channel]) => channel.output !== 'off')
  if (open.length === 0) return true
  if (d.s.t_us - (d.s.begun_us ?? d.s.t_us) > us(startWithin_s)) {
    broke(d, {
      code: 'line-lost',
      text: `${open.map(([name]) => name).join(', ')} did not answer or did not read back as off within ${startWithin_s} s, so nothing was energised.`,
    })
  }
  return false
}

function intentRecorded(d: Draft, step: Step): boolean {
  if (d.s.part !== 'gate' && d.s.part !== 'hands' && d.s.part !== 'intent') return true
  if (d.s.part !== 'intent') {
    const intent = d.s.next_intent++
    d.s.intent = { id: intent, recorded: false }
    const rail = step.rail ?? step.hookup?.rail ?? null
    const limits = rail === null ? null : (step.limits[rail] ?? null)
    record(
      d,
      'intent',
      step.hookup
        ? `Prove the hook-up of ${step.hookup.channel} at ${volts(step.hookup.test_V)}, limit ${amps(step.hookup.limit_A)}.`
        : `Raise ${rail ?? ''} from ${volts(rail === null ? 0 : (d.s.rails[rail]?.set_V ?? 0))} to ${volts(step.target_V)} at ${step.slew_V_per_s} V/s, supply limit ${amps(limits?.supply_limit_A ?? 0)}.`,
      { rail, intent, data: { target_V: step.target_V, slew_V_per_s: step.slew_V_per_s, limits } },
    )
    enter(d, 'intent')
  }
  return d.s.intent?.recorded === true
}

function raiseProgrammed(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  const idle = !Object.values(d.s.pending).some((pending) =>
    rail.channels.some((part) => part.channel === pending.channel),
  )
  const limits = step.limits[rail.name]
  if (!limits) {
    broke(d, { code: 'invariant', text: `Step ${step.index} would raise ${rail.name} without limits.` })
    return
  }
  switch (d.s.part) {
    case 'gate':
      if (!gateOpen(d, step, rail)) return
      enter(d, 'hands')
      return
    case 'hands':
      if (handsAreClear(d, step)) intentRecorded(d, step)
      return
    case 'intent':
      if (d.s.intent?.recorded) enter(d, 'limits')
      return
    case 'limits': {
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.limits_step !== step.index)
      if (open.length === 0) {
        const on = rail.channels.every((part) => d.s.channels[part.channel]?.output === 'on')
        enter(d, on ? 'ramp' : 'first set')
      } else if (idle) {
        for (const part of open) {
          send(d, part.channel, {
            do: 'limits',
            limit_A: Math.max(limits.supply_limit_A, part.min_A),
            over_voltage_V:
              part.over_voltage && limits.over_voltage_V > 0
                ? Math.min(part.max_V, limits.over_voltage_V * part.share)
                : null,
          })
        }
      }
      return
    }
    case 'first set': {
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.set_V !== part.min_V)
      if (open.length === 0) enter(d, 'on')
      else if (idle) for (const part of open) send(d, part.channel, { do: 'set', volts: part.min_V })
      return
    }
    case 'on': {
      const open = rail.channels.filter((part) => d.s.channels[part.channel]?.output !== 'on')
      if (open.length === 0) {
        enter(d, 'ramp')
      } else if (idle) {
        state.on_us = d.s.t_us
        for (const part of open) send(d, part.channel, { do: 'on' })
      }
      return
    }
    case 'ramp':
      // A heater that drops out on the way stops the rise here; what it means is judged by its own rule.
      if (idle && (!step.needs_heaters || heatersReady(d.s))) ramp(d, step, rail, state)
      return
    case 'arrive':
      arrive(d, step, rail, state)
      return
    default:
      holdAndSettle(d, step)
  }
}

/** One raise: never faster than the slew since the last one, never past the target, rounded down to what can be set. */
function ramp(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  // A heater chain that leaves its band holds the rise; whether it is lost is judged by its own rule.
  if (step.needs_heaters && !heatersReady(d.s)) return
  const last_us = Math.max(state.set_us, d.s.part_us)
  const since_us = d.s.t_us - last_us
  if (since_us < raiseEvery_us && state.set_V > 0) return
  // A loop that was held up may not catch up at once; a slow slew may save up for one step of the supply.
  const finest_V = Math.max(...rail.channels.map((part) => 1 / (part.share * scale(part.set_digits_V))))
  const most_us = Math.max(1_000_000, (1.5e6 * finest_V) / step.slew_V_per_s)
  const allowed = state.set_V + (step.slew_V_per_s * Math.min(since_us, most_us)) / 1e6
  const wanted = Math.min(step.target_V, allowed)
  const sets: { channel: string; volts: number }[] = []
  for (const part of rail.channels) {
    const digits = scale(part.set_digits_V)
    const down = Math.floor(wanted * part.share * digits + 1e-6) / digits
    const before = d.s.channels[part.channel]?.set_V ?? 0
    if (down > before) sets.push({ channel: part.channel, volts: down })
  }
  if (sets.length > 0) {
    for (const set of sets) send(d, set.channel, { do: 'set', volts: set.volts })
    return
  }
  const atTarget = rail.channels.every((part) => {
    const digits = scale(part.set_digits_V)
    return (
      (d.s.channels[part.channel]?.set_V ?? 0) >=
      Math.floor(step.target_V * part.share * digits + 1e-6) / digits
    )
  })
  if (atTarget) enter(d, 'arrive')
}

function scale(digits: number): number {
  let value = 1
  for (let i = 0; i < digits; i++) value *= 10
  return value
}

function arrive(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  const tolerance = Math.max(
    3 * accuracy(d.s, rail, step.target_V, 0).V,
    0.015 * step.target_V,
    2 * resolution(d.s, rail).V,
  )
  const sample = state.V
  // Heaters that reach their volts in current limit are still cooler than hot: not there yet.
  const limits = step.limits[rail.name]
  const eased =
    step.soft_start_s === 0 ||
    (state.A !== null &&
      limits !== undefined &&
      state.A.value <= limits.trip_A &&
      !isLimiting(d.s, rail, state.A.value, limits))
  if (sample && sample.t_us > d.s.part_us && Math.abs(sample.value - state.set_V) <= tolerance && eased) {
    state.breaking = {}
    enter(d, 'hold')
    return
  }
  if (step.soft_start_s > 0) {
    const since_us = d.s.t_us - Math.max(state.on_us ?? 0, d.s.step_us)
    if (since_us > us(step.soft_start_s)) {
      broke(d, {
        code: 'soft-start',
        rail: rail.name,
        measured: since_us / 1e6,
        limit: step.soft_start_s,
        unit: 's',
        text: `${rail.name} stands at ${volts(sample?.value ?? 0)} and ${amps(state.A?.value ?? 0)}, ${Math.round(since_us / 1e6)} s after its heaters were switched on or raised; they should have warmed within ${step.soft_start_s.toFixed(0)} s. A short, or a heater of another rating.`,
      })
    }
    return
  }
  if (d.s.t_us - d.s.part_us > us(10)) {
    broke(d, {
      code: 'off-set-point',
      rail: rail.name,
      measured: sample?.value ?? 0,
      limit: state.set_V,
      unit: 'V',
      text: `${rail.name} was set to ${volts(state.set_V)} and stands at ${volts(sample?.value ?? 0)} after 10 s.`,
    })
  }
}

function lower(d: Draft, step: Step, rail: RailPlan, state: RailState): void {
  if (rail.class !== 'programmed') {
    raiseByKnob(d, step, rail)
    return
  }
  if (d.s.part === 'gate') {
    for (const part of rail.channels) send(d, part.channel, { do: 'set', volts: step.target_V * part.share })
    enter(d, 'arrive')
    return
  }
  if (d.s.part !== 'arrive') {
    holdAndSettle(d, step)
    return
  }
  const sample = state.V
  const near = 0.02 * step.target_V + 2 * resolution(d.s, rail).V
  if (sample && sample.t_us > d.s.part_us && sample.value <= step.target_V + near) enter(d, 'hold')
  else if (d.s.t_us - d.s.part_us > us(120)) {
    broke(d, {
      code: 'off-set-point',
      rail: rail.name,
      measured: sample?.value ?? 0,
      limit: step.target_V,
      unit: 'V',
      text: `${rail.name} was lowered to ${volts(step.target_V)} and still stands at ${volts(sample?.value ?? 0)} two minutes later.`,
    })
  }
}

/** Interlocks of a raise. Waits, or asks for what only a person can tell. */
function gateOpen(d: Draft, step: Step, rail: RailPlan): boolean {
  if (step.needs_heaters && !handHeatersRead(d)) return false
  if (step.needs_heaters && !heatersReady(d.s)) {
    heatersOverdue(d, rail)
    return false
  }
  if (step.needs_bias && !biasStands(d)) return false
  if (step.needs_plate !== null) {
    const plate = d.s.rails[step.needs_plate]
    const limits = step.limits[step.needs_plate]
    if (!plate?.energised || !limits || (plate.V?.value ?? 0) < 0.5 * limits.at_V) {
      broke(d, {
        code: 'plate-lost',
        rail: rail.name,
        measured: plate?.V?.value ?? 0,
        limit: 0.5 * (limits?.at_V ?? 0),
        unit: 'V',
        text: `${rail.name} may not come on: its plate rail ${step.needs_plate} does not stand.`,
      })
      return false
    }
  }
  return true
}

/** Heaters that will not come into band are said, not waited for. */
const heatersExtra_s = 120
function heatersOverdue(d: Draft, rail: RailPlan): void {
  const late = d.s.plan.heaters.find(
    (watch) =>
      d.s.plan.rails[watch.rail]?.class !== 'hand' &&
      (d.s.rails[watch.rail]?.good_since_us ?? null) === null &&
      d.s.t_us - d.s.part_us > us(watch.warm_up_s + heatersExtra_s),
  )
  if (!late) return
  const state = d.s.rails[late.rail]
  broke(d, {
    code: 'heater-lost',
    rail: late.rail,
    measured: state?.A?.value ?? 0,
    limit: limitsNow(d.s, late.rail)?.ask_A ?? 0,
    unit: 'A',
    text: `${rail.name} may not come on: heater chain ${late.chain} on ${late.rail} is not in its band (${volts(state?.V?.value ?? 0)}, ${amps(state?.A?.value ?? 0)}).`,
  })
}

function biasStands(d: Draft): boolean {
  for (const rail of Object.values(d.s.plan.rails)) {
    const bias = rail.bias
    if (!bias) continue
    if (bias.meter !== null) {
      const sample = d.s.meters[bias.meter]
      const fresh = sample && d.s.t_us - sample.t_us <= us(d.s.plan.stale_s)
      if (fresh && bias.sign * sample.value >= bias.at_least_V) continue
      if (d.s.t_us - d.s.part_us > us(20)) {
        broke(d, {
          code: 'bias-low',
          rail: rail.name,
          measured: sample?.value ?? 0,
          limit: bias.sign * bias.at_least_V,
          unit: 'V',
          text: `HT may not come on: bias at ${bias.node} reads ${sample ? volts(sample.value) : 'nothing'}, the set needs at least ${volts(bias.sign * bias.at_least_V)}. ${bias.source}`,
        })
      }
      return false
    }
    const typed = d.s.typed[`node:${bias.node}`]
    if (typed && d.s.t_us - typed.t_us <= us(typedValid_s) && bias.sign * typed.value >= bias.at_least_V)
      continue
    if (!d.s.prompt) {
      const far = bias.sign * 2 * bias.nominal_V
      const near = bias.sign * bias.at_least_V
      ask(
        d,
        { kind: 'bias', node: bias.node },
        readingOf(
          `Before HT: read the bias at ${bias.node} against chassis, red lead on ${bias.node}, and type it with its sign.`,
          'bias before HT',
          'V',
          Math.min(near, far),
          Math.max(near, far),
          { node: bias.node },
        ),
      )
    }
    return false
  }
  return true
}

/** Heaters on somebody's knob: one reading in band, the warm-up time, then a second. */
function handHeatersRead(d: Draft): boolean {
  for (const watch of d.s.plan.heaters) {
    const rail = d.s.plan.rails[watch.rail]
    const state = d.s.rails[watch.rail]
    if (rail?.class !== 'hand' || !state) continue
    if (state.good_since_us === null) return false
    const again = d.s.typed[`again:${watch.rail}`]
    if (d.s.t_us - state.good_since_us >= us(watch.warm_up_s) && !again) {
      if (!d.s.prompt)
        askKnob(
          d,
          rail,
          'V',
          watch.volts,
          `Heaters are warm now: read ${rail.name} once more and type its volts.`,
        )
      return false
    }
  }
  return true
}

/** "Hands clear", a sound, five seconds: before anything rises above 60 V after a question. */
function handsAreClear(d: Draft, step: Step): boolean {
  if (step.target_V <= touch_V || (!step.hands_clear && !d.s.hands_in)) return true
  if (d.s.hands_clear_until_us !== null) {
    if (d.s.t_us < d.s.hands_clear_until_us) return false
    d.s.hands_clear_until_us = null
    d.s.hands_in = false
    return true
  }
  d.s.hands_in = true
  if (!d.s.prompt)
    ask(
      d,
      { kind: 'hands clear' },
      confirm(
        `Hands clear? ${step.rail ?? 'A rail'} goes to ${volts(step.target_V)} next. Nobody touches the set or its leads.`,
        'hands clear',
      ),
    )
  return false
}

function holdAndSettle(d: Draft, step: Step): void {
  if (d.s.prompt) return
  if (renewHandReadings(d)) return
  if (d.s.part === 'hold') {
    if (d.s.t_us - d.s.part_us < us(step.hold_s)) return
    enter(d, 'settle')
  }
  if (d.s.part !== 'settle') return
  const names = step.rail === null ? Object.keys(step.limits) : [step.rail]
  if (step.settle_within_s > 0) {
    const open = names.filter((name) => !isSettled(d, name))
    if (open.length > 0) {
      const first = open[0] ?? ''
      if (
        d.s.t_us - d.s.part_us >= us(step.settle_within_s) &&
        d.s.weak[`settle:${first}:${step.index}`] === undefined
      ) {
        ask(
          d,
          { kind: 'not settled', rail: first },
          confirm(
            `${first} has not settled in ${Math.round(step.hold_s + step.settle_within_s)} s (now ${amps(d.s.rails[first]?.A?.value ?? 0)}). Go on, or stop?`,
            'not settled',
          ),
        )
        return
      }
      if (d.s.weak[`settle:${first}:${step.index}`] === undefined) return
    }
  }
  for (const name of names) {
    const limits = step.limits[name]
    const state = d.s.rails[name]
    const measured = state?.A?.value
    if (!limits || !state?.energised || measured === undefined || limits.expected_A <= 0) continue
    if (measured < leastOf(d.s, name, limits)) {
      const text = `${name} draws ${amps(measured)} where ${amps(limits.expected_A)} is expected and ${amps(limits.ask_A)} is the least that passes unasked. Tubes long in store read low and rise; an open part reads low and stays. Go on, or stop?`
      record(d, 'judgement', text, {
        rail: name,
        data: { measured, ask_A: limits.ask_A, expected_A: limits.expected_A },
      })
      ask(d, { kind: 'weak', rail: name }, confirm(text, `below-ask ${name}`))
      return
    }
  }
  nextStep(d, step)
}

/** The last ten seconds lie within max(2 resolutions, 1 %). */
function isSettled(d: Draft, name: string): boolean {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (
    !rail ||
    !state?.energised ||
    rail.class === 'hand' ||
    (rail.class === 'watched' && rail.amps_meter === null)
  )
    return true
  const from = d.s.t_us - us(10)
  const window = state.recent.filter((sample) => sample.t_us >= from)
  const first = window[0]
  if (!first || state.set_us > from || first.t_us - from > us(1)) return false
  // Drift, not the last digit's flicker: the means of the two halves are compared.
  const middle_us = from + us(5)
  const early = mean(window.filter((sample) => sample.t_us < middle_us))
  const late = mean(window.filter((sample) => sample.t_us >= middle_us))
  if (early === null || late === null) return false
  return Math.abs(late - early) <= Math.max(2 * resolution(d.s, rail).A, 0.01 * Math.abs(late))
}

function mean(samples: readonly { value: number }[]): number | null {
  if (samples.length === 0) return null
  return samples.reduce((sum, sample) => sum + sample.value, 0) / samples.length
}

function nextStep(d: Draft, step: Step): void {
  for (const name of Object.keys(step.limits)) judgeAtEnd(d, step, name)
  d.s.step += 1
  d.s.step_us = d.s.t_us
  d.s.intent = null
  enter(d, 'gate')
  for (const state of Object.values(d.s.rails)) state.breaking = {}
  const next = currentStep(d.s)
  if (next)
    record(d, 'step', `Step ${next.index}: ${next.stage}.`, {
      rail: next.rail,
      step: next.index,
      data: { target_V: next.target_V, mode: next.mode },
    })
}

/** What was measured beside what was expected, kept for every rail at the end of every step. */
function judgeAtEnd(d: Draft, step: Step, name: string): void {
  const limits = step.limits[name]
  const state = d.s.rails[name]
  const rail = d.s.plan.rails[name]
  if (!limits || !state?.energised || !rail || step.do === 'hook-up check') return
  const measured = state.A?.value ?? null
  if (measured === null) {
    record(d, 'judgement', `${name}: current not measured in this step.`, {
      rail: name,
      data: { volts: state.V?.value ?? null, amps: null },
    })
    return
  }
  const inside = measured >= limits.lower_A && measured <= limits.upper_A
  const near = accuracy(d.s, rail, 0, measured).A + resolution(d.s, rail).A
  const marginal = !inside && (measured < limits.lower_A - near || measured > limits.upper_A + near)
  const moved = step.rail === name || step.rail === null
  if (moved) {
    record(
      d,
      'judgement',
      `${name} at ${volts(state.V?.value ?? 0)}: ${amps(measured)}, expected ${amps(limits.expected_A)} (${amps(limits.lower_A)} to ${amps(limits.upper_A)})${marginal ? ': marginal' : ''}.`,
      {
        rail: name,
        data: {
          volts: state.V?.value ?? null,
          amps: measured,
          expected_A: limits.expected_A,
          lower_A: limits.lower_A,
          upper_A: limits.upper_A,
          marginal,
        },
      },
    )
    if (marginal)
      warn(
        d,
        `${name} at ${volts(limits.at_V)} is marginal: ${amps(measured)}, band ${amps(limits.lower_A)} to ${amps(limits.upper_A)}.`,
        name,
      )
  }
}

/** Watched and hand rails: a person turns the knob, slowglow judges what is measured or typed. */
function raiseByKnob(d: Draft, step: Step, rail: RailPlan): void {
  switch (d.s.part) {
    case 'gate':
      if (!gateOpen(d, step, rail)) return
      enter(d, 'hands')
      return
    case 'hands':
      if (handsAreClear(d, step)) intentRecorded(d, step)
      return
    case 'intent':
      if (!d.s.intent?.recorded) return
      askKnob(
        d,
        rail,
        'V',
        step.target_V,
        rail.class === 'hand'
          ? `Turn ${rail.name} slowly to ${volts(step.target_V)} by its knob, one hand, and type the volts.`
          : `Turn ${rail.name} slowly to ${volts(step.target_V)} by its knob, one hand, then confirm.`,
      )
      enter(d, 'asking')
      return
    case 'asking':
      return
    default:
      holdAndSettle(d, step)
  }
}

function askKnob(d: Draft, rail: RailPlan, wants: 'V' | 'A', target: number, text: string): void {
  const low = wants === 'V' ? target * 0.95 - 0.5 : 0
  const high = wants === 'V' ? target * 1.05 + 0.5 : target
  const wanted =
    rail.class === 'hand'
      ? readingOf(text, `knob ${rail.name}`, wants, low, high, { rail: rail.name })
      : confirm(text, `knob ${rail.name}`)
  ask(d, { kind: 'knob', rail: rail.name, wants }, wanted)
}

/** A typed reading is valid for its step and 15 minutes at most; then it is asked again. */
function renewHandReadings(d: Draft): boolean {
  for (const rail of Object.values(d.s.plan.rails)) {
    const state = d.s.rails[rail.name]
    if (rail.class !== 'hand' || !state?.energised || !state.V) continue
    if (d.s.t_us - state.V.t_us > us(typedValid_s)) {
      ask(
        d,
        { kind: 'renew', rail: rail.name },
        readingOf(
          `Fifteen minutes have passed: read ${rail.name} again and type its volts.`,
          `renew ${rail.name}`,
          'V',
          state.set_V * 0.95 - 0.5,
          state.set_V * 1.05 + 0.5,
          { rail: rail.name },
        ),
      )
      return true
    }
  }
  return false
}

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
  if (value === 'no') {
    closePrompt(d, 'answered no')
    broke(d, { code: 'operator', text: `Stopped by a person, who answered no to: ${open.text}` })
    return
  }
  if (open.low !== null && open.high !== null) {
    if (typeof value !== 'number') {
      if (value === 'go on' && open.purpose.kind === 'step') {
        warn(d, `Could not tell: ${open.text} (the person answered "go on").`, null)
        takeAnswer(d, null)
      }
      return
    }
    if (value < open.low || value > open.high) {
      outside(d, value)
      return
    }
    takeAnswer(d, value)
    return
  }
  takeAnswer(d, null)
}

/** Outside its window: asked once more (a slip of the pen), then it counts. */
function outside(d: Draft, value: number): void {
  const open = d.s.prompt
  if (!open) return
  const step = currentStep(d.s)
  if (open.tries === 0) {
    d.s.prompt = { ...open, tries: 1 }
    const again = `${value} ${open.unit} is outside ${open.low ?? ''} to ${open.high ?? ''} ${open.unit}; read and type it once more. `
    d.out.push({
      kind: 'prompt',
      prompt: open.id,
      ask: { ...open.ask, text: again + open.text },
      until_us: open.until_us,
    })
    return
  }
  closePrompt(d, 'outside its window twice')
  if (open.purpose.kind === 'polarity' && step?.hookup) {
    polarityWrong(d, step.hookup, value)
    return
  }
  const code =
    open.purpose.kind === 'bias' ? 'bias-low' : step?.do === 'hook-up check' ? 'hook-up' : 'watched-input'
  broke(d, {
    code,
    rail: 'rail' in open.purpose ? open.purpose.rail : (step?.rail ?? step?.hookup?.rail ?? ''),
    measured: value,
    limit: value < (open.low ?? value) ? (open.low ?? value) : (open.high ?? value),
    unit: open.unit,
    text: `A reading of ${value} ${open.unit} is outside ${open.low ?? ''} to ${open.high ?? ''} ${open.unit}: ${open.text}`,
  })
}

function takeAnswer(d: Draft, value: number | null): void {
  const open = d.s.prompt
  const step = currentStep(d.s)
  if (!open || !step) return
  const purpose = open.purpose
  closePrompt(d, 'answered')
  const sample = value === null ? null : { value, t_us: d.s.t_us }
  switch (purpose.kind) {
    case 'step':
      if (sample && step.ask?.wants.kind === 'reading' && step.ask.wants.node !== null) {
        d.s.typed = { ...d.s.typed, [`node:${step.ask.wants.node}`]: sample }
      }
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
          `${step.hookup.rail}: ${volts(sample.value)} at ${step.hookup.polarity.node}, typed: polarity as it should be.`,
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
      if (limits) d.s.weak = { ...d.s.weak, [purpose.rail]: measured / limits.expected_A }
      warn(
        d,
        `${purpose.rail} is weak (${amps(measured)}, expected ${amps(limits?.expected_A ?? 0)}); the person chose to go on.`,
        purpose.rail,
      )
      return
    }
    case 'not settled':
      d.s.weak = { ...d.s.weak, [`settle:${purpose.rail}:${step.index}`]: 1 }
      warn(
        d,
        `${purpose.rail} had not settled at step ${step.index}; the person chose to go on.`,
        purpose.rail,
      )
      return
    case 'knob':
      knobTurned(d, step, purpose.rail, purpose.wants, sample)
      return
    case 'renew': {
      const state = d.s.rails[purpose.rail]
      if (state && sample) state.V = sample
      return
    }
    case 'hand off':
      return
  }
}

function knobTurned(
  d: Draft,
  step: Step,
  name: string,
  wants: 'V' | 'A',
  sample: { value: number; t_us: number } | null,
): void {
  const rail = d.s.plan.rails[name]
  const state = d.s.rails[name]
  if (!rail || !state) return
  if (rail.class === 'watched') {
    const measured = state.V?.value ?? 0
    const near = Math.abs(measured - step.target_V) <= 0.05 * step.target_V + 0.5
    if (!near) {
      askKnob(
        d,
        rail,
        'V',
        step.target_V,
        `${name} reads ${volts(measured)}; turn it to ${volts(step.target_V)}, one hand, then confirm.`,
      )
      return
    }
    state.set_V = measured
    state.set_us = d.s.t_us
    enter(d, 'hold')
    return
  }
  if (!sample) return
  if (wants === 'V') {
    const again = state.good_since_us !== null && rail.role === 'heater'
    state.V = sample
    state.set_V = sample.value
    state.set_us = d.s.t_us
    state.energised = sample.value > 5
    state.on_us ??= d.s.t_us
    if (state.energised) d.s.ever_energised = true
    if (rail.role === 'heater') {
      if (again) d.s.typed = { ...d.s.typed, [`again:${name}`]: sample }
      else state.good_since_us = d.s.t_us
      if (again) return
    }
    const limits = step.limits[name]
    if (limits && limits.expected_A > 0 && rail.amps_meter !== null) {
      askKnob(d, rail, 'A', limits.trip_A, `Read the current of ${name} and type it in amperes.`)
      return
    }
    enter(d, 'hold')
    return
  }
  state.A = sample
  enter(d, 'hold')
}

/** Heater rails: since when volts and amps are in band. Called for every reading of a heater rail. */
export function noteHeater(d: Draft, name: string): void {
  const watches = d.s.plan.heaters.filter((watch) => watch.rail === name)
  const state = d.s.rails[name]
  const step = currentStep(d.s)
  if (watches.length === 0 || !state || !step || d.s.plan.rails[name]?.class === 'hand') return
  const limits = limitsNow(d.s, name)
  const full_V = Math.max(...watches.map((watch) => watch.volts))
  const V = state.V?.value ?? 0
  const A = state.A?.value ?? null
  const least_A = limits === null ? Infinity : leastOf(d.s, name, limits)
  const inBand =
    state.energised &&
    Math.abs(V - full_V) <= 0.1 * full_V &&
    (A === null || (limits !== null && A >= least_A && A <= limits.trip_A))
  if (!inBand) state.good_since_us = null
  else state.good_since_us ??= d.s.t_us
}
