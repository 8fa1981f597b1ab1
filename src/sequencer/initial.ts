import { urgentChannels } from '../off/index.js'
import type { Plan } from '../plan/index.js'
import type { ChannelState, InputState, RailState, Sample, State } from './state.js'

/** Before anything was heard. */
export function initialState(plan: Plan): State {
  const rails: Record<string, RailState> = {}
  const channels: Record<string, ChannelState> = {}
  for (const [name, rail] of Object.entries(plan.rails)) {
    rails[name] = {
      set_V: 0,
      set_us: 0,
      lowered_us: null,
      V: null,
      A: null,
      recent: [],
      rise: [],
      breaking: {},
      in_window: null,
      error_pct_s: 0,
      good_since_us: null,
      energised: false,
      on_us: null,
      on_known_us: null,
    }
    for (const channel of rail.channels) {
      channels[channel.channel] = {
        set_V: null,
        limit_A: null,
        over_V: null,
        limits_step: null,
        output: 'unknown',
        V: null,
        A: null,
        regulation: 'unknown',
        setting: null,
        nothing: { V: 0, A: 0 },
        lowest: null,
      }
    }
  }
  const meters: Record<string, Sample | null> = {}
  const inputs: Record<string, InputState> = {}
  for (const { name, port } of Object.values(plan.meters)) {
    meters[name] = null
    if (port !== null) inputs[name] = { beyond: 0, lost: false, fall: null }
  }
  return {
    plan,
    phase: 'waiting',
    t_us: 0,
    tick_us: 0,
    begun_us: null,
    step: 0,
    step_us: 0,
    part: 'gate',
    part_us: 0,
    rails,
    channels,
    meters,
    inputs,
    typed: {},
    pending: {},
    line_troubles: {},
    line_errors: {},
    lines_counted: null,
    next_id: 1,
    next_intent: 1,
    intent: null,
    prompt: null,
    next_prompt: 1,
    hands_in: false,
    hands_clear_until_us: null,
    off: null,
    off_first: urgentChannels(plan.off),
    proof: null,
    latched: false,
    warnings: [],
    weak: {},
    weak_in: {},
    drive_seen: {},
    timed: {},
    rest: {},
    unsettled: {},
    over_rating: {},
    done: [],
    outputs_proved: false,
    limits_us: 0,
    ever_energised: false,
    ht_was_up: false,
    hookup_done: [],
    proved_dead: 0,
    wires_done: 0,
    wires_as_in: null,
    mercury: 'not asked',
    found_on: [],
    in_place: null,
    reform: Object.fromEntries(
      (plan.reform?.parts ?? []).map(({ name, formed_V }) => [
        name,
        { act: 'wait', step: 0, reach_V: 0, formed_V, verdict: null, off: false },
      ]),
    ),
  }
}
