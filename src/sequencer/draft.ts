import type { ChannelState, Draft, OffNow, RailState, State } from './state.js'

/*
 * A copy for one event: the state it was made from stays as it is. Field by field, since a spread of so many costs several times
 * as much and one is made for every reading; a field that is missing here is an error of types.
 */
export function draftOf(state: State, off_now: OffNow): Draft {
  const rails: Record<string, RailState> = {}
  for (const name in state.rails) {
    const rail = state.rails[name]
    if (rail) rails[name] = railOf(rail)
  }
  const channels: Record<string, ChannelState> = {}
  for (const name in state.channels) {
    const channel = state.channels[name]
    if (channel) channels[name] = channelOf(channel)
  }
  const s: State = {
    plan: state.plan,
    phase: state.phase,
    t_us: state.t_us,
    tick_us: state.tick_us,
    begun_us: state.begun_us,
    step: state.step,
    step_us: state.step_us,
    part: state.part,
    part_us: state.part_us,
    rails,
    channels,
    meters: state.meters,
    inputs: state.inputs,
    typed: state.typed,
    pending: state.pending,
    line_troubles: state.line_troubles,
    line_errors: state.line_errors,
    lines_counted: state.lines_counted,
    next_id: state.next_id,
    next_intent: state.next_intent,
    intent: state.intent,
    prompt: state.prompt,
    next_prompt: state.next_prompt,
    hands_in: state.hands_in,
    hands_clear_until_us: state.hands_clear_until_us,
    off: state.off,
    off_first: state.off_first,
    proof: state.proof,
    latched: state.latched,
    warnings: state.warnings,
    weak: state.weak,
    weak_in: state.weak_in,
    drive_seen: state.drive_seen,
    timed: state.timed,
    rest: state.rest,
    unsettled: state.unsettled,
    over_rating: state.over_rating,
    done: state.done,
    outputs_proved: state.outputs_proved,
    limits_us: state.limits_us,
    ever_energised: state.ever_energised,
    ht_was_up: state.ht_was_up,
    hookup_done: state.hookup_done,
    proved_dead: state.proved_dead,
    wires_done: state.wires_done,
    wires_as_in: state.wires_as_in,
    mercury: state.mercury,
    found_on: state.found_on,
    in_place: state.in_place,
    reform: state.reform,
  }
  return { s, out: [], broken: [], off_now, off_given: false }
}

/** A state that nobody else has, taken as it is. */
export const own = (s: State, off_now: OffNow): Draft => ({
  s,
  out: [],
  broken: [],
  off_now,
  off_given: false,
})

const railOf = (rail: RailState): RailState => ({
  set_V: rail.set_V,
  set_us: rail.set_us,
  lowered_us: rail.lowered_us,
  V: rail.V,
  A: rail.A,
  recent: rail.recent,
  rise: rail.rise,
  breaking: rail.breaking,
  in_window: rail.in_window,
  error_pct_s: rail.error_pct_s,
  good_since_us: rail.good_since_us,
  energised: rail.energised,
  on_us: rail.on_us,
  on_known_us: rail.on_known_us,
})

const channelOf = (channel: ChannelState): ChannelState => ({
  set_V: channel.set_V,
  limit_A: channel.limit_A,
  over_V: channel.over_V,
  limits_step: channel.limits_step,
  output: channel.output,
  V: channel.V,
  A: channel.A,
  regulation: channel.regulation,
  setting: channel.setting,
  nothing: channel.nothing,
  lowest: channel.lowest,
})
