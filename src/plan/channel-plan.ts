import type { Channel, Supply } from '../bench/index.js'
import type { ChannelPlan } from './types.js'

/**
 * One output as the sequencer needs to know it, the same for a set, for lifted parts and for a dummy load. `share`: its part of the
 * rail's volts, where several stand in series.
 */
export function channelPlan(
  name: string,
  port: string,
  { dialect }: Pick<Supply, 'dialect'>,
  channel: Channel,
  share = 1,
): ChannelPlan {
  return {
    channel: name,
    port,
    share,
    set_digits_V: channel.set_digits_V,
    set_digits_A: channel.set_digits_A,
    min_V: channel.min_V,
    min_A: channel.min_A,
    max_V: channel.max_V,
    max_A: channel.max_A,
    resolution_V: channel.resolution_V,
    resolution_A: channel.resolution_A,
    accuracy_V: channel.accuracy_V,
    accuracy_A: channel.accuracy_A,
    over_voltage: channel.over_voltage,
    over_voltage_margin_V: channel.over_voltage_margin_V,
    off_order: channel.off_order,
    ...((dialect.dead_man?.disarm ?? []).length > 0 && { dead_man: true as const }),
    ...(dialect.local !== null && { panel: true as const }),
  }
}
