import { type Decimal, decimalValue } from '../exchange/index.js'
import type { RailPlan } from '../plan/index.js'
import type { Draft, RailState, Sample, State } from './state.js'
import { accuracy, channelOf, off_V, resolution, us } from './state.js'

/** A channel's reading: keeps it, and combines its rail's volts or amps. Returns the rail's name when the rail's own value changed. */
export function takeReading(d: Draft, channel: string, quantity: 'V' | 'A', value: Decimal): string | null {
  const found = channelOf(d.s, channel)
  if (!found) return null
  found.state[quantity] = { value: decimalValue(value), t_us: d.s.t_us }
  const combined = combine(d.s, found.rail, quantity)
  if (combined === null) return null
  const rail = d.s.rails[found.rail.name]
  if (!rail) return null
  keep(rail, quantity, combined)
  return found.rail.name
}

/** A meter's reading: kept by name, and taken as the rail's value where the rail is watched through it. */
export function takeMeter(d: Draft, meter: string, value: Decimal): string | null {
  const plan = d.s.plan.meters[meter]
  if (!plan) return null
  const sample = { value: decimalValue(value), t_us: d.s.t_us }
  d.s.meters = { ...d.s.meters, [meter]: sample }
  for (const name in d.s.plan.rails) {
    const rail = d.s.plan.rails[name]
    if (rail?.class !== 'watched') continue
    const state = d.s.rails[rail.name]
    if (!state) continue
    if (rail.volts_meter === meter) keep(state, 'V', { ...sample, value: Math.abs(sample.value) })
    else if (rail.amps_meter === meter) keep(state, 'A', sample)
    else continue
    // A short holds the volts down: current alone is a rail that is up, too.
    const least_A = 5 * resolution(d.s, rail).A + accuracy(d.s, rail, 0, 0).A
    state.energised = (state.V?.value ?? 0) > off_V || Math.abs(state.A?.value ?? 0) > least_A
    if (state.energised) {
      d.s.ever_energised = true
      state.on_us ??= d.s.t_us
    } else {
      state.on_us = null
    }
    return rail.name
  }
  return null
}

/** Volts of stacked channels add up, the current is common: the largest is taken. The age is that of the oldest part. */
function combine(s: State, rail: RailPlan, quantity: 'V' | 'A'): Sample | null {
  let value = 0
  let t_us = Infinity
  for (const part of rail.channels) {
    const sample = s.channels[part.channel]?.[quantity]
    if (!sample) return null
    value = quantity === 'V' ? value + sample.value : Math.max(value, sample.value)
    t_us = Math.min(t_us, sample.t_us)
  }
  return t_us === Infinity ? null : { value, t_us }
}

const keptEvery_us = 200_000
const keptFor_us = us(20)
const riseFor_us = us(5)

function keep(rail: RailState, quantity: 'V' | 'A', sample: Sample): void {
  if (quantity === 'A') {
    rail.A = sample
    rail.recent = kept(rail.recent, sample, keptFor_us)
  } else {
    rail.V = sample
    rail.rise = kept(rail.rise, sample, riseFor_us)
  }
}

/** Recent samples at most five a second; one older than the window stays, so that the window is known to be full. */
function kept(list: readonly Sample[], sample: Sample, window_us: number): Sample[] {
  const last = list[list.length - 1]
  if (last && sample.t_us - last.t_us < keptEvery_us) return list as Sample[]
  let from = 0
  while (from + 1 < list.length && sample.t_us - (list[from + 1]?.t_us ?? 0) >= window_us) from++
  const next = list.slice(from)
  next.push(sample)
  return next
}
