import type { LineEvent } from '../exchange/index.js'
import { type LineConfig, type LineInput, type LineState, lineStep, openLine } from '../line/index.js'
import type { OffPlan } from '../plan/index.js'
import { belowTheFall, fallenEnough, type Fall } from './fall.js'

/**
 * Everything off and confirmed by measurement, from the off plan and the ports alone: what `safe-off` does and what the
 * supervisor does when it has taken over. Pure: time is given (µs of the bench's own clock), bytes come and go as data.
 *
 * Drive, screen and HT are sent OFF at once. Heaters follow when HT is low, or `heaters_off_after_s` later. Bias follows at the
 * first of: (a) HT terminals below `below_V` where only wire lies between them and the set, (b) the computed discharge time,
 * (c) `cathodes_cold_s` after heaters were confirmed off. While an HT terminal does not fall only (a) counts: the bias stays.
 */
export interface SafeOffState {
  readonly plan: OffPlan
  readonly lines: Readonly<Record<string, LineState>>
  readonly channels: Readonly<Record<string, ChannelOff>>
  readonly began_us: number
  /** Read back first, then OFF; a port that does not answer within two seconds gets its OFF all the same. */
  readonly look_first: boolean
  readonly found_on: readonly string[]
  readonly now_us: number
  readonly next_id: number
  /** Ports that answered at least once. */
  readonly answered: readonly string[]
  readonly first_low_us: number | null
  readonly heaters_off_us: number | null
  readonly bias_released_by: string | null
  readonly alarmed_us: number | null
  readonly result: SafeOffResult | null
}

export interface ChannelOff {
  readonly stage: 'first' | 'heater' | 'bias'
  /** When OFF was given; null = not yet. */
  readonly given_us: number | null
  readonly output: 'on' | 'off' | 'unknown'
  readonly volts: number | null
  readonly fall: Fall
  /** Samples in a row with current below the supply's resolution. */
  readonly quiet: number
  readonly confirmed: string | null
  readonly escalations: number
  readonly escalated_us: number | null
}

export interface SafeOffResult {
  readonly outputs_off: 'confirmed' | 'not confirmed'
  readonly channels: Readonly<
    Record<
      string,
      {
        readonly rail: string
        readonly confirmed: boolean
        readonly volts: number | null
        readonly how: string
      }
    >
  >
  readonly bias_released_by: string | null
  /** Outputs that were on when first read back. */
  readonly found_on: readonly string[]
  /** Ports that never answered. */
  readonly silent: readonly string[]
  readonly text: string
}

export type SafeOffInput =
  | { readonly kind: 'port'; readonly port: string; readonly line: LineInput }
  | { readonly kind: 'tick'; readonly t_us: number }

export type SafeOffOutput =
  | { readonly kind: 'write'; readonly port: string; readonly text: string; readonly urgent: boolean }
  | { readonly kind: 'reopen'; readonly port: string; readonly text: string }
  | { readonly kind: 'record'; readonly what: string; readonly rail: string | null; readonly text: string }
  | { readonly kind: 'alarm'; readonly text: string }
  | { readonly kind: 'end'; readonly result: SafeOffResult }

/** An output that has not fallen by then is escalated: architecture.md, invariant 8. */
const fall_within_us = 10_000_000
const escalations_before_alarm = 2
/** A port that has not answered by then is given up, as far as waiting goes; OFF goes on being sent while we wait for others. */
const answer_within_us = 10_000_000
const after_alarm_us = 10_000_000
const look_within_us = 2_000_000
const quiet_samples = 3
const off_V = 5

export function safeOffBegin(
  plan: OffPlan,
  configs: readonly LineConfig[],
  t_us: number,
  look_first = false,
): SafeOffState {
  const lines: Record<string, LineState> = {}
  for (const config of configs) {
    if (plan.channels.some((channel) => channel.port === config.port))
      lines[config.port] = openLine({ ...config, outputs_stay: true })
  }
  const channels: Record<string, ChannelOff> = {}
  for (const { channel, role } of plan.channels) {
    channels[channel] = {
      stage: role === 'heater' ? 'heater' : role === 'bias' ? 'bias' : 'first',
      given_us: null,
      output: 'unknown',
      volts: null,
      fall: { from_V: null, from_us: null },
      quiet: 0,
      confirmed: null,
      escalations: 0,
      escalated_us: null,
    }
  }
  return {
    plan,
    lines,
    channels,
    began_us: t_us,
    look_first,
    found_on: [],
    now_us: t_us,
    next_id: 1,
    answered: [],
    first_low_us: null,
    heaters_off_us: null,
    bias_released_by: null,
    alarmed_us: null,
    result: null,
  }
}

