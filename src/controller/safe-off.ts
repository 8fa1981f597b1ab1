import { decimalValue, type LineEvent } from '../exchange/index.js'
import {
  healthOf,
  type LineConfig,
  type LineInput,
  type LineState,
  lineStep,
  openLine,
} from '../line/index.js'
import {
  biasStays,
  biasTakenFromKnob,
  type OffAct,
  offBegin,
  type OffInput,
  type OffResult,
  type OffState,
  offStep,
} from '../off/index.js'
import type { OffPlan } from '../plan/index.js'

/**
 * Everything off and confirmed by measurement, from the off plan and the ports alone: what `safe-off` does, what the supervisor
 * does when it has taken over, and how an orphan's outputs are cleared. Here lines are opened and joined to `src/off`, which
 * decides. Pure: time is given (µs of the bench's own clock), bytes come and go as data.
 */
export interface SafeOffState {
  readonly plan: OffPlan
  readonly lines: Readonly<Record<string, LineState>>
  readonly off: OffState
  readonly now_us: number
  readonly next_id: number
  /** Ports that answered at least once. */
  readonly answered: readonly string[]
  /** Ports at which another instrument answered last than the one that is known there: what it said, in words. */
  readonly strangers: Readonly<Record<string, string>>
  /** All is decided, and the dead-man of a bias that stays on is being put to rest first: requests not answered yet. */
  readonly rests: {
    readonly result: OffResult
    readonly since_us: number
    readonly open: readonly number[]
  } | null
  readonly result: SafeOffResult | null
}

