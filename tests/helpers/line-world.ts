import { chance } from '../../src/chance/index.js'
import { type Channel, type Dialect, plainScpi, type Supply } from '../../src/bench/index.js'
import { decimalValue, type LineEvent, type LineRequestBody } from '../../src/exchange/index.js'
import {
  ampsIn,
  lineStep,
  lineWakeAt,
  openLine,
  type LineConfig,
  type LineInput,
  type LineOutput,
  type LineState,
} from '../../src/line/index.js'
import { createSupplyDevice, type VirtualInstrument } from '../../src/virtual/supplies.js'
import type { OutputFace } from '../../src/virtual/index.js'

/** Every word a dialect can have, channels chosen in the same message. */
export const fullDialect: Dialect = {
  ...plainScpi,
  name: 'every word',
  select: ':INST:NSEL {n};',
  remote: ':SYST:REM',
  ask_over_amps_tripped: ':CURR:PROT:TRIP?',
  ask_cc: { query: ':STAT:QUES:COND?', mask: 1, cv_mask: 2 },
}

export function channelOf(number: number, change: Partial<Channel> = {}): Channel {
  return {
    number,
    feeds: `RAIL${number}`,
    role: 'HT',
    max_V: 300,
    max_A: 0.5,
    resolution_V: 0.01,
    resolution_A: 0.0001,
    set_digits_V: 2,
    set_digits_A: 4,
    accuracy_V: { of_reading: 0.001, plus: 0.02 },
    accuracy_A: { of_reading: 0.001, plus: 0.0002 },
    min_V: 0,
    min_A: 0,
    over_voltage: true,
    over_voltage_margin_V: 1,
    output_F: 1e-5,
    lead_ohm: 0.1,
    remote_sense: false,
    sinks: false,
    bleeder_ohm: 100_000,
    off_order: number,
    bias_release: { below_V: 60, after_s: 300 },
    ...change,
  }
}

export function supplyOf(
  dialect: Dialect,
  channels: Record<string, Channel>,
  change: Partial<Supply> = {},
): Supply {
  return {
    line: { kind: 'virtual', as: 'pty', baud: 115_200, spare_allowed: true },
    identity: 'TEST BENCH,TWO CHANNELS,0,1.0',
    dialect,
    isolation_V: 300,
    interface_isolated: 'yes',
    earthed_negative: false,
    common_output_switch: false,
    reply_s: 0.2,
    channels,
    ...change,
  }
}

export function faceOf(): OutputFace {
  return {
    set_V: 0,
    limit_A: 0.5,
    over_V: 330,
    over_V_on: false,
    on: false,
    tripped: null,
    measured_V: 0,
    measured_A: 0,
    limiting: false,
  }
}

/** A resistor on each output, and an output capacitor that takes a moment to fall. */
export function settle(face: OutputFace, ohm: number, dt_s: number): void {
  const live = face.on && face.tripped === null
  const open_V = live ? face.set_V : 0
  const volts = Math.min(open_V, face.limit_A * ohm)
  face.limiting = live && volts < open_V
  const fallen = face.measured_V * Math.exp(-dt_s / 0.2)
  face.measured_V = volts >= fallen ? volts : Math.max(volts, fallen < 0.05 ? 0 : fallen)
  face.measured_A = live ? face.measured_V / ohm : 0
}

/** The current that a first look finds in a text is what the line tells of the same text. */
export function firstLookHolds(state: LineState, input: LineInput, outputs: readonly LineOutput[]): void {
  const read = input.kind === 'text' ? ampsIn(state, input.text) : null
  if (read === null) return
  const event = outputs.find((output) => output.kind === 'event' && output.event.kind === 'reading')
  const told = event?.kind === 'event' && event.event.kind === 'reading' ? event.event : null
  if (told?.quantity !== 'A' || told.channel !== read.channel || decimalValue(told.value) !== read.amps)
    throw new Error(`A first look found ${read.amps} A of ${read.channel}, and the line tells otherwise.`)
}

