import { type Decimal, decimalValue, type Protection } from '../exchange/index.js'
import { meaningOf } from './advice.js'
import { shown } from './health.js'
import { quantities, type Move, type Setting, type Want } from './moves.js'
import { answerIn, parseError, parseNumber, parseRegister, parseSwitch } from './numbers.js'
import { meterValue } from './meter-value.js'
import { inputHeard } from './rounds.js'
import { channelName, setAmps, setChannel, tellEvent, type Draft } from './state.js'
import type { LineConfig } from './types.js'

/** What a reply came to. `bad`: no such answer can be; `differs`: a true answer, but not what was set. */
export type Verdict =
  | { readonly is: 'good' }
  | {
      readonly is: 'bad'
      readonly fault: 'unparsable' | 'out_of_range' | 'line_noise'
      readonly why: string
    }
  | { readonly is: 'differs'; readonly why: string; readonly unchanged: boolean }
  | { readonly is: 'refused'; readonly why: string }

const good = { is: 'good' } as const
const bad = { is: 'bad' } as const

/** Believes a reply or not, and tells what it says. */
export function judge(d: Draft, move: Extract<Move, { kind: 'ask' }>, said: string): Verdict {
  const verdict = judged(d, move, said)
  if (verdict.is !== 'bad') return verdict
  const fault = isNumber.test(said.trim()) && wantsNumber(move) ? 'out_of_range' : 'unparsable'
  return /[^\t\x20-\x7e]/.test(said)
    ? { is: 'bad', fault: 'line_noise', why: `line noise ("${shown(said)}")` }
    : fault === 'out_of_range'
      ? { is: 'bad', fault, why: `a number out of range ("${shown(said)}")` }
      : { is: 'bad', fault, why: `a reply that cannot be read ("${shown(said)}")` }
}

/** Has the form of a number, whatever it comes to: only to name what was wrong with it. */
const isNumber = /^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s?[VAC]?$/
const wantsNumber = ({ want }: Extract<Move, { kind: 'ask' }>): boolean =>
  want.is === 'reading' || want.is === 'meter' || want.is === 'setting'

function judged(
  d: Draft,
  move: Extract<Move, { kind: 'ask' }>,
  said: string,
): Exclude<Verdict, { is: 'bad' }> | typeof bad {
  const { want, channel } = move
  const text = answerIn(said, move.around)
  if (text === null) return bad
  switch (want.is) {
    case 'reading': {
      const value = believed(d.config, text, want.quantity, channel)
      if (value === null) return bad
      if (want.quantity === 'A') {
        setAmps(d, channel, decimalValue(value))
        // Before the reading that says so: judged by what the one before had said, a current that left the limit would trip.
        nearLimit(d, channel, decimalValue(value))
      }
      tellEvent(d, { kind: 'reading', channel: channelName(d, channel), quantity: want.quantity, value })
      return good
    }
    case 'meter': {
      const { meter } = want
      const value = meterValue(meter, text, d.config.dialect.unit_in_reply)
      if (value === null || Math.abs(decimalValue(value)) > meter.limit) return bad
      inputHeard(d, meter.name, true)
      tellEvent(d, { kind: 'meter', meter: meter.name, value })
      return good
    }
    case 'setting':
      return setting(d, want, channel, text)
    case 'guard': {
      const on = parseSwitch(text)
      if (on === null) return bad
      if (on) return good
      const why = `its ${want.which === 'over_V' ? 'over-voltage' : 'over-current'} protection reads back as switched off`
      return { is: 'differs', unchanged: want.check, why: `${why}, and was switched on` }
    }
    case 'output': {
      const on = parseSwitch(text)
      if (on === null) return bad
      setChannel(d, channel, { output: on })
      tellEvent(d, { kind: 'output', channel: channelName(d, channel), on })
      return want.on === null || want.on === on ? good : outputDiffers(on)
    }
    case 'regulation': {
      const bits = parseRegister(text)
      if (bits === null) return bad
      regulation(d, channel, modeOf(bits, want), true)
      return good
    }
    case 'tripped': {
      const bits = want.mask === null ? null : parseRegister(text)
      const tripped = want.mask === null ? parseSwitch(text) : bits === null ? null : (bits & want.mask) !== 0
      if (tripped === null) return bad
      protection(d, channel, want.which, tripped)
      return good
    }
    case 'armed': {
      const armed = parseSwitch(text)
      if (armed === null) return bad
      return armed === want.armed
        ? good
        : {
            is: 'differs',
            unchanged: false,
            why: want.armed
              ? 'its dead-man does not read back as armed, so nothing is switched on here: look what the supply needs to arm it, or take dead_man out of its dialect and do without'
              : 'its dead-man still reads back as armed',
          }
    }
    case 'dead-man time': {
      const decimal = parseNumber(text)
      if (decimal === null) return bad
      const value = decimalValue(decimal)
      // Half of the tenth of a second that firmware-protocol, section 6, asks for.
      if (Math.abs(value - want.sent_s) <= 0.05 + 1e-9) return good
      return {
        is: 'differs',
        unchanged: false,
        why: `the time of its dead-man reads back as ${value} s, after sending ${want.sent_s} s: write a time that this supply takes`,
      }
    }
    case 'errors': {
      const error = parseError(text)
      if (error === null) return bad
      return error.code === 0
        ? good
        : { is: 'refused', why: `the supply says ${error.code} "${error.text}"${meaningOf(error.code)}` }
    }
    case 'acknowledgement':
      return text.trim() === d.config.dialect.acknowledges
        ? good
        : { is: 'refused', why: `the supply says "${text}"` }
    // Its own identity is heard before anything is judged.
    case 'identity':
      return bad
    case 'anything':
      return good
  }
}

