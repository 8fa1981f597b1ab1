import { decimal } from '../exchange/index.js'
import type { Plan, Step } from '../plan/index.js'
import { type RunEntry, type RunEvent, streamsOf } from '../story/index.js'

/** What a run recorded of the channel under test, in seconds and SI units: all that its figures are made from. */
export interface Seen {
  readonly plan: Plan
  readonly channel: string
  readonly V: readonly Sample[]
  readonly A: readonly Sample[]
  readonly events: readonly RunEvent[]
}
export interface Sample {
  readonly t_s: number
  readonly value: number
}

/** From the entries of a run as they were told, or read again from its file. */
export function seenIn(plan: Plan, channel: string, entries: Iterable<RunEntry>): Seen {
  const streams = streamsOf(plan)
  const id = (quantity: 'V' | 'A'): number =>
    streams.find(({ name }) => name === `${channel}.${quantity}`)?.id ?? -1
  const [volts, amps] = [id('V'), id('A')]
  const V: Sample[] = []
  const A: Sample[] = []
  const events: RunEvent[] = []
  for (const entry of entries) {
    if (entry.entry === 'event') events.push(entry.event)
    if (entry.entry !== 'reading') continue
    const sample = { t_s: entry.t_us / 1e6, value: decimal(entry.n, entry.k) }
    if (entry.stream === volts) V.push(sample)
    else if (entry.stream === amps) A.push(sample)
  }
  return { plan, channel, V, A, events }
}

/** When each step began and ended, as far as the run came. */
export function spanOf(seen: Seen, step: Step): { readonly from_s: number; readonly to_s: number } | null {
  const begun = seen.events.find(({ what, step: at }) => what === 'step' && at === step.index)
  const next = seen.events.find(({ what, step: at }) => what === 'step' && at === step.index + 1)
  const off = seen.events.find(({ what }) => what === 'off' || what === 'trip')
  const end = next ?? off
  if (begun === undefined || end === undefined || end.t_us < begun.t_us) return null
  return { from_s: begun.t_us / 1e6, to_s: end.t_us / 1e6 }
}

export const between = (samples: readonly Sample[], from_s: number, to_s: number): readonly Sample[] =>
  samples.filter(({ t_s }) => t_s > from_s && t_s <= to_s)

/** When the channel was told something in a step: set, off, … */
export function toldAt(seen: Seen, step: Step, what: string): number | null {
  const span = spanOf(seen, step)
  if (span === null) return null
  const found = seen.events.findLast(
    ({ what: kind, data, t_us }) =>
      kind === 'asked' &&
      data.do === what &&
      data.channel === seen.channel &&
      t_us / 1e6 >= span.from_s &&
      t_us / 1e6 <= span.to_s,
  )
  return found === undefined ? null : found.t_us / 1e6
}

export function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / Math.max(1, values.length)
}

/** Standard deviation of a sample; 0 of fewer than two. */
export function deviation(values: readonly number[]): number {
  if (values.length < 2) return 0
  const middle = mean(values)
  const sum = values.reduce((all, value) => all + (value - middle) * (value - middle), 0)
  return Math.sqrt(sum / (values.length - 1))
}

/** The value that this part of all lie at or below. */
export function quantileOf(values: readonly number[], part: number): number {
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[Math.min(sorted.length - 1, Math.max(0, Math.ceil(part * sorted.length) - 1))] ?? 0
}