/** One line and one virtual supply in virtual time. */
export class LineWorld {
  t_us = 0
  state: LineState
  readonly device: VirtualInstrument
  readonly faces: Record<string, OutputFace>
  readonly events: LineEvent[] = []
  readonly written: { t_us: number; text: string; urgent: boolean }[] = []
  readonly reopens: string[] = []
  /** Bytes reach the device and come back only while this holds. */
  joined = true
  /** The port stays open, but what is written reaches nobody. */
  deaf = false
  /** What of it is said like this reaches nobody. */
  unheard: RegExp | null = null
  /** What is measured, whatever is set: for tests that tell readings apart. */
  fixed: Record<string, { readonly V: number; readonly A: number }> = {}
  private half = ''
  private moved_us = 0

  constructor(
    readonly config: LineConfig,
    supply: Supply,
    readonly ohm: Readonly<Record<string, number>> = {},
    /** Read-only channels of the same instrument: question and answer. */
    inputs: readonly { readonly ask: string; readonly text: () => string | null }[] = [],
  ) {
    this.faces = Object.fromEntries(Object.keys(supply.channels).map((name) => [name, faceOf()]))
    this.device = createSupplyDevice({
      name: config.port,
      supply,
      outputs: this.faces,
      inputs,
      chance: chance(7),
    })
    this.state = openLine(config)
  }

  give(input: LineInput): readonly LineOutput[] {
    const { state, outputs } = lineStep(this.state, input)
    firstLookHolds(this.state, input, outputs)
    this.state = state
    for (const output of outputs) {
      if (output.kind === 'event') this.events.push(output.event)
      if (output.kind === 'write') {
        this.written.push({ t_us: this.t_us, text: output.text, urgent: output.urgent })
        if (this.joined && !this.deaf && this.unheard?.test(output.text) !== true)
          this.device.receive(output.text, this.t_us)
      }
      if (output.kind === 'reopen') {
        this.reopens.push(output.text)
        this.half = ''
        this.give(
          this.joined
            ? { kind: 'opened', t_us: this.t_us }
            : { kind: 'closed', t_us: this.t_us, text: 'no port' },
        )
      }
    }
    return outputs
  }

  open(): void {
    this.give({ kind: 'opened', t_us: this.t_us })
  }

  /** Runs until `t_us`, or until `until` holds; false when it never did. */
  run(for_us: number, until: () => boolean = () => false): boolean {
    const end = this.t_us + for_us
    while (this.t_us < end) {
      if (until()) return true
      const next = [lineWakeAt(this.state), this.device.next_us(), this.t_us + 20_000]
      this.t_us = Math.min(end, Math.max(this.t_us + 1, Math.min(...next.filter((at) => at !== null))))
      for (const [name, face] of Object.entries(this.faces)) {
        settle(face, this.ohm[name] ?? 10_000, (this.t_us - this.moved_us) / 1e6)
        const fixed = this.fixed[name]
        if (fixed !== undefined) Object.assign(face, { measured_V: fixed.V, measured_A: fixed.A })
      }
      this.moved_us = this.t_us
      const text = this.device.take(this.t_us)
      if (this.joined && text !== '') {
        const lines = (this.half + text).split(/[\r\n]/)
        this.half = lines.pop() ?? ''
        for (const line of lines) this.give({ kind: 'text', t_us: this.t_us, text: line })
      }
      this.give({ kind: 'time', t_us: this.t_us })
    }
    return until()
  }

  /** Gives a request and runs until its outcome. */
  ask(id: number, channel: string, body: LineRequestBody): LineEvent | undefined {
    this.give({ ...body, kind: 'request', t_us: this.t_us, id, channel })
    const outcome = (): LineEvent | undefined =>
      this.events.find((event) => (event.kind === 'done' || event.kind === 'failed') && event.id === id)
    this.run(20_000_000, () => outcome() !== undefined)
    return outcome()
  }

  kinds(kind: LineEvent['kind']): LineEvent[] {
    return this.events.filter((event) => event.kind === kind)
  }
}
