import { urgentOffText } from '../bench/index.js'
import type { LineConfig } from './types.js'
import { failRequests, lowers, setChannel, write, type Draft, type LineState } from './state.js'

/** A burst that waits for nothing, then an OFF between questions until the read-back says off. */
const burst_us = [50_000, 150_000]
const repeat_us = 250_000

/**
 * What `urgentOff` writes for these channels, '' where there is no connection: for whoever puts it on the line before the line
 * has worked out what follows from it.
 */
export function urgentWords(state: LineState, channels: readonly string[]): string {
  if (state.link === 'closed') return ''
  const targets = targetsOf(state, channels)
  return targets.length === 0 ? '' : wordsFor(state, targets)
}

/** The same for a line that owes nothing, from what the bench file says of it: to be laid ready before a run. */
export function wordsLaidReady(config: LineConfig, channels: readonly string[]): string {
  const numbers = config.channels.flatMap(({ channel, number }) =>
    channels.includes(channel) ? [number] : [],
  )
  return numbers.length === 0 ? '' : urgentOffText(config.dialect, numbers)
}

/** These, and what was owed an OFF before. */
function targetsOf(state: LineState, channels: readonly string[]): readonly number[] {
  const targets = new Set(state.urgent?.targets)
  for (const [index, { channel }] of state.config.channels.entries())
    if (channels.includes(channel)) targets.add(index)
  return [...targets]
}

const wordsFor = ({ config }: LineState, targets: readonly number[]): string =>
  urgentOffText(
    config.dialect,
    targets.flatMap((index) => config.channels[index]?.number ?? []),
  )

/** Beside the queue: written at once, whatever is in flight. */
export function urgentOff(d: Draft, channels: readonly string[]): void {
  d.made_safe = true
  d.unproved = true
  d.starved_until_us = 0
  failRequests(d, 'refused', 'an urgent OFF came before it', (request) => !lowers(request))
  if (d.work?.request) {
    d.waiting = [d.work.request, ...d.waiting]
    d.work = null
  }
  // A question to be asked again would come before the one who is there, and its answer be believed.
  if (d.work?.why === 'reading') d.work = null
  // What was asked before the OFF says nothing about after it; a reading is still a reading.
  const { flight } = d
  if (flight?.move.kind === 'ask' && flight.move.want.is !== 'reading' && d.link === 'ready') {
    d.flight = { ...flight, move: { ...flight.move, want: { is: 'anything' } } }
  }
  d.urgent = {
    targets: targetsOf(d, channels),
    burst_us: [],
    repeat_us: d.t_us,
  }
  for (const index of d.urgent.targets) setChannel(d, index, { output: null })
  d.round = []
  d.round_at = 0
  burst(d)
}

/** Channels whose OFF has not been read back. */
export function owed(d: Draft): readonly number[] {
  return d.urgent?.targets.filter((index) => d.channels[index]?.output !== false) ?? []
}

function burst(d: Draft): void {
  if (d.urgent === null) return
  d.urgent = { ...d.urgent, burst_us: burst_us.map((after) => d.t_us + after) }
  // No question until the burst is over: a strict supply drops the answer to one that is interrupted.
  d.hold_us = Math.max(d.hold_us, ...d.urgent.burst_us)
  send(d)
}

function send(d: Draft): void {
  const { urgent } = d
  if (urgent === null) return
  const off = owed(d)
  if (off.length > 0 && d.link !== 'closed') write(d, wordsFor(d, off), true)
  // A supply slow to switch off is not asked before it has worked through every OFF it was sent.
  const slow_us = (d.config.dialect.slow_s.off ?? 0) * 1_000_000
  if (slow_us > 0) d.hold_us = Math.max(d.hold_us, d.t_us) + off.length * slow_us
  d.urgent = {
    ...urgent,
    burst_us: urgent.burst_us.filter((at) => at > d.t_us),
    // Not before it can be asked: each OFF more would put off the read-back that ends them.
    repeat_us: (slow_us > 0 ? d.hold_us : d.t_us) + repeat_us,
  }
}

/** OFF again when it is due: in the burst at once, later only between questions. */
export function repeatUrgent(d: Draft): void {
  const { urgent } = d
  if (urgent === null || owed(d).length === 0 || d.link === 'closed') return
  const [next] = urgent.burst_us
  if (next === undefined ? d.t_us >= urgent.repeat_us && d.flight === null : d.t_us >= next) send(d)
}

/** A fresh connection with an OFF owed: the OFF comes first. */
export function urgentOnOpen(d: Draft): void {
  burst(d)
}

/** An output that is found on against orders is owed an OFF, for ever, without a burst. */
export function owe(d: Draft, index: number): void {
  const targets = new Set([...(d.urgent?.targets ?? []), index])
  d.urgent = { targets: [...targets], burst_us: d.urgent?.burst_us ?? [], repeat_us: d.t_us }
}