interface Draft {
  s: { -readonly [K in keyof SafeOffState]: SafeOffState[K] }
  out: SafeOffOutput[]
}

export function safeOffStep(
  before: SafeOffState,
  input: SafeOffInput,
): { readonly state: SafeOffState; readonly outputs: readonly SafeOffOutput[] } {
  if (before.result !== null) return { state: before, outputs: [] }
  const d: Draft = { s: { ...before }, out: [] }
  if (input.kind === 'tick') {
    d.s.now_us = Math.max(d.s.now_us, input.t_us)
    for (const port of Object.keys(d.s.lines)) feed(d, port, { kind: 'time', t_us: d.s.now_us })
  } else {
    d.s.now_us = Math.max(d.s.now_us, input.line.t_us)
    feed(d, input.port, input.line)
    // Whoever is there, whatever it was doing: the OFF goes out with the opening of the port, before any question.
    if (input.line.kind === 'opened' && !d.s.look_first) urgentOff(d, input.port)
  }
  decide(d)
  return { state: d.s, outputs: d.out }
}

function feed(d: Draft, port: string, input: LineInput): void {
  const line = d.s.lines[port]
  if (line === undefined) return
  const turn = lineStep(line, input)
  d.s.lines = { ...d.s.lines, [port]: turn.state }
  for (const output of turn.outputs) {
    if (output.kind === 'write') d.out.push({ kind: 'write', port, text: output.text, urgent: output.urgent })
    else if (output.kind === 'reopen') d.out.push({ kind: 'reopen', port, text: output.text })
    else if (output.kind === 'event') heard(d, port, output.event)
  }
}

function change(d: Draft, channel: string, to: Partial<ChannelOff>): void {
  const known = d.s.channels[channel]
  if (known !== undefined) d.s.channels = { ...d.s.channels, [channel]: { ...known, ...to } }
}

function heard(d: Draft, port: string, event: LineEvent): void {
  const answers = event.kind === 'reading' || event.kind === 'output' || event.kind === 'done'
  if (answers && !d.s.answered.includes(port)) d.s.answered = [...d.s.answered, port]
  if (event.kind === 'output') {
    const before = d.s.channels[event.channel]
    if (event.on && before?.output === 'unknown' && !d.s.found_on.includes(event.channel)) {
      d.s.found_on = [...d.s.found_on, event.channel]
    }
    change(d, event.channel, { output: event.on ? 'on' : 'off', ...(event.on ? { confirmed: null } : {}) })
  } else if (event.kind === 'reading') {
    const channel = d.s.channels[event.channel]
    const planned = plannedOf(d, event.channel)
    if (channel === undefined || planned === undefined) return
    const value = valueOf(event.value.n, event.value.k)
    if (event.quantity === 'A') {
      const quiet = Math.abs(value) <= planned.resolution_A ? channel.quiet + 1 : 0
      change(d, event.channel, { quiet })
    } else {
      const starts = channel.given_us !== null && channel.fall.from_V === null
      change(d, event.channel, {
        volts: value,
        ...(starts ? { fall: { from_V: value, from_us: d.s.now_us } } : {}),
      })
    }
  } else if (event.kind === 'line lost') {
    d.out.push({ kind: 'record', what: 'line', rail: null, text: event.text })
  }
}

function plannedOf(d: Draft, channel: string): OffPlan['channels'][number] | undefined {
  return d.s.plan.channels.find((candidate) => candidate.channel === channel)
}

function ofStage(d: Draft, stage: ChannelOff['stage']): string[] {
  return d.s.plan.channels
    .filter((planned) => d.s.channels[planned.channel]?.stage === stage)
    .sort((a, b) => a.off_order - b.off_order)
    .map((planned) => planned.channel)
}

function urgentOff(d: Draft, port: string, which: readonly string[] = ofStage(d, 'first')): void {
  const channels = which.filter((channel) => plannedOf(d, channel)?.port === port)
  if (channels.length === 0) return
  for (const channel of channels) {
    if (d.s.channels[channel]?.given_us === null) change(d, channel, { given_us: d.s.now_us })
  }
  d.out.push({ kind: 'record', what: 'off', rail: null, text: `OFF sent at once to ${channels.join(', ')}.` })
  feed(d, port, { kind: 'urgent off', t_us: d.s.now_us, channels })
}

function request(d: Draft, channel: string, body: 'off' | 'zero'): void {
  const planned = plannedOf(d, channel)
  if (planned === undefined) return
  const id = d.s.next_id
  d.s.next_id = id + 1
  feed(d, planned.port, { kind: 'request', t_us: d.s.now_us, id, channel, do: body })
}

function decide(d: Draft): void {
  if (d.s.look_first) lookedAt(d)
  for (const name of Object.keys(d.s.channels)) confirm(d, name)
  heaters(d)
  bias(d)
  for (const name of Object.keys(d.s.channels)) escalate(d, name)
  conclude(d)
}