export interface SafeOffResult extends OffResult {
  /** Outputs that were on when first read back. */
  readonly found_on: readonly string[]
  /** Supply ports that never answered. */
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

interface Draft {
  s: { -readonly [K in keyof SafeOffState]: SafeOffState[K] }
  out: SafeOffOutput[]
}

/** OFF is owed to every line from the first moment: it is the first thing written when a port opens, however late. */
export function safeOffBegin(
  plan: OffPlan,
  configs: readonly LineConfig[],
  t_us: number,
  look_first = false,
): { readonly state: SafeOffState; readonly outputs: readonly SafeOffOutput[] } {
  const meters = new Set(
    (plan.knobs ?? []).flatMap(({ volts_meter, amps_meter }) => [volts_meter, amps_meter]),
  )
  const lines: Record<string, LineState> = {}
  for (const config of configs) {
    const wanted =
      plan.channels.some((channel) => channel.port === config.port) ||
      (config.meter !== null && meters.has(config.meter.name))
    if (wanted) lines[config.port] = openLine({ ...config, only_off: true })
  }
  const { state: off, acts } = offBegin(plan, {
    t_us,
    how: 'urgent',
    ht_was_up: true,
    live: 'unknown',
    outputs: {},
    volts: {},
    knobs: {},
    asks: false,
    calls_hands: true,
    look_first,
  })
  const d: Draft = {
    s: { plan, lines, off, now_us: t_us, next_id: 1, answered: [], strangers: {}, rests: null, result: null },
    out: [],
  }
  for (const act of acts) carry(d, act)
  const warning = biasTakenFromKnob(plan)
  if (warning !== null) carry(d, { do: 'alarm', rail: null, text: warning, turn_down: true })
  return { state: d.s, outputs: d.out }
}

export function safeOffStep(
  before: SafeOffState,
  input: SafeOffInput,
): { readonly state: SafeOffState; readonly outputs: readonly SafeOffOutput[] } {
  if (before.result !== null) return { state: before, outputs: [] }
  const d: Draft = { s: { ...before }, out: [] }
  if (input.kind === 'tick') {
    d.s.now_us = Math.max(d.s.now_us, input.t_us)
    for (const port of Object.keys(d.s.lines)) drive(d, port, { kind: 'time', t_us: d.s.now_us })
    feed(d, { kind: 'tick', t_us: d.s.now_us })
    restOver(d)
  } else {
    d.s.now_us = Math.max(d.s.now_us, input.line.t_us)
    drive(d, input.port, input.line)
  }
  return { state: d.s, outputs: d.out }
}

function drive(d: Draft, port: string, input: LineInput): void {
  const line = d.s.lines[port]
  if (line === undefined) return
  const turn = lineStep(line, input)
  d.s.lines = { ...d.s.lines, [port]: turn.state }
  if (strangersAt(turn.state) > strangersAt(line))
    d.s.strangers = { ...d.s.strangers, [port]: `Port ${port}: ${turn.state.trouble_text}.` }
  for (const output of turn.outputs) {
    if (output.kind === 'write') d.out.push({ kind: 'write', port, text: output.text, urgent: output.urgent })
    else if (output.kind === 'reopen') d.out.push({ kind: 'reopen', port, text: output.text })
    else if (output.kind === 'event') heard(d, port, output.event)
    // That a line was given up is told as the event it is.
    else if (output.kind === 'rung' && output.rung !== 'give up')
      d.out.push({ kind: 'record', what: 'line', rail: null, text: output.text })
  }
}

function heard(d: Draft, port: string, event: LineEvent): void {
  const t_us = d.s.now_us
  switch (event.kind) {
    case 'reading': {
      answered(d, port)
      const { channel, quantity } = event
      feed(d, { kind: 'reading', t_us, channel, quantity, value: decimalValue(event.value) })
      return
    }
    case 'output':
      answered(d, port)
      feed(d, { kind: 'output', t_us, channel: event.channel, on: event.on })
      return
    case 'meter':
      answered(d, port)
      feed(d, { kind: 'meter', t_us, meter: event.meter, value: decimalValue(event.value) })
      return
    case 'line trouble':
      feed(d, { kind: 'doubt', t_us, port: event.port })
      return
    case 'line lost':
      d.out.push({ kind: 'record', what: 'line', rail: null, text: event.text })
      return
    case 'done':
      rested(d, port, event.id, null)
      return
    case 'failed':
      rested(d, port, event.id, event.text)
      return
    default:
      return
  }
}

const strangersAt = (line: LineState): number => healthOf(line).faults.identity_changed ?? 0

function answered(d: Draft, port: string): void {
  if (!d.s.answered.includes(port)) d.s.answered = [...d.s.answered, port]
  if (d.s.strangers[port] !== undefined) d.s.strangers = without(d.s.strangers, port)
}

function feed(d: Draft, input: OffInput): void {
  if (d.s.result !== null) return
  const { state, acts } = offStep(d.s.plan, d.s.off, input)
  d.s.off = state
  // OFF goes to every port before anything else is even looked at.
  for (const act of acts) if (act.do === 'urgent off') carry(d, act)
  for (const act of acts) if (act.do !== 'urgent off') carry(d, act)
}

function carry(d: Draft, act: OffAct): void {
  switch (act.do) {
    case 'urgent off':
      for (const port of Object.keys(d.s.lines)) {
        const channels = act.channels.filter((channel) => portOf(d, channel) === port)
        if (channels.length > 0) drive(d, port, { kind: 'urgent off', t_us: d.s.now_us, channels })
      }
      return
    case 'off':
    case 'zero':
      request(d, act.channel, act.do)
      return
    case 'record':
      d.out.push({ kind: 'record', what: 'off', rail: act.rail, text: act.text })
      return
    case 'alarm':
      d.out.push({ kind: 'alarm', text: act.text })
      d.out.push({ kind: 'record', what: 'alarm', rail: act.rail, text: act.text })
      return
    case 'end':
      if (!rest(d, act.result)) end(d, act.result)
      return
  }
}

/** Time for the answers, as at the end of a run. */
const restWithin_s = 3

/**
 * Nobody feeds a dead-man once this program is gone, and one that a bias hangs on would take the bias while nothing shows that HT
 * is down: it is put to rest. Elsewhere it runs out, which switches off. False where there is none.
 */
function rest(d: Draft, result: OffResult): boolean {
  const open: number[] = []
  d.s.rests = { result, since_us: d.s.now_us, open }
  for (const [port, { config }] of Object.entries(d.s.lines)) {
    const [first] = config.channels
    if (first === undefined || config.dialect.dead_man === null) continue
    if (!biasStays(d.s.plan, result, port)) continue
    const id = d.s.next_id
    d.s.next_id = id + 1
    d.s.rests = { ...d.s.rests, open: [...d.s.rests.open, id] }
    drive(d, port, { kind: 'request', t_us: d.s.now_us, id, channel: first.channel, do: 'disarm' })
  }
  if (d.s.rests.open.length > 0) return true
  d.s.rests = null
  return false
}

function rested(d: Draft, port: string, id: number, trouble: string | null): void {
  if (d.s.rests?.open.includes(id) !== true) return
  d.s.rests = { ...d.s.rests, open: d.s.rests.open.filter((other) => other !== id) }
  if (trouble !== null) notRested(d, port, trouble)
}

function notRested(d: Draft, port: string, why: string): void {
  const text = `The dead-man of ${port} could not be put to rest (${why}), and it takes the bias when it runs out, while nothing shows that HT is down. Cut the mains of the HT sources now.`
  d.out.push({ kind: 'alarm', text })
  d.out.push({ kind: 'record', what: 'alarm', rail: null, text })
}

/** All have answered, or time is up: a computer at speed is given as much longer as its readings are. */
function restOver(d: Draft): void {
  const { rests } = d.s
  if (rests === null) return
  const late = d.s.now_us - rests.since_us >= Math.max(restWithin_s, restWithin_s * d.s.plan.stale_s) * 1e6
  if (rests.open.length > 0 && !late) return
  d.s.rests = null
  if (rests.open.length > 0)
    for (const port of Object.keys(d.s.lines))
      if (biasStays(d.s.plan, rests.result, port)) notRested(d, port, `no answer within ${restWithin_s} s`)
  end(d, rests.result)
}

function without<T>(entries: Readonly<Record<string, T>>, key: string): Record<string, T> {
  return Object.fromEntries(Object.entries(entries).filter(([name]) => name !== key))
}

function portOf(d: Draft, channel: string): string | undefined {
  return d.s.plan.channels.find((planned) => planned.channel === channel)?.port
}

/** One of a kind at a time on its way to a channel: a port that is not there must not gather a queue. */
function request(d: Draft, channel: string, what: 'off' | 'zero'): void {
  const port = portOf(d, channel)
  const line = port === undefined ? undefined : d.s.lines[port]
  if (port === undefined || line === undefined) return
  const queued = [...line.waiting, ...(line.work?.request ? [line.work.request] : [])]
  if (queued.some((request) => request.channel === channel && request.do === what)) return
  const id = d.s.next_id
  d.s.next_id = id + 1
  drive(d, port, { kind: 'request', t_us: d.s.now_us, id, channel, do: what })
}

function end(d: Draft, found: OffResult): void {
  const ports = [...new Set(d.s.plan.channels.map(({ port }) => port))]
  const silent = ports.filter((port) => !d.s.answered.includes(port))
  const rails = Object.fromEntries(
    Object.entries(found.rails).map(([name, rail]) => {
      // A port that is missing or mute took nothing that we know of; saying "given" alone there would be a lie.
      const mute = d.s.plan.channels.find(({ rail: fed, port }) => fed === name && silent.includes(port))
      if (mute === undefined) return [name, rail]
      const who =
        d.s.strangers[mute.port] === undefined
          ? 'its port never answered'
          : 'another instrument answers there'
      return [name, { ...rail, how: `${rail.how}; ${who}, so whether anything arrived is unknown` }]
    }),
  )
  const result: SafeOffResult = {
    ...found,
    rails,
    found_on: d.s.off.found_on,
    silent,
    text: textOf(d, { ...found, rails }),
  }
  d.s.result = result
  d.out.push({ kind: 'record', what: 'off', rail: null, text: result.text })
  d.out.push({ kind: 'end', result })
}

function textOf(d: Draft, result: OffResult): string {
  const open = Object.entries(result.rails).filter(([, rail]) => !rail.confirmed)
  const measured =
    result.outputs_off === 'confirmed'
      ? 'Outputs confirmed off, by measurement at the supplies.'
      : `Outputs NOT confirmed off: ${open.map(([name, { how }]) => `${name} (${how})`).join('; ')}.`
  const hand = Object.keys(result.hand_rails)
  const knobs =
    hand.length > 0
      ? ` On your own knobs, not measured here: ${hand.join(', ')}.`
      : d.s.plan.knobs === null
        ? ' What this bench file does not name (HT on a knob, mains of the set) was not looked at.'
        : ''
  const strangers = Object.values(d.s.strangers)
  const exchanged =
    strangers.length === 0
      ? ''
      : ` ${strangers.join(' ')} Where you have exchanged it and know this one, write what answers as its identity: in the bench file: only then is it believed.`
  return measured + knobs + exchanged
}
