import type { OffPlan } from '../plan/index.js'
import { change, of, off_V, samples, us, volts } from './rails.js'
import type { Draft, OffRail, RailOff, Sample } from './types.js'

const keptEvery_s = 0.5
const kept = 40

/** A channel's reading: its rail's volts are the sum of its channels, as old as the oldest. */
export function heardChannel(
  d: Draft,
  plan: OffPlan,
  channel: string,
  quantity: 'V' | 'A',
  value: number,
): void {
  const rail = d.rails.find((each) => each.channels.some((part) => part.channel === channel))
  if (rail === undefined) return
  // Runs of samples are counted by one channel; any channel breaks them.
  const counts = rail.channels[0]?.channel === channel
  if (quantity === 'A') {
    heardAmps(d, rail, value, counts)
    return
  }
  d.s.readings = { ...d.s.readings, [channel]: { value, t_us: d.s.t_us } }
  let sum = 0
  let oldest_us = d.s.t_us
  for (const part of rail.channels) {
    const sample = d.s.readings[part.channel]
    if (sample === undefined) return
    sum += sample.value
    oldest_us = Math.min(oldest_us, sample.t_us)
  }
  heardRail(d, plan, rail, { value: sum, t_us: oldest_us }, counts)
}

export function heardMeter(d: Draft, plan: OffPlan, meter: string, value: number): void {
  for (const rail of d.rails) {
    if (rail.amps_meter === meter) heardAmps(d, rail, value, true)
    if (rail.volts_meter !== meter) continue
    heardRail(d, plan, rail, { value: Math.abs(value), t_us: d.s.t_us }, true)
    if (Math.abs(value) >= off_V) d.s.knobs = { ...d.s.knobs, [rail.name]: 'up' }
  }
}

function heardAmps(d: Draft, rail: OffRail, value: number, counts: boolean): void {
  const known = of(d.s, rail)
  const quiet = Math.abs(value) <= rail.no_A
  change(d, rail, {
    quiet: quiet ? known.quiet + (counts ? 1 : 0) : 0,
    loud: quiet ? (counts ? 0 : known.loud) : known.loud + 1,
  })
}

function heardRail(d: Draft, plan: OffPlan, rail: OffRail, now: Sample, counts: boolean): void {
  const known = of(d.s, rail)
  const size = Math.abs(now.value)
  const after = known.given_us !== null && now.t_us > known.given_us
  const last = known.fall[known.fall.length - 1]
  const keeps = after && (last === undefined || now.t_us - last.t_us >= us(keptEvery_s))
  const fall = keeps ? [...known.fall.slice(1 - kept), now] : known.fall
  change(d, rail, {
    V: now,
    low: !after || size >= plan.bias_release.below_V ? 0 : known.low + (counts ? 1 : 0),
    gone: !after || size >= off_V ? 0 : known.gone + (counts ? 1 : 0),
    fall,
    lowest_V: lowest_V(known, fall),
    // Until the output is read back as off, and whenever the volts have risen before it is believed, the fall has not begun. Afterwards
    // what rises has come back, however steadily.
    from:
      known.down_us === null ||
      known.from === null ||
      (known.confirmed_us === null && rose(rail, known.from, now))
        ? now
        : known.from,
  })
}

/** One wrong figure makes none. */
function lowest_V({ lowest_V: before }: RailOff, fall: readonly Sample[]): number | null {
  if (fall.length < samples) return before
  const stood_V = Math.max(...fall.slice(-samples).map(({ value }) => Math.abs(value)))
  return Math.min(before ?? stood_V, stood_V)
}

function rose(rail: OffRail, from: Sample, now: Sample): boolean {
  return Math.abs(now.value) > Math.abs(from.value) + 3 * rail.resolution_V
}

export function heardOutput(d: Draft, channel: string, on: boolean): void {
  const rail = d.rails.find((each) => each.channels.some((part) => part.channel === channel))
  if (rail === undefined) return
  // Also where it was known as off: a line that brought such news is not given up sooner.
  if (on) d.s.live = 'yes'
  if (on && (d.s.outputs[channel] ?? 'unknown') === 'unknown' && !d.s.found_on.includes(channel))
    d.s.found_on = [...d.s.found_on, channel]
  d.s.outputs = { ...d.s.outputs, [channel]: on ? 'on' : 'off' }
  const down = rail.channels.every((part) => d.s.outputs[part.channel] === 'off')
  // The last moment at which it was not off counts, for every rule that counts time.
  change(d, rail, { down_us: down ? (of(d.s, rail).down_us ?? d.s.t_us) : null })
}

/** Answers that are one question behind look like answers, until one of another kind shows it: then none of a row counts. */
export function doubted(d: Draft, port: string): void {
  for (const rail of d.rails)
    if (rail.channels.some((part) => part.port === port)) change(d, rail, { quiet: 0, low: 0, gone: 0 })
}

/** What was last read back of a rail, in words. */
export function lastRead(d: Draft, rail: OffRail): string {
  const outputs = rail.channels.map((part) => d.s.outputs[part.channel] ?? 'unknown')
  const output = outputs.includes('on')
    ? 'on'
    : outputs.every((each) => each === 'off') && outputs.length > 0
      ? 'off'
      : null
  const { V } = of(d.s, rail)
  const seen =
    V === null ? null : `${volts(V.value)} ${rail.class === 'programmed' ? 'at the supply' : 'by its meter'}`
  const parts = [output === null ? null : `output ${output}`, seen].filter((part) => part !== null)
  return parts.length === 0 ? 'nothing was read back of it' : `last read back: ${parts.join(', ')}`
}