function lookedAt(d: Draft): void {
  const names = Object.keys(d.s.channels)
  const seen = names.every((name) => d.s.channels[name]?.output !== 'unknown')
  if (!seen && d.s.now_us - d.s.began_us < look_within_us) return
  d.s.look_first = false
  const on = d.s.found_on.length > 0 ? `found on: ${d.s.found_on.join(', ')}` : 'no output found on'
  d.out.push({ kind: 'record', what: 'off', rail: null, text: `Outputs read back: ${on}.` })
  for (const port of Object.keys(d.s.lines)) urgentOff(d, port)
}

/** OFF read back, current below resolution for three samples, and volts gone or going as the stated path predicts. */
function confirm(d: Draft, name: string): void {
  const channel = d.s.channels[name]
  const planned = plannedOf(d, name)
  if (channel === undefined || planned === undefined || channel.confirmed !== null) return
  const { given_us, volts } = channel
  if (given_us === null || volts === null || channel.output !== 'off' || channel.quiet < quiet_samples) return
  const how =
    Math.abs(volts) < off_V
      ? `read back as off, no current, ${volts.toFixed(1)} V at its terminals`
      : fallenEnough(channel.fall, volts, d.s.now_us, planned)
        ? `read back as off, no current, terminals down from ${(channel.fall.from_V ?? 0).toFixed(0)} V to ${volts.toFixed(0)} V and falling as the stated discharge path predicts`
        : null
  if (how === null) return
  change(d, name, { confirmed: how })
  d.out.push({ kind: 'record', what: 'off', rail: planned.rail, text: `${planned.rail} (${name}): ${how}.` })
}

function low(d: Draft, name: string): boolean {
  const volts = d.s.channels[name]?.volts
  return typeof volts === 'number' && Math.abs(volts) < d.s.plan.bias_release.below_V
}

function isDown(d: Draft, name: string): boolean {
  const channel = d.s.channels[name]
  return channel?.output === 'off' && channel.volts !== null && Math.abs(channel.volts) < off_V
}

function give(d: Draft, names: readonly string[], why: string): void {
  for (const name of names) {
    if (d.s.channels[name]?.given_us !== null) continue
    change(d, name, { given_us: d.s.now_us })
    const rail = plannedOf(d, name)?.rail ?? null
    d.out.push({ kind: 'record', what: 'off', rail, text: `OFF to ${rail ?? name} (${name}): ${why}.` })
    request(d, name, 'off')
  }
}

function heaters(d: Draft): void {
  const names = ofStage(d, 'heater')
  const first = ofStage(d, 'first')
  const { heaters_off_after_s } = d.s.plan
  const late = d.s.now_us - d.s.began_us >= heaters_off_after_s * 1e6
  if (first.every((name) => low(d, name))) {
    d.s.first_low_us ??= d.s.now_us
    give(d, names, first.length === 0 ? 'there is no HT on this bench' : 'HT is low')
  } else if (late) {
    give(d, names, `HT is not low ${heaters_off_after_s} s after OFF`)
  }
  if (d.s.heaters_off_us === null && names.every((name) => d.s.channels[name]?.confirmed !== null)) {
    d.s.heaters_off_us = d.s.now_us
  }
}

function bias(d: Draft): void {
  if (d.s.bias_released_by !== null) return
  const names = ofStage(d, 'bias')
  const first = ofStage(d, 'first')
  const by = biasRule(d, first)
  // Heaters go before bias; with no HT anywhere there is nothing a bias would hold back.
  if (by === null || !heatersGiven(d)) return
  d.s.bias_released_by = by
  give(d, names, by)
}

function heatersGiven(d: Draft): boolean {
  return ofStage(d, 'heater').every((name) => d.s.channels[name]?.given_us !== null)
}

function biasRule(d: Draft, first: readonly string[]): string | null {
  const { below_V, discharge_s, cathodes_cold_s, only_wire_between } = d.s.plan.bias_release
  if (first.length === 0) return 'no HT on this bench'
  // An output that is off already holds nothing back: to wait would only put off the answer.
  if (ofStage(d, 'bias').every((name) => isDown(d, name))) return 'it was off already'
  if (only_wire_between && first.every((name) => low(d, name))) {
    return `(a) HT below ${below_V} V at the supply, only wire between`
  }
  // Nothing but (a) counts while an HT terminal does not fall.
  const falls = first.every((name) => d.s.channels[name]?.confirmed !== null)
  if (!falls) return null
  const since_s = (d.s.now_us - d.s.began_us) / 1e6
  if (discharge_s !== null && since_s >= discharge_s) {
    return `(b) the computed discharge time of ${discharge_s.toFixed(0)} s has passed`
  }
  const cold = d.s.heaters_off_us
  if (cold !== null && d.s.now_us - cold >= cathodes_cold_s * 1e6) {
    return `(c) ${cathodes_cold_s} s since heaters were confirmed off: cathodes cold`
  }
  return null
}

