import type { OffPlan } from '../plan/index.js'
import { alarm, callKnobs, escalate } from './alarms.js'
import { confirm } from './confirm.js'
import { conclude } from './end.js'
import { doubted, heardChannel, heardMeter, heardOutput } from './heard.js'
import { change, fresh, isBias, isDownByHand, isHot, nextHand, railsOf, record, untold, us } from './rails.js'
import { biasOff, heatersOff, hotFollows, hotOff, makeUrgent, said } from './rules.js'
import type { Draft, OffAct, OffInput, OffStart, OffState } from './types.js'

/**
 * Drive, screen and HT are told OFF first. Heaters follow when HT is low, or `heaters_off_after_s` later, what the computer slept
 * through not counted. Bias follows at the first of: (a) plates and screens measured below `below_V` where only wire lies between
 * them and the supplies, (b) the computed discharge time since the last of them was off, (c) `cathodes_cold_s` after every heater
 * rail was confirmed off. While a terminal that is measured does not fall only (a) counts: the bias stays. Without the set's file
 * only (c) can be known.
 */

const lookWithin_s = 2
/** Nothing for so long, not even a tick: computer or process stood still. */
const gap_s = 5

interface Turn {
  readonly state: OffState
  readonly acts: readonly OffAct[]
}

export function offBegin(plan: OffPlan, start: OffStart): Turn {
  const rails = railsOf(plan)
  const none = Object.fromEntries(rails.map((rail) => [rail.name, null]))
  const d: Draft = {
    rails,
    out: [],
    s: {
      how: start.how,
      t_us: start.t_us,
      since_us: start.t_us,
      awake_us: start.t_us,
      heard_us: 0,
      looking_until_us: null,
      ht_waits: false,
      ht_was_up: start.ht_was_up,
      live: start.live,
      outputs: start.outputs,
      readings: {},
      rails: Object.fromEntries(rails.map((rail) => [rail.name, untold])),
      confirmed: none,
      knobs: start.knobs,
      knob_alarms: [],
      asks: start.asks,
      calls_hands: start.calls_hands,
      hand: {},
      said_us: {},
      found_on: [],
      heaters_off_us: null,
      bias_released_by: null,
      result: null,
    },
  }
  for (const rail of rails) {
    const off = rail.channels.every(({ channel }) => start.outputs[channel] === 'off')
    const V = start.volts[rail.name] ?? null
    change(d, rail, { V, from: V, down_us: rail.channels.length > 0 && off ? start.t_us : null })
    if (rail.class === 'hand' && !start.asks && !isDownByHand(d.s, rail))
      d.s.hand = { ...d.s.hand, [rail.name]: 'not confirmed by you' }
  }
  if (start.look_first) d.s.looking_until_us = start.t_us + us(Math.max(lookWithin_s, fresh * plan.stale_s))
  else goOff(d, plan)
  return { state: d.s, acts: d.out }
}

export function offStep(plan: OffPlan, before: OffState, input: OffInput): Turn {
  if (before.result !== null) return { state: before, acts: [] }
  const d: Draft = { rails: railsOf(plan), out: [], s: { ...before } }
  d.s.t_us = Math.max(before.t_us, input.t_us)
  d.s.heard_us += Math.min(d.s.t_us - before.t_us, us(Math.max(1, plan.stale_s)))
  if (d.s.t_us - before.t_us > us(gap_s * Math.max(1, plan.stale_s))) d.s.awake_us = d.s.t_us
  switch (input.kind) {
    case 'tick':
      tick(d, plan)
      break
    case 'reading':
      answered(d)
      heardChannel(d, plan, input.channel, input.quantity, input.value)
      break
    case 'meter':
      answered(d)
      heardMeter(d, plan, input.meter, input.value)
      break
    case 'output':
      answered(d)
      heardOutput(d, input.channel, input.on)
      break
    case 'doubt':
      doubted(d, input.port)
      break
    case 'said':
      said(d, input.rail, input.volts)
      break
    case 'urgent':
      makeUrgent(d)
      break
  }
  return { state: d.s, acts: d.out }
}

/** What goes off first and at once, in its order: known before anything is wrong. */
export function urgentChannels(plan: OffPlan): readonly string[] {
  return railsOf(plan)
    .filter(isHot)
    .flatMap((rail) => rail.channels.map(({ channel }) => channel))
}

/** The next rail by hand to ask about, in the order of going off; null = none now. */
export function handToAsk(plan: OffPlan, state: OffState): string | null {
  return nextHand(state, railsOf(plan))
}

/** Rails by hand that may be up and of which nothing was said yet. */
export function handsMissing(plan: OffPlan, state: OffState): readonly string[] {
  return railsOf(plan)
    .filter(
      (rail) => rail.class === 'hand' && !isDownByHand(state, rail) && state.hand[rail.name] === undefined,
    )
    .map(({ name }) => name)
}

/** Somebody is there, so something may be on. */
function answered(d: Draft): void {
  if (d.s.live === 'unknown') d.s.live = 'yes'
}

function goOff(d: Draft, plan: OffPlan): void {
  d.s.since_us = d.s.t_us
  d.s.heard_us = 0
  hotOff(d)
  if (plan.knobs === null && d.rails.some(isBias)) {
    const text =
      'The bench file alone cannot tell whether HT reaches the set from somewhere else. If it does, turn it down to zero now, one hand: the bias is kept until the cathodes are cold.'
    if (d.rails.some(isHot)) record(d, null, text)
    else d.out.push({ do: 'alarm', rail: null, text, turn_down: false })
  }
}

function tick(d: Draft, plan: OffPlan): void {
  if (d.s.looking_until_us !== null) {
    look(d, plan, d.s.looking_until_us)
    return
  }
  hotFollows(d)
  for (const rail of d.rails) confirm(d, rail, plan)
  // A watched rail may turn out to be up only now.
  callKnobs(d, d.rails.filter(isHot), 'now, one hand', false)
  heatersOff(d, plan)
  biasOff(d, plan)
  for (const rail of d.rails) escalate(d, rail, plan)
  for (const rail of d.rails) alarm(d, rail)
  conclude(d, plan)
}

function look(d: Draft, plan: OffPlan, until_us: number): void {
  const channels = d.rails.flatMap((rail) => rail.channels)
  const seen = channels.every(({ channel }) => (d.s.outputs[channel] ?? 'unknown') !== 'unknown')
  if (!seen && d.s.t_us < until_us) return
  d.s.looking_until_us = null
  const on = d.s.found_on.length > 0 ? `found on: ${d.s.found_on.join(', ')}` : 'no output found on'
  record(d, null, `Outputs read back: ${on}.`)
  goOff(d, plan)
}
