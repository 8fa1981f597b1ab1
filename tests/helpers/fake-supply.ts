import { type Dialect, plainScpi } from '../../src/bench/index.js'
import type { LineConfig } from '../../src/line/index.js'

/** Words for a supply in tests: what plain SCPI needs, without what this one does not have; channels chosen in the same message. */
export const testDialect: Dialect = {
  ...plainScpi,
  name: 'test',
  select: ':INST:NSEL {n};',
  over_volts_on: null,
  ask_over_volts_tripped: null,
  error_query: null,
}

export function testLine(port: string, channels: readonly string[], max_V: number): LineConfig {
  return {
    port,
    identity: null,
    dialect: testDialect,
    reply_us: 200_000,
    meter: null,
    channels: channels.map((channel, index) => ({
      channel: `${port}.${channel}`,
      number: index + 1,
      set_digits_V: 2,
      set_digits_A: 4,
      max_V,
      max_A: 2,
      resolution_V: 0.1,
      resolution_A: 0.0001,
      over_voltage: true,
    })),
  }
}

export interface FakeOutput {
  on: boolean
  volts: number
  amps: number
  /** OFF changes nothing. */
  ignoresOff: boolean
  /** Volts left after one second off, as a fraction; 0 = gone at once. */
  keeps: number
}

/** A supply that speaks those words; its outputs fall by a fixed fraction a second once off. */
export class FakeSupply {
  readonly heard: string[] = []
  /** Who answers on this line; another one's outputs are not these. */
  identity = 'invented,test supply,1,1.0'
  private rest = ''
  private chosen = 1
  constructor(readonly outputs: readonly FakeOutput[]) {}

  /** Replies to what arrives. */
  receive(text: string): string[] {
    this.rest += text
    const replies: string[] = []
    for (;;) {
      const end = this.rest.indexOf('\n')
      if (end < 0) return replies
      const message = this.rest.slice(0, end)
      this.rest = this.rest.slice(end + 1)
      for (const unit of message.split(';')) {
        const reply = this.obey(unit.trim())
        if (reply !== null) replies.push(reply)
      }
    }
  }

  pass(seconds: number): void {
    for (const output of this.outputs) {
      if (output.on) continue
      output.amps = 0
      output.volts *= output.keeps === 0 ? 0 : Math.exp(seconds * Math.log(output.keeps))
    }
  }

  private obey(unit: string): string | null {
    if (unit === '') return null
    const select = /^:INST:NSEL (\d)$/.exec(unit)
    if (select) {
      this.chosen = Number(select[1])
      return null
    }
    if (unit === '*IDN?') return this.identity
    const output = this.outputs[this.chosen - 1]
    if (!output) return null
    if (!unit.endsWith('?') && unit !== '*CLS') this.heard.push(`${this.chosen}${unit}`)
    switch (unit) {
      case ':OUTP OFF':
        if (!output.ignoresOff) output.on = false
        return null
      case ':OUTP ON':
        output.on = true
        return null
      case ':OUTP?':
        return output.on ? '1' : '0'
      case ':MEAS:VOLT?':
        return output.volts.toFixed(1)
      case ':MEAS:CURR?':
        return output.amps.toFixed(4)
      case ':VOLT?':
        return '0.00'
      case ':CURR?':
        return '0.0000'
      default:
        return null
    }
  }
}
