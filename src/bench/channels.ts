import { own } from '../quantities/index.js'
import type { Bench, Channel, Supply } from './types.js'

/** All channels as `SUPPLY.CHANNEL`, in the order of the file. */
export function channelNames(bench: Bench): string[] {
  return Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
    Object.keys(channels).map((channel) => `${supply}.${channel}`),
  )
}

/** The channel of a name `SUPPLY.CHANNEL`, or null. */
export function channelOf(
  bench: Bench,
  name: string,
): { readonly supply: Supply; readonly channel: Channel } | null {
  for (const [supplyName, supply] of Object.entries(bench.supplies)) {
    if (!name.startsWith(`${supplyName}.`)) continue
    const channel = own(supply.channels, name.slice(supplyName.length + 1))
    if (channel !== undefined) return { supply, channel }
  }
  return null
}