/** A reading in the channel's believable range: 1.2 × its maximum and ten resolutions. */
export function believed(config: LineConfig, text: string, unit: 'V' | 'A', index: number): Decimal | null {
  const channel = config.channels[index]
  const value = parseNumber(text, config.dialect.unit_in_reply ? unit : null)
  if (channel === undefined || value === null) return null
  const most =
    unit === 'V'
      ? 1.2 * channel.max_V + 10 * channel.resolution_V
      : 1.2 * channel.max_A + 10 * channel.resolution_A
  return Math.abs(decimalValue(value)) <= most ? value : null
}

const names: Readonly<Record<Setting, string>> = {
  set_V: 'set-point',
  limit_A: 'current limit',
  over_V: 'over-voltage level',
  over_A: 'over-current level',
}

function setting(
  d: Draft,
  want: Extract<Want, { is: 'setting' }>,
  index: number,
  text: string,
): ReturnType<typeof judged> {
  const unit = quantities[want.which]
  const decimal = parseNumber(text, d.config.dialect.unit_in_reply ? unit : null)
  if (decimal === null) return bad
  const value = decimalValue(decimal)
  const before = d.channels[index]?.[want.which] ?? null
  if (Math.abs(value - want.sent) <= want.within) {
    setChannel(d, index, { [want.which]: want.sent })
    return good
  }
  const unchanged = before !== null && Math.abs(value - before) <= want.within
  setChannel(d, index, { [want.which]: unchanged && !want.check ? before : null })
  return {
    is: 'differs',
    unchanged: unchanged || want.check,
    why: `its ${names[want.which]} reads back as ${value} ${unit}, ${want.check ? 'was set to' : 'after sending'} ${want.sent} ${unit}`,
  }
}

function outputDiffers(on: boolean): ReturnType<typeof judged> {
  return { is: 'differs', unchanged: false, why: `its output reads back as ${on ? 'on' : 'off'}` }
}

/** Both bits or neither: off, or nothing regulated. */
export function modeOf(
  bits: number,
  want: { readonly mask: number; readonly cv_mask: number | null },
): 'voltage' | 'current' | 'unknown' {
  const current = (bits & want.mask) !== 0
  const voltage = want.cv_mask === null ? !current : (bits & want.cv_mask) !== 0
  return current === voltage ? 'unknown' : current ? 'current' : 'voltage'
}

function regulation(d: Draft, index: number, mode: 'voltage' | 'current' | 'unknown', always: boolean): void {
  if (d.channels[index]?.regulation === mode && !always) return
  setChannel(d, index, { regulation: mode })
  tellEvent(d, { kind: 'regulation', channel: channelName(d, index), mode })
}

/** Where the supply cannot say: current within two resolutions or 1 % of the limit is current regulation (rule of thumb, no source). */
function nearLimit(d: Draft, index: number, amps: number): void {
  const channel = d.config.channels[index]
  const known = d.channels[index]
  if (d.config.dialect.ask_cc !== null || channel === undefined || known === undefined) return
  if (known.limit_A === null || known.output !== true) return
  const margin = Math.max(2 * channel.resolution_A, 0.01 * known.limit_A)
  regulation(d, index, amps >= known.limit_A - margin ? 'current' : 'voltage', false)
}

function protection(d: Draft, index: number, which: Protection, tripped: boolean): void {
  const known = d.channels[index]
  if (known === undefined) return
  const was = known.tripped.includes(which)
  if (was === tripped) return
  setChannel(d, index, {
    tripped: tripped ? [...known.tripped, which] : known.tripped.filter((other) => other !== which),
  })
  if (tripped) tellEvent(d, { kind: 'protection', channel: channelName(d, index), which })
}