/** Does not fall: set-point and limit to zero, OFF again; then the alarm. */
function escalate(d: Draft, name: string): void {
  const channel = d.s.channels[name]
  const planned = plannedOf(d, name)
  if (channel === undefined || planned === undefined || channel.confirmed !== null) return
  const since = channel.escalated_us ?? channel.given_us
  if (since === null || d.s.now_us - since < fall_within_us) return
  // Off, and only slower than stated: what the supply can do has been done.
  const slow =
    channel.output === 'off' && channel.volts !== null && belowTheFall(channel.fall, channel.volts, planned)
  if (slow && channel.escalations > 0) return
  if (channel.escalations < escalations_before_alarm) {
    change(d, name, { escalations: channel.escalations + 1, escalated_us: d.s.now_us })
    const text = `${planned.rail} (${name}) is not confirmed off 10 s after OFF: set-point and limit to zero, OFF again.`
    d.out.push({ kind: 'record', what: 'off', rail: planned.rail, text })
    request(d, name, 'zero')
    if (channel.stage === 'first') urgentOff(d, planned.port, [name])
    else request(d, name, 'off')
    return
  }
  if (d.s.alarmed_us !== null) return
  d.s.alarmed_us = d.s.now_us
  const seen = channel.volts === null ? 'no reading' : `${channel.volts.toFixed(0)} V`
  const text =
    channel.stage === 'first'
      ? `${planned.rail} (${name}) does not go off: ${seen} at its terminals. Cut the mains of the HT sources now (not of the bias). Then measure before touching.`
      : `${planned.rail} (${name}) does not go off: ${seen} at its terminals. Switch this supply off by its own switch. Then measure before touching.`
  d.out.push({ kind: 'alarm', text })
  d.out.push({ kind: 'record', what: 'alarm', rail: planned.rail, text })
}

function conclude(d: Draft): void {
  const names = Object.keys(d.s.channels)
  const all = names.every((name) => d.s.channels[name]?.confirmed !== null)
  if (all) {
    end(d, 'confirmed')
    return
  }
  const silent = Object.keys(d.s.lines).filter((port) => !d.s.answered.includes(port))
  const waited_us = d.s.now_us - d.s.began_us
  const nobody = silent.length === Object.keys(d.s.lines).length && waited_us >= answer_within_us
  const alarmed = d.s.alarmed_us !== null && d.s.now_us - d.s.alarmed_us >= after_alarm_us
  const heatersDone = d.s.heaters_off_us !== null || waited_us >= (d.s.plan.heaters_off_after_s + 60) * 1e6
  if (nobody || (alarmed && heatersDone)) end(d, 'not confirmed')
}

function end(d: Draft, outputs_off: SafeOffResult['outputs_off']): void {
  const channels: Record<string, SafeOffResult['channels'][string]> = {}
  for (const planned of d.s.plan.channels) {
    const channel = d.s.channels[planned.channel]
    if (channel === undefined) continue
    const stays = channel.stage === 'bias' && channel.given_us === null
    // A port that is missing or mute took nothing that we know of; saying "sent" there would be a lie.
    const mute = d.s.answered.includes(planned.port)
      ? ''
      : '; its port never answered, so whether anything arrived is unknown'
    channels[planned.channel] = {
      rail: planned.rail,
      confirmed: channel.confirmed !== null,
      volts: channel.volts,
      how:
        channel.confirmed ??
        (stays
          ? `not told OFF: bias stays while HT is not confirmed off${mute}`
          : `OFF given, not confirmed by measurement${mute}`),
    }
  }
  const silent = Object.keys(d.s.lines).filter((port) => !d.s.answered.includes(port))
  const open = Object.values(channels).filter((channel) => !channel.confirmed)
  const text =
    outputs_off === 'confirmed'
      ? 'Outputs confirmed off, by measurement at the supplies.'
      : `Outputs NOT confirmed off: ${open.map((channel) => `${channel.rail} (${channel.how})`).join('; ')}.`
  const result: SafeOffResult = {
    outputs_off,
    channels,
    bias_released_by: d.s.bias_released_by,
    found_on: d.s.found_on,
    silent,
    text,
  }
  d.s.result = result
  d.out.push({ kind: 'record', what: 'off', rail: null, text })
  d.out.push({ kind: 'end', result })
}

function valueOf(n: number, k: number): number {
  let value = n
  for (let i = 0; i < k; i++) value /= 10
  return value
}
